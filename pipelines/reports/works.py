"""The Pareto over several works as a table."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.answers.works import WorksRow
from pipelines.reports.frame.sheet import Column, Sheet


def works_sheet(rows: Sequence[WorksRow], by: str, when: str) -> Sheet:
    """Bars over all works, beside them each works' own rate, all per 1000 containers."""
    names = list(rows[0].works) if rows else []
    columns = (
        Column("key", by, "id", csv=by),
        Column("severity", "severity"),
        Column("calls", "calls", "count"),
        Column("ware", "ware", "count"),
        Column("rate", "calls per 1000", "id", csv="calls per 1000"),
        Column("interval", "95 %", "id", csv="95 %"),
        *(Column(f"works {name}", f"{name} per 1000", "id", csv=f"{name} per 1000") for name in names),
    )
    cells = [
        {
            "key": row.key,
            "severity": row.severity or "",
            "calls": row.calls,
            "ware": row.ware,
            "rate": _mille(row.rate),
            "interval": f"{_mille(row.low)} to {_mille(row.high)}",
            **{f"works {name}": _mille(row.works[name][2]) for name in names},
        }
        for row in rows
    ]
    ware = "; ".join(f"{name} {rows[0].works[name][1]:,}" for name in names)
    caption = f"containers at the first stations: {ware}. The interval is that of the count alone."
    title = f"Rejects of {len(names)} works, {when} by each works' own clock"
    return Sheet("works", title, columns, cells, caption)


def _mille(rate: float | None) -> str:
    return "-" if rate is None else f"{1000 * rate:.3f}"
