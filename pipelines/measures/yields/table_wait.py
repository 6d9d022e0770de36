"""Ware that waits between the last station and the pallets at a day's edge: it is that day's, and is packed on the
next.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.clock import Span
from pipelines.measures.yields.overpacked import BIN_S, by_bin, packed_by_bin

LOOK = timedelta(hours=8)  # a table is empty at some time of so many hours; a guess
LEAST_MIN = 2.0  # of ware: less is a matter of clocks
GRAIN = 0.25  # of a pallet: less is a matter of when its units were laid on it
MOST_MIN = 60.0  # of ware: no table holds more; counts that say so are off
UNSURE = 0.2  # standard uncertainty of what waits, over it: set on simulated works


@dataclass(frozen=True)
class CarriedTable:
    """Ware that waits at the edges of a day [containers]: start is packed in the day and of the one before, end the
    other way round.
    """

    start: float = 0.0
    end: float = 0.0

    @property
    def variance(self) -> float:
        return (UNSURE * self.start) ** 2 + (UNSURE * self.end) ** 2


@dataclass(frozen=True)
class CarriedItems:
    """What is added to a part of a day for it, by item [containers], and the variance of that."""

    units: Mapping[str, float] = field(default_factory=dict)
    variance: float = 0.0


def carried_over(pallets: pl.DataFrame, passed: pl.DataFrame, span: Span) -> CarriedTable:
    """What waits at the start and the end of a span in which a day's ware is packed. pallets: packed_from, packed_to,
    units. passed:
    window_start, window_s, passed (last station).

    A count of stock: what passed less what was packed since the time of the hours before (where those are not known,
    after) at which least waited.
    The stock at that time is common to both edges and to each day and the next. Common practice, no source.
    """
    return CarriedTable(*(_waiting(pallets, passed, at) for at in (span.start, span.end)))


def _waiting(pallets: pl.DataFrame, passed: pl.DataFrame, at: datetime) -> float:
    for start, end in ((at - LOOK, at), (at, at + LOOK)):
        parts = _stock(pallets, passed, start, end)
        if parts is not None:
            stock, flow = parts
            units = float(stock[-1 if end == at else 0] - stock.min())
            least = max(LEAST_MIN * flow, GRAIN * float(pallets["units"].median() or 0.0))  # type: ignore[arg-type]
            return units if least < units < MOST_MIN * flow else 0.0
    return 0.0


def _stock(
    pallets: pl.DataFrame, passed: pl.DataFrame, start: datetime, end: datetime
) -> tuple[np.ndarray, float] | None:
    """Containers between station and pallet over a time, but for a constant, and how many pass in a minute; None where
    the feeds do not cover it.
    """
    if not pallets.height or not passed.height:
        return None
    if pallets["packed_from"].min() > start or pallets["packed_to"].max() < end:  # type: ignore[operator]
        return None
    edges = np.arange(start.timestamp(), end.timestamp() + BIN_S / 2, BIN_S)
    ware, known = by_bin(passed, edges)
    if not known.all() or not ware.any():
        return None
    stock = np.append(0.0, np.cumsum(ware - packed_by_bin(pallets, edges, ware).sum(axis=0)))
    return stock, float(ware.mean()) * 60 / BIN_S
