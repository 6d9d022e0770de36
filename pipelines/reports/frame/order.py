"""By which column the rows of a table stand, and which way."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pipelines.reports.frame.sheet import TEXTS, Sheet


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
    column = next((c for c in sheet.shown() if order is not None and c.name == order.column), None)
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
        answer = float(value)
    except (TypeError, ValueError, OverflowError):
        return 1, 0.0, _natural(value)
    return (0, answer, []) if answer == answer else (1, 0.0, [])
