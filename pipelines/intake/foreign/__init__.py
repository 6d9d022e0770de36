"""Exports that are not in the contract's words: mapped, tried, proposed.

**Foreign exports** (`intake/foreign/cells.py`) become cells in the contract's own words before the one way begins:
times as RFC 3339, numbers with a point. What cannot be read stays as it came, so that its refusal says the usual reason
and the row can be mended and retried like any other. One file can hold several feeds: it is read once a mapping,
committed together, archived under each. A line of a wide table is many rows with one line number: a replacement is
found by key, batch and line together (`delivery.py: _replace`). `repeated_hour.py` decides the repeated hour by order
alone.

**Workbooks** (`workbook.py`) are opened by a process of its own, one at a time, with 900 MB and 90 s of the processor
and no more: the library puts all cells between the first and the last into one block, and ends the process where that
is too large. What it unpacks to, how far its cells reach, macros and links to other books are looked at before
(`workbook_parts.py`), by regular expressions: a parser that tells each of 800,000 cells took twenty times as long as
the library itself. A cell is text, a number or a day as the sheet has it; a number is written with the decimal mark of
the mapping and read again like any other. Where a cell stood goes with it as a number in a column of its own
(`raw.py: Places`), so that whatever shape the rows are given, a refusal names the cell.

**A mapping's order**: lines left out, cells filled down, what stands above or in the name added, headings that are
values, kinds of row, sums, codes, words of times and numbers, windows by their start (`cells.py`, `reshape.py`).

**A proposal** (`intake/foreign/propose.py`, `text_traits.py`, `headings.py`) is a guess by the text and by common names
of columns in seven languages (`vocabulary.py`); it is printed as TOML, marked, and tried at once where it lacks
nothing. What a column tells counts: a pallet or a weight much, a time little, a word that many lists have hardly
anything; where too little is told, or most headings would be unused, nothing is proposed.
"""
