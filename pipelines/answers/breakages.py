"""Breakages of a window, each with the pallets that were packed on its line in the minutes around it.

Neither the contract nor a handbook says how many minutes: `[warehouse] breakage_minutes` does, and every page says it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.holds.breakages import endangered
from pipelines.plant.works import Plant

LATELY = timedelta(hours=12)  # of which breakages a live page speaks


@dataclass(frozen=True)
class Breakage:
    """Ware that broke, and the pallets beside it. packed: when ware was packed that can have been beside it; pallets:
    pallet, item, packed_from, packed_to, units, state, delivery.
    """

    line: str
    place: str
    broke_at: datetime
    cleared_at: datetime | None
    note: str
    by: str
    packed: Span
    pallets: pl.DataFrame


def answer_breakages(reader: Reader, plant: Plant, window: Span, until: datetime) -> list[Breakage]:
    """What broke in [window.start, window.end). until: up to when pallets beside a place are listed that nobody told
    to be cleared.
    """
    rows = reader.ask("breakages_between", from_time=window.start, to_time=window.end)
    return [_breakage(reader, plant, row, until) for row in rows.iter_rows(named=True)]


def _breakage(reader: Reader, plant: Plant, row: dict[str, object], until: datetime) -> Breakage:
    line, place, broke_at, cleared_at = str(row["line"]), str(row["place"]), row["broke_at"], row["cleared_at"]
    assert isinstance(broke_at, datetime) and (cleared_at is None or isinstance(cleared_at, datetime))
    lehr = plant.lines[line].lehr_minutes if line in plant.lines else 0.0
    packed = endangered(place, broke_at, cleared_at, plant.warehouse.breakage_minutes, lehr, until)
    pallets = reader.ask("pallets_with_ware_of", line=line, from_time=packed.start, to_time=packed.end)
    note, by = str(row["note"] or ""), str(row["by"] or "")
    return Breakage(line, place, broke_at, cleared_at, note, by, packed, pallets)
