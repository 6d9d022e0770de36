"""Tables that are worked out of the facts and kept by line and hour; and who has seen which signal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import polars as pl

from pipelines.ledger.queries import query
from pipelines.ledger.store import Ledger

_WRITES = {
    "lehr_hours": ("clear_lehr_hours", "keep_lehr_hours"),
    "expected_hours": ("clear_expected_hours", "keep_expected_hours"),
    "expected_cells": ("clear_expected_cells", "keep_expected_cells"),
    "signal_hours": ("clear_signal_hours", "keep_signal_hours"),
    "hour_doubts": ("clear_hour_doubts", "keep_hour_doubts"),
}


def keep_hours(
    ledger: Ledger, marts: Mapping[str, pl.DataFrame], lines: Sequence[str], start: datetime, end: datetime
) -> None:
    """Replace the rows of some lines in [start, end) of each mart; all or none of it."""
    limits = {"from_time": start.replace(tzinfo=None), "to_time": end.replace(tzinfo=None)}
    with ledger.writing() as con:
        for name, rows in marts.items():
            clear, keep = _WRITES[name]
            for line in lines:
                con.execute(query(clear, "writes"), {"line": line, **limits})
            if rows.height:
                naive = rows.with_columns(pl.col("hour").dt.replace_time_zone(None))
                con.register("new_rows", naive.to_arrow())
                con.execute(query(keep, "writes"))
                con.unregister("new_rows")


def acknowledge(ledger: Ledger, signal: str, by: str, note: str, at: datetime) -> None:
    """Note that somebody has seen a signal; earlier notes stay."""
    row = {"signal": signal, "at": at.replace(tzinfo=None), "by_whom": by, "note": note}
    with ledger.writing() as con:
        con.execute(query("acknowledge", "writes"), row)
