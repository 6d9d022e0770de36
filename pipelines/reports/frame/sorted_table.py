"""One table on a page of the application: sorted by its address, copied, taken as CSV or as a workbook."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any
from urllib.parse import urlencode

from pipelines.reports.frame.sheet import TEXTS, Sheet, written
from pipelines.reports.terminal.table import safe_cell

CARDS = ("now",)  # tables that become a card a row on a phone: their cells carry their headings
Say = Callable[[str], str]


@dataclass(frozen=True)
class Order:
    """By which column of which table, and which way."""

    table: str
    column: str
    down: bool

    def text(self) -> str:
        return f"{self.table}.{self.column}.{'desc' if self.down else 'asc'}"


def order_of(text: str | None) -> Order | None:
    """`table.column.asc` or `.desc`; None for anything else."""
    parts = (text or "").rsplit(".", 2)
    if len(parts) != 3 or parts[2] not in ("asc", "desc"):
        return None
    return Order(parts[0], parts[1], parts[2] == "desc")


_DIGITS = re.compile(r"([0-9]+)")  # isdigit and \d also mean signs that are no numbers


def _natural(value: Any) -> list[tuple[int, float, str]]:
    """Texts in the order people expect: mould 9 before mould 10."""
    return [
        (1, 0.0, p.casefold()) if n % 2 == 0 else (0, float(p), "")
        for n, p in enumerate(_DIGITS.split(str(value)))
        if p
    ]


def ordered(sheet: Sheet, order: Order | None) -> list[int]:
    """The numbers of the rows in the order asked for; what is empty stands last either way."""
    numbers = list(range(len(sheet.rows)))
    column = next((c for c in sheet.columns if order is not None and c.name == order.column), None)
    if order is None or column is None:
        return numbers

    def value(number: int) -> Any:
        return sheet.rows[number].get(column.name)

    full = [n for n in numbers if value(n) not in (None, "")]
    empty = [n for n in numbers if value(n) in (None, "")]
    key = (lambda n: _natural(value(n))) if column.kind in TEXTS else (lambda n: _number(value(n)))
    return sorted(full, key=key, reverse=order.down) + empty


def _number(value: Any) -> tuple[int, float, list[tuple[int, float, str]]]:
    """A number's place; what is none stands behind all numbers, as text."""
    try:
        told = float(value)
    except (TypeError, ValueError, OverflowError):
        return 1, 0.0, _natural(value)
    return (0, told, []) if told == told else (1, 0.0, [])


def address(query: Mapping[str, str], **more: str) -> str:
    """The page's own question with something added."""
    return "?" + urlencode({**{k: v for k, v in query.items() if k not in ("sort", "as", "table", "part")}, **more})


def table_html(sheet: Sheet, name: str, query: Mapping[str, str], order: Order | None, say: Say) -> str:
    """The table with links in its headings that sort it, and links that take it along."""
    mine = order if order is not None and order.table == name else None
    numbers = ordered(sheet, mine)
    strong, shade = set(sheet.strong), {(row, column): strength for row, column, strength in sheet.shade}
    head = "".join(_heading(sheet, column, name, query, mine, say) for column in sheet.columns)
    rows = []
    for number in numbers:
        cells = "".join(_cell(sheet, number, column, shade, say) for column in sheet.columns)
        rows.append(f'<tr class="strong">{cells}</tr>' if number in strong else f"<tr>{cells}</tr>")
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def _heading(sheet: Sheet, column: Any, name: str, query: Mapping[str, str], order: Order | None, say: Say) -> str:
    sorted_by = order is not None and order.column == column.name
    down = not order.down if sorted_by and order is not None else column.kind not in TEXTS
    told = Order(name, column.name, down)
    state = f' aria-sort="{"descending" if order.down else "ascending"}"' if sorted_by and order is not None else ""
    kind = "" if column.kind in TEXTS else ' class="n"'
    words = escape(say(column.heading))
    if len(sheet.rows) < 2 or not words:
        return f'<th scope="col"{kind}>{words}</th>'
    link = escape(address(query, sort=told.text()) + f"#t-{name}", quote=True)
    return f'<th scope="col"{kind}{state}><a href="{link}" data-sort>{words}</a></th>'


def _cell(sheet: Sheet, number: int, column: Any, shade: Mapping[tuple[int, str], float], say: Say) -> str:
    value = sheet.rows[number].get(column.name)
    text = escape(say(written(value, column.kind)) if column.kind == "text" else written(value, column.kind))
    to = sheet.links.get((number, column.name))
    if to:
        text = f'<a href="{escape(to, quote=True)}">{text}</a>'
    kind = "" if column.kind == "text" else ' class="id"' if column.kind == "id" else ' class="n"'
    if sheet.name in CARDS:
        kind += f' data-label="{escape(say(column.heading), quote=True)}"'
    strength = shade.get((number, column.name))
    if strength is None:
        return f"<td{kind}>{text}</td>"
    return f'<td{kind} style="background-color:rgb(var(--heat) / {min(0.85, max(0.08, strength)):.2f})">{text}</td>'


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
    told: dict[str, Sheet] = {}
    for sheet in sheets:
        plain = re.sub(r"[^a-z0-9]+", "-", sheet.name.lower()).strip("-") or "table"
        name, number = plain, 1
        while name in told:
            number += 1
            name = f"{plain}-{number}"
        told[name] = sheet
    return told
