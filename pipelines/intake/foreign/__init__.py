"""Exports that are not in the contract's words: mapped, tried, proposed.

**Foreign exports** (`intake/foreign/cells.py`) become cells in the contract's own words before the one way begins:
times as RFC 3339, numbers with a point. What cannot be read stays as it came, so that its refusal says the usual reason
and the row can be mended and retried like any other. One file can hold several feeds: it is read once a mapping,
committed together, archived under each. A line of a wide table is many rows with one line number: a replacement is
found by key, batch and line together (`delivery.py: _replace`). `repeated_hour.py` decides the repeated hour by order
alone.

**A proposal** (`intake/foreign/propose.py`, `text_traits.py`, `headings.py`) is a guess by the text and by common names
of columns; it is printed as TOML, marked, and tried at once where it lacks nothing.
"""
