"""One question to several works: their Paretos joined, each with its own denominators beside the whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.measures.statistics.shares import count_interval, ratio
from schemas.answers.pareto import Pareto

DIMENSIONS = ("defect", "zone", "severity")  # what means the same in every works; moulds and places are each works' own


@dataclass(frozen=True)
class WorksPart:
    """What one line of one works says of a part of the window."""

    source: str
    works: str
    line: str
    pareto: Pareto


@dataclass(frozen=True)
class WorksRow:
    """One bar over all works. rate = calls / ware of all lines; low, high: 95 % interval of the count alone (Garwood),
    over ware: what differs between works is seen beside it.

    works: by works, calls, ware and rate.
    """

    key: str
    severity: str | None
    calls: int
    ware: int
    rate: float | None
    low: float | None
    high: float | None
    works: dict[str, tuple[int, int, float | None]]


def joined(parts: Sequence[WorksPart], by: str) -> list[WorksRow]:
    """The bars of all works: critical first, then by calls. A defect is joined by its name, since each works has codes
    of its own.
    """
    ware: dict[str, int] = {}
    calls: dict[str, dict[str, int]] = {}
    severity: dict[str, str | None] = {}
    for part in parts:
        ware[part.works] = ware.get(part.works, 0) + part.pareto.ware
        for row in part.pareto.rows:
            key = row.name if by == "defect" else row.key
            mine = calls.setdefault(key, {})
            mine[part.works] = mine.get(part.works, 0) + row.calls
            severity[key] = _worse(severity.get(key), row.severity)
    whole = sum(ware.values())
    rows = [_row(key, severity[key], of_works, ware, whole) for key, of_works in calls.items()]
    return sorted(rows, key=lambda row: (row.severity != "critical", -row.calls, row.key))


def _worse(text: str | None, other: str | None) -> str | None:
    """A defect that one works calls critical is critical for all of them here."""
    for severity in ("critical", "major", "minor"):
        if severity in (text, other):
            return severity
    return None


def _row(key: str, severity: str | None, calls: dict[str, int], ware: dict[str, int], whole: int) -> WorksRow:
    count = sum(calls.values())
    low, high = count_interval(count)
    each = {name: (calls.get(name, 0), seen, ratio(calls.get(name, 0), seen)) for name, seen in ware.items()}
    return WorksRow(key, severity, count, whole, ratio(count, whole), ratio(low, whole), ratio(high, whole), each)


def told_works(rows: Sequence[WorksRow], by: str, start: str, end: str) -> dict[str, Any]:
    """The answer as JSON."""
    return {
        "from": start,
        "to": end,
        "by": by,
        "rows": [
            {
                **{k: v for k, v in vars(row).items() if k != "works"},
                "works": {n: {"calls": c, "ware": w, "rate": r} for n, (c, w, r) in row.works.items()},
            }
            for row in rows
        ],
    }
