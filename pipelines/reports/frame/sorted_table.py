"""Tables of a page of the application by name: the address that sorts one, and one taken along as CSV."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from urllib.parse import urlencode

from pipelines.reports.frame.order import Order, ordered
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.terminal.table import safe_cell

Say = Callable[[str], str]


def address(query: Mapping[str, str], **more: str) -> str:
    """The page's own question with something added."""
    return "?" + urlencode({**{k: v for k, v in query.items() if k not in ("sort", "as", "table", "part")}, **more})


def table_csv(sheet: Sheet, order: Order | None, say: Say) -> str:
    """The table as CSV with its plain values; no text can become a formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([safe_cell(say(column.heading)) for column in sheet.columns])
    for number in ordered(sheet, order):
        values = (sheet.rows[number].get(column.name) for column in sheet.columns)
        writer.writerow(["" if value is None else safe_cell(value) for value in values])
    return out.getvalue()


def named_sheets(sheets: Sequence[Sheet]) -> dict[str, Sheet]:
    """The tables of a page, each under a name of its own that an address can hold."""
    these_sheets: dict[str, Sheet] = {}
    for sheet in sheets:
        plain = re.sub(r"[^a-z0-9]+", "-", sheet.name.lower()).strip("-") or "table"
        name, number = plain, 1
        while name in these_sheets:
            number += 1
            name = f"{plain}-{number}"
        these_sheets[name] = sheet
    return these_sheets
