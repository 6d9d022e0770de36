"""Answers on the terminal: a table, JSON or CSV."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections.abc import Sequence
from enum import StrEnum
from typing import Any


class Format(StrEnum):
    table = "table"
    json = "json"
    csv = "csv"


Rows = Sequence[Sequence[Any]]


def print_table(title: str, columns: Sequence[str], rows: Rows, caption: str = "") -> None:
    """A table as wide as the terminal; numbers to the right."""
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title, caption=caption or None, title_justify="left", caption_justify="left")
    for number, name in enumerate(columns):
        right = any(isinstance(row[number], int | float) for row in rows)
        table.add_column(name, justify="right" if right else "left", overflow="fold", no_wrap=number == 0)
    for row in rows:
        table.add_row(*(cell(value) for value in row))
    Console(width=None if sys.stdout.isatty() else 140).print(table)


def cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:,.4g}" if abs(value) < 10 else f"{value:,.1f}"
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def safe_cell(value: Any) -> Any:
    """A CSV cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value


def print_csv(columns: Sequence[str], rows: Rows) -> None:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([["" if value is None else safe_cell(value) for value in row] for row in rows])
    sys.stdout.write(out.getvalue())


def print_json(answer: Any) -> None:
    sys.stdout.write(json.dumps(answer, ensure_ascii=False, indent=1, default=str) + "\n")


class Part(StrEnum):
    """What `coldledger feeds` answers with: three tables."""

    feeds = "feeds"
    stations = "stations"
    refused = "refused"
