"""One table, shown the same way on a page (great-tables) and in a workbook."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import polars as pl
from great_tables import GT, loc, style

from pipelines.numbers import decimals, expected

_FORMATS = {
    "count": "#,##0",
    "percent": "0.00%",
    "percent1": "0.0%",
    "number": "#,##0.0",
    "number2": "#,##0.00",
    "number3": "0.000",
    "expected": '[<0.05]"< 0.1";#,##0.0',
    "text": "",
    "id": "",
}


@dataclass(frozen=True)
class Column:
    """A column: its name in the rows, its heading, and how its values are written.

    kind: text, id (a text that is not broken), count, percent (2 digits), percent1 (1 digit), number (1 digit), number2 (2 digits), number3 (3 digits), expected
    (1 digit, never 0), link.
    """

    name: str
    heading: str
    kind: str = "text"


@dataclass(frozen=True)
class Sheet:
    """A table with a title, a caption that says its denominators, and rows of plain values.

    shade: (row, column name, strength 0..1) of cells to be shaded; the number in the cell says the same.
    strong: rows to be set in bold. links: (row, column name) -> address relative to the page.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: Sequence[dict[str, Any]]
    caption: str = ""
    shade: Sequence[tuple[int, str, float]] = ()
    strong: Sequence[int] = ()
    links: dict[tuple[int, str], str] = field(default_factory=dict)

    def frame(self) -> pl.DataFrame:
        """The rows as they are read; a linked cell holds a token in place of its text."""
        data = {
            c.name: [self._cell(number, c, row.get(c.name)) for number, row in enumerate(self.rows)]
            for c in self.columns
        }
        return pl.DataFrame(data, schema={c.name: pl.String for c in self.columns})

    def _cell(self, number: int, column: Column, value: Any) -> str:
        if (number, column.name) in self.links:
            return _token(number, column.name)
        return written(value, column.kind)


TEXTS = ("text", "id")
_DIGITS = {"count": 0, "number": 1, "number2": 2, "number3": 3, "percent": 2, "percent1": 1}


def written(value: Any, kind: str) -> str:
    """A value as a page writes it, in the works' way; a dash for nothing."""
    if kind in TEXTS:
        return "" if value is None else str(value)
    if value is None:
        return "–"
    if kind == "expected":
        return expected(value)
    scaled = value * 100 if kind.startswith("percent") else value
    text = decimals(scaled, _DIGITS[kind])
    return f"{text} %" if kind.startswith("percent") else text


def _token(row: int, name: str) -> str:
    return f"@link-{row}-{name}@"


def table_html(sheet: Sheet) -> str:
    """The table as HTML without a style of its own: the page has the one style sheet."""
    table = GT(sheet.frame(), id=sheet.name).cols_label({c.name: c.heading for c in sheet.columns})
    whole = [c.name for c in sheet.columns if c.kind == "id"]
    if whole and sheet.rows:
        table = table.tab_style(style.css("white-space:nowrap;"), loc.body(columns=whole))
    numbers = [c.name for c in sheet.columns if c.kind not in TEXTS]
    if numbers:
        table = table.cols_align("right", numbers)
    if sheet.strong:
        table = table.tab_style(style.css("font-weight:700;"), loc.body(rows=list(sheet.strong)))
    for row, name, strength in sheet.shade:
        rule = style.css(f"background-color:rgb(var(--heat) / {min(0.85, max(0.08, strength)):.2f});")
        table = table.tab_style(rule, loc.body(columns=name, rows=[row]))
    text = re.sub(r"<style>.*?</style>", "", table.as_raw_html(), flags=re.S)
    for (row, name), address in sheet.links.items():
        words = html.escape(str(sheet.rows[row].get(name, "")))
        text = text.replace(_token(row, name), f'<a href="{html.escape(address, quote=True)}">{words}</a>')
    return text[text.index("<table") : text.index("</table>") + len("</table>")]


def number_format(kind: str) -> str:
    """The workbook's number format for a kind of column."""
    return _FORMATS[kind]
