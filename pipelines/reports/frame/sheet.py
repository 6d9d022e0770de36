"""One table: its columns, headings and how a number is written, declared once for pages, terminal, CSV and workbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from pipelines.numbers import decimals, expected, probability
from schemas.texts import Text

_FORMATS = {
    "count": "#,##0",
    "percent": "0.00%",
    "percent1": "0.0%",
    "percent3": "0.000%",
    "number": "#,##0.0",
    "number2": "#,##0.00",
    "chance": '[<0.0005]"< 0.001";0.000',
    "expected": '[<0.05]"< 0.1";#,##0.0',
    "text": "",
    "id": "",
}


# where a column stands: on pages (HTML and workbook), on the terminal, in the CSV of commands
PAGE, TERMINAL, CSV = ("page",), ("terminal",), ("csv",)
SHOWN = PAGE + TERMINAL
EVERYWHERE = SHOWN + CSV


@dataclass(frozen=True)
class Column:
    """A column: its name in the rows, its heading, and how its values are written.

    kind: text, id (a text that is not broken), count, percent (2 digits), percent1 (1 digit), percent3 (3 digits),
    number (1 digit), number2 (2 digits), chance (3 digits, never 0), expected (1 digit, never 0), link.
    ways: where it stands. csv: what it is called in the CSV of a command, where that is not its name. short: its
    heading where there is little room, on the terminal.
    """

    name: str
    heading: Text
    kind: str = "text"
    ways: tuple[str, ...] = EVERYWHERE
    csv: str = ""
    short: str = ""


def in_csv(*names: str, **called: str) -> tuple[Column, ...]:
    """Columns that stand only in the CSV of a command: under their own names, or as they are called there."""
    each = {**{name: name for name in names}, **called}
    return tuple(Column(name, csv, ways=CSV, csv=csv) for name, csv in each.items())


@dataclass(frozen=True)
class Sheet:
    """A table with a title, a caption that says its denominators, and rows of plain values.

    shade: (row, column name, strength 0..1) of cells to be shaded; the number in the cell says the same.
    strong: rows to be set in bold. links: (row, column name) -> address relative to the page.
    """

    name: str
    title: Text
    columns: tuple[Column, ...]
    rows: Sequence[dict[str, Any]]
    caption: Text = ""
    shade: Sequence[tuple[int, str, float]] = ()
    strong: Sequence[int] = ()
    links: dict[tuple[int, str], str] = field(default_factory=dict)

    def shown(self, way: tuple[str, ...] = PAGE) -> tuple[Column, ...]:
        """The columns that stand there, in their order."""
        return tuple(column for column in self.columns if way[0] in column.ways)


TEXTS = ("text", "id")
_DIGITS = {"count": 0, "number": 1, "number2": 2, "percent": 2, "percent1": 1, "percent3": 3}


def written(value: Any, kind: str) -> str:
    """A value as a page writes it, in the works' way; a dash for nothing."""
    if kind in TEXTS:
        return "" if value is None else str(value)
    if value is None:
        return "–"
    if kind == "expected":
        return expected(value)
    if kind == "chance":
        return probability(value)
    scaled = value * 100 if kind.startswith("percent") else value
    text = decimals(scaled, _DIGITS[kind])
    return f"{text} %" if kind.startswith("percent") else text


def number_format(kind: str) -> str:
    """The workbook's number format for a kind of column."""
    return _FORMATS[kind]
