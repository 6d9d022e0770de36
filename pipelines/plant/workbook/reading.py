"""Sheets to raw tables: which sheet is which, where its headings stand, its rows."""

from __future__ import annotations

import re
from collections.abc import Sequence
from difflib import get_close_matches

from pipelines.plant.workbook.cells import plain
from pipelines.plant.workbook.found import FoundPlant
from pipelines.plant.workbook.grid import Grid, letters, quoted
from pipelines.plant.workbook.joining import joined
from pipelines.plant.workbook.settings_rows import ENTRY, SETTINGS, SETTINGS_ROWS, WHAT, WORKS, WORKS_ROWS
from pipelines.plant.workbook.sheets import EXAMPLE, SHEETS, PlantColumn, PlantSheet

EXPLANATIONS = "Explanations"
OTHERS = "Other tables"
KNOWN = (EXPLANATIONS, WORKS, *(sheet.name for sheet in SHEETS), SETTINGS, OTHERS)
_TRIED = 40  # rows in which headings are looked for


def bare(heading: str) -> str:
    """A heading without its unit, in small letters."""
    return " ".join(re.sub(r"\([^)]*\)\s*$", "", heading.strip(" *:")).strip(" *:").lower().split())


def sheets_by_name(grids: Sequence[Grid], found: FoundPlant) -> dict[str, Grid]:
    """The sheets that are ours; what others are is said."""
    ours = {name.lower(): name for name in KNOWN}
    here: dict[str, Grid] = {}
    strange = []
    for grid in grids:
        name = ours.get(" ".join(grid.name.lower().split()))
        if name is None:
            strange.append(grid)
        elif name in here:
            found.mistakes.append(
                ((0, 0, 0), f"the sheet {name} is there twice, also as {quoted(grid.name)}; delete or rename one")
            )
        else:
            here[name] = grid
            if grid.hidden and grid.cells:
                found.notes.append(f"the sheet {quoted(grid.name)} is hidden, and was read")
    lacking = {name.lower(): name for name in KNOWN if name not in here}
    for grid in strange:
        near = get_close_matches(grid.name.strip().lower(), list(lacking), 1, 0.8)
        if near and grid.cells:
            meant = lacking[near[0]]
            found.mistakes.append(((0, 0, 0), f"the sheet {quoted(grid.name)} is none of ours; rename it {meant}"))
        elif grid.cells:
            found.notes.append(f"the sheet {quoted(grid.name)} was not read")
    return here


def read_sheet(sheet: PlantSheet, grid: Grid, found: FoundPlant) -> list[dict[str, object]]:
    """The rows of a sheet with a row an id, as raw tables."""
    head, columns = _headings(sheet, grid, found)
    rows: list[dict[str, object]] = []
    if not head:
        return rows
    mark = columns.pop(EXAMPLE, 0)
    by_key = {column.key: column for column in sheet.columns}
    for number in grid.rows:
        own = {at for at in columns.values() if (number, at) in grid.cells}
        if number <= head or not own or all((number, at) in grid.merged for at in own):
            continue
        if _is_example(sheet, grid, number, columns, mark, found):
            continue
        row: dict[str, object] = {}
        for key, at in columns.items():
            found.take((sheet.table, len(rows), key), by_key[key], grid, number, at, row)
        rows.append(row)
    for key in ("code", "theirs"):
        if key in columns:
            _check_zeros(by_key[key], [(number, columns[key]) for number in grid.rows if number > head], grid, found)
    return rows


def _check_zeros(column: PlantColumn, places: Sequence[tuple[int, int]], grid: Grid, found: FoundPlant) -> None:
    """Codes that a sheet keeps as numbers have lost zeros before them, if they had any."""
    cells = [(place, grid.cells[place]) for place in places if place in grid.cells]
    numbers = [(place, plain(cell)) for place, cell in cells if isinstance(cell, int | float)]
    longest = max((len(cell) for _, cell in cells if isinstance(cell, str) and re.fullmatch(r"0\d+", cell)), default=0)
    for place, word in numbers:
        if len(word) < longest:
            says = f"the sheet keeps the number {word} here, while others begin with 0; format the cell as text and "
            found.say(grid, *place, f"{says}write the code as it is", column.heading)
    if numbers and not longest:
        place, word = numbers[0]
        found.notes.append(
            f"{grid.at(*place)}, {column.heading}: codes kept as numbers are read without zeros before them, as {word}"
        )


def _headings(sheet: PlantSheet, grid: Grid, found: FoundPlant) -> tuple[int, dict[str, int]]:
    """The row of headings (0 where there is none), and the column of each key."""
    known = {bare(column.heading): column for column in sheet.columns}
    known |= {column.key: column for column in sheet.columns if "." not in column.key}
    known[EXAMPLE.lower()] = PlantColumn(EXAMPLE, EXAMPLE)
    names = {row: {at: plain(cell) for at, cell in grid.row(row).items()} for row in grid.rows[:_TRIED]}
    fits = {row: len({known[bare(w)].key for w in words.values() if bare(w) in known}) for row, words in names.items()}
    head = max(fits, key=lambda row: (fits[row], -row), default=0)
    if not head or fits[head] < 2:
        wanted = ", ".join(column.headed for column in sheet.columns if column.needed)
        found.mistakes.append((_top(sheet), f"{quoted(grid.name)}: no row of headings was found; it needs {wanted}"))
        return 0, {}
    columns: dict[str, int] = {}
    strange: dict[int, str] = {}
    for at, word in names[head].items():
        column = known.get(bare(word))
        if column is None:
            strange[at] = word
        elif column.key in columns:
            first = grid.at(head, columns[column.key])
            found.say(grid, head, at, f"the heading '{word}' is there twice, first at {first}; delete or rename one")
        else:
            columns[column.key] = at
            _check_unit(column, word, grid, head, at, found)
    _lacking(sheet, grid, head, columns, strange, found)
    _without_heading(grid, head, names[head], found)
    return head, columns


def _top(sheet: PlantSheet) -> tuple[int, int, int]:
    return (1 + SHEETS.index(sheet), 0, 0)


def _check_unit(column: PlantColumn, word: str, grid: Grid, head: int, at: int, found: FoundPlant) -> None:
    unit = re.search(r"\(([^)]*)\)\s*\*?$", word)
    said = unit[1].strip().lower() if unit else column.unit.lower()
    if said != column.unit.lower():
        unit_words = column.unit or "no unit"
        says = f"'{word}': this column is in {unit_words}; give such values and write the heading as {column.headed}"
        found.say(grid, head, at, says)


def _lacking(
    sheet: PlantSheet, grid: Grid, head: int, columns: dict[str, int], strange: dict[int, str], found: FoundPlant
) -> None:
    """Headings that are not there, and others that stand for none."""
    lacking = {bare(column.heading): column for column in sheet.columns if column.key not in columns}
    for at, word in strange.items():
        near = get_close_matches(bare(word), list(lacking), 1, 0.8)
        if near:
            meant = lacking.pop(near[0])
            found.say(grid, head, at, f"'{word}' is no heading of this sheet; if {meant.headed} is meant, write that")
        else:
            found.notes.append(f"the column {grid.at(head, at)} '{word[:40]}' was not read")
    for column in lacking.values():
        if column.needed:
            found.mistakes.append(
                (_top(sheet), f"{quoted(grid.name)}: there is no heading {column.headed}; add the column and fill it")
            )


def _without_heading(grid: Grid, head: int, words: dict[int, str], found: FoundPlant) -> None:
    bare_columns = sorted({at for row, at in grid.cells if row > head and at not in words})
    for at in bare_columns:
        found.notes.append(f"the column {quoted(grid.name)}!{letters(at)} has no heading, and was not read")


def _is_example(sheet: PlantSheet, grid: Grid, row: int, columns: dict[str, int], mark: int, found: FoundPlant) -> bool:
    """Whether a row is one of the workbook's examples. One that says so and is another is a mistake."""
    cells = tuple(plain(grid.cells.get((row, columns.get(c.key, 0)), "")) for c in sheet.columns)
    examples = [tuple("" if cell is None else plain(cell) for cell in example) for example in sheet.examples]
    marked = bool(mark) and (row, mark) in grid.cells
    if marked and cells not in examples:
        says = (
            "this row is marked as an example, and is not the one that the workbook came with; clear this cell if the "
            "row is yours, delete the row if it is not"
        )
        found.say(grid, row, mark, says)
    elif not mark and cells in examples:
        at = min(columns.values())
        found.notes.append(f"{grid.at(row, at)}: this row is an example of the workbook, and was read as your own")
    return marked


def read_entries(rows: Sequence[PlantColumn], name: str, grid: Grid, found: FoundPlant) -> None:
    """A sheet that is filled downwards: each entry stands beside what it is."""
    by_name = {bare(row.heading): row for row in rows}
    entry, what = _entry_column(grid, by_name)
    seen: dict[str, int] = {}
    for number in grid.rows:
        word = plain(grid.cells.get((number, what), ""))
        row = by_name.get(bare(word))
        if row is None:
            lacking = [bare(each.heading) for each in rows if bare(each.heading) not in seen]
            near = get_close_matches(bare(word), lacking, 1, 0.85) if word and (number, entry) in grid.cells else []
            if near:
                meant = by_name[near[0]].headed
                found.say(grid, number, what, f"'{word}' is no entry; if {meant} is meant, write that")
            elif word and bare(word) != WHAT.lower() and (number, entry) in grid.cells:
                found.notes.append(f"the row {grid.at(number, what)} '{word[:40]}' was not read")
        elif bare(word) in seen:
            first = grid.at(seen[bare(word)], what)
            found.say(grid, number, what, f"'{word}' is there twice, first at {first}; delete one")
        else:
            seen[bare(word)] = number
            table, key = row.key.split(".", 1)
            into = found.tables.setdefault(table, {})
            found.take((table, None, key), row, grid, number, entry, into)
    for row in rows:
        if row.needed and bare(row.heading) not in seen:
            found.mistakes.append(((0, 0, 0), f"{name}: there is no row '{row.headed}'; add it and fill it"))


def _entry_column(grid: Grid, by_name: dict[str, PlantColumn]) -> tuple[int, int]:
    """The columns of the entries and of what they are."""
    words = {place: bare(plain(cell)) for place, cell in grid.cells.items()}
    columns = [at for (_, at), word in words.items() if word in by_name]
    what = max(set(columns), key=columns.count, default=1)
    heads = [row for (row, at), word in words.items() if at == what and word == WHAT.lower()]
    entries = [at for (row, at), word in words.items() if row in heads and word == ENTRY.lower()]
    return (entries[0] if entries else what + 1), what


def read_all(grids: Sequence[Grid]) -> FoundPlant:
    """Every sheet that is ours, as raw tables with their places."""
    found = FoundPlant()
    here = sheets_by_name(grids, found)
    for name, rows in ((WORKS, WORKS_ROWS), (SETTINGS, SETTINGS_ROWS)):
        if name in here:
            read_entries(rows, name, here[name], found)
        elif name == WORKS:
            found.mistakes.append(((0, 0, 0), f"there is no sheet {WORKS}; copy it from a new workbook"))
    for sheet in SHEETS:
        if sheet.name in here:
            rows_of_sheet = read_sheet(sheet, here[sheet.name], found)
            if rows_of_sheet:
                found.tables[sheet.table] = rows_of_sheet
        elif sheet.needed:
            found.mistakes.append((_top(sheet), f"there is no sheet {sheet.name}; copy it from a new workbook"))
    joined(found, here.get(OTHERS))
    return found
