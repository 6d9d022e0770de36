"""A table as CSV: that of a command, whose columns have names that programs go by, and that of a page, with the page's
own headings. In both no text can become a formula.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from typing import Any

from pipelines.reports.frame.order import Order, ordered
from pipelines.reports.frame.sheet import CSV, Column, Sheet

Say = Callable[[str], str]


def command_csv(sheet: Sheet) -> str:
    """The table for programs: names of columns, plain values, rows in their own order."""
    return _csv(sheet, sheet.shown(CSV), [c.csv or c.name for c in sheet.shown(CSV)], range(len(sheet.rows)), "\n")


def page_csv(sheet: Sheet, order: Order | None, say: Say) -> str:
    """The table as a page shows it: its headings in the reader's language, sorted as it is seen, plain values."""
    return _csv(sheet, sheet.shown(), [say(c.heading) for c in sheet.shown()], ordered(sheet, order), "\r\n")


def _csv(sheet: Sheet, columns: Iterable[Column], heads: Iterable[str], numbers: Iterable[int], end: str) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator=end)
    writer.writerow([_safe(head) for head in heads])
    for number in numbers:
        values = (sheet.rows[number].get(column.name) for column in columns)
        writer.writerow(["" if value is None else _safe(value) for value in values])
    return out.getvalue()


def _safe(value: Any) -> Any:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
