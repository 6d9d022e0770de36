"""One table: its columns, headings and how a number is written, declared once for pages, terminal, CSV and workbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

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

    kind: text, id (a text that is not broken), count, percent (2 digits), percent1 (1 digit), number (1 digit), number2
    (2 digits), number3 (3 digits), expected (1 digit, never 0), link.
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


def number_format(kind: str) -> str:
    """The workbook's number format for a kind of column."""
    return _FORMATS[kind]
