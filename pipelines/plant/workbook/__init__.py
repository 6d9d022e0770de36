"""The plant file as a workbook, for a works that would rather fill cells than write TOML.

**One way**: the workbook becomes raw tables with the cell of every value, the same objects and the same checks
between tables judge them as judge a works.toml (`mistakes.py`), and `toml.py` writes what was found. What a sheet
asks for is declared once (`sheets.py`, `settings_rows.py`) and read, written, explained and tested from there.

**What a clerk does to a workbook** is read, or said: headings in another order or between other columns, a title
above them, rows left empty, blanks around words, merged cells (each means its value, where the file tells what is
merged), numbers that a sheet keeps as 7.0, times of day as times, decimal commas in text. What can be read in two
ways is a mistake, never a guess: `1,234`, two codes that became one number, a heading that nearly is one of ours, a
row that still says `example` and is none. What was not read (other sheets, other columns) is said.

**Codes by station** stand on a sheet of their own and become a `[[mapping]]` a station, for a mapping is where codes
are turned into the works' words; the files of that station are told from others by their names.

**What has no sheet** (exports, live stations, clocks) stands as TOML, a line a row, on the sheet `Other tables`, so
that a workbook made of a site holds all of it.

Tried: a sheet a line of the plant, more readable for two lines and hopeless for twelve; marks of an example by colour
alone, which no reader of files can see.
"""
