"""A table on the terminal: as wide as that is, 140 columns where nobody looks. Words are never broken to make it fit: a
table that is too wide even with its words one below the other is written row by row, heading beside value.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipelines.reports.frame.sheet import TERMINAL, TEXTS, Column, Sheet, written

if TYPE_CHECKING:
    from rich.table import Table

Rows = Sequence[Sequence[str]]
UNSEEN_WIDTH = 140
LONGEST_WORD = 24  # a longer one, such as an address, may be broken
NO_ROW = "No row."  # of a table alone: what it means, says the sentence beside it
EMPTY = {  # where there is no sentence beside the table
    "feeds": "No file came yet.",
    "rows": "No row was replaced.",
    "runs": "Nothing ran yet.",
    "people": "Nobody can sign in yet: coldledger people add.",
    "audit": "Nobody signed in or wrote by way of the pages.",
    "notices": "No notice went out.",
    "sources": "works.toml names no [[source]]: coldledger help sources.",
    "capacities": "No capacity check came.",
    "causes": "No reading tells a cause.",
    "steps": "No reading tells a step.",
}
_BESIDE = 3  # of each column: a rule and two blanks


def print_sheet(sheet: Sheet) -> None:
    """The table with its title and its caption; numbers to the right."""
    from rich.console import Console

    console = Console(width=None if sys.stdout.isatty() else UNSEEN_WIDTH, markup=False, highlight=False, emoji=False)
    columns = sheet.shown(TERMINAL)
    heads = [column.short or column.heading for column in columns]
    rows = [[_text(row.get(column.name), column) for column in columns] for row in sheet.rows]
    widths = _widths(heads, columns, rows, console.width)
    console.print(sheet.title, style="italic")
    if not rows:
        console.print(EMPTY.get(sheet.name, NO_ROW))
    else:
        console.print(_records(sheet, heads, rows) if widths is None else _table(sheet, heads, columns, rows, widths))
    if sheet.caption:
        console.print(sheet.caption, style="dim italic")


def _text(value: object, column: Column) -> str:
    """A value as pages write it too; a plain blank between thousands, since a terminal has none that is thin."""
    return written(value, column.kind).replace("\u202f", " ")


def _widths(heads: Sequence[str], columns: Sequence[Column], rows: Rows, room: int) -> list[int] | None:
    """Widths that fit and break no word, the widest columns giving way first; None where there are none."""
    from rich.cells import cell_len

    cells = [[row[n] for row in rows] for n in range(len(columns))]
    widths = [max(map(cell_len, (head, *texts))) for head, texts in zip(heads, cells, strict=True)]
    least = [
        max(cell_len(part) for part in (*_words(head), *(part for text in texts for part in _parts(text, column))))
        for head, column, texts in zip(heads, columns, cells, strict=True)
    ]
    room -= _BESIDE * len(columns) + 1
    if sum(least) > room:
        return None
    while sum(widths) > room:
        _, widest = max((width, n) for n, width in enumerate(widths) if width > least[n])
        widths[widest] -= 1
    return widths


def _parts(text: str, column: Column) -> list[str]:
    """What of a cell must stand in one line: a number and an id whole, of a text each word."""
    return _words(text) if column.kind == "text" else [text]


def _words(text: str) -> list[str]:
    return [word[:LONGEST_WORD] for word in text.split()] or [""]


def _table(sheet: Sheet, heads: Sequence[str], columns: Sequence[Column], rows: Rows, widths: Sequence[int]) -> Table:
    from rich.table import Table

    table = Table()
    for head, column, width in zip(heads, columns, widths, strict=True):
        right = column.kind not in TEXTS
        table.add_column(head, justify="right" if right else "left", overflow="fold", width=width)
    strong = set(sheet.strong)
    for number, row in enumerate(rows):
        table.add_row(*row, style="bold" if number in strong else None)
    return table


def _records(sheet: Sheet, heads: Sequence[str], rows: Rows) -> Table:
    """Row by row, a rule between them: what it is, and what it says."""
    from rich.table import Table

    table = Table(show_header=False)
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    strong = set(sheet.strong)
    for number, row in enumerate(rows):
        for place, (head, text) in enumerate(zip(heads, row, strict=True)):
            last = place == len(heads) - 1
            table.add_row(head, text, style="bold" if number in strong else None, end_section=last)
    return table
