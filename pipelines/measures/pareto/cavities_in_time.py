"""Calls of each cavity in short bins of time: the machine as small multiples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from pipelines.measures.pareto.calls_in_time import in_bins
from pipelines.measures.pareto.explained_calls import Spot


@dataclass(frozen=True)
class CavitiesInTime:
    """Bins of `step_s` seconds from `first` on, by the cold-end clock. calls: of each cavity, [bins]; nan where no ware
    was counted. unplaced: calls whose cavity nothing tells, in all.
    """

    first: datetime
    step_s: int
    calls: dict[Spot, np.ndarray]
    unplaced: int

    @property
    def whole(self) -> np.ndarray:
        """Calls of all cavities together, [bins]."""
        total: np.ndarray = np.sum(list(self.calls.values()), axis=0)
        return total

    def since(self, onset: datetime, until: datetime | None) -> np.ndarray:
        """Which bins begin from `onset` on and before `until`, [bins]; the bin of the onset is one of them."""
        starts = np.arange(len(self.whole)) * self.step_s
        begin = (onset - self.first).total_seconds() - self.step_s
        end = np.inf if until is None else (until - self.first).total_seconds()
        inside: np.ndarray = (starts > begin) & (starts < end)
        return inside


def cavities_in_time(
    calls: pl.DataFrame, places: Sequence[Spot], ware: np.ndarray, first: datetime, step_s: int
) -> CavitiesInTime:
    """calls: section, gob (both null where no cavity is known), window_start, window_s, calls; a window longer than a
    bin is spread evenly. ware: containers at the first station [bins], nan where none was counted; there 0 calls of a
    cavity are known to be none.
    """
    step = pl.duration(seconds=step_s)
    since = (pl.col("window_start") - first).dt.total_seconds() // step_s
    short = pl.col("window_s") < step_s  # the bin in which it begins holds it
    moment = pl.when(short).then(pl.lit(first) + since * step).otherwise(pl.col("window_start"))
    rows = calls.with_columns(moment=moment, window_s=pl.max_horizontal("window_s", pl.lit(step_s)))
    found = {}
    for section, gob in places:
        mine = rows.filter((pl.col("section") == section) & (pl.col("gob") == gob))
        counted = in_bins(mine, "calls", first, step_s, len(ware))
        found[section, gob] = np.where(np.isnan(ware), np.nan, np.nan_to_num(counted))
    unplaced = int(rows.filter(pl.col("section").is_null())["calls"].sum())
    return CavitiesInTime(first, step_s, found, unplaced)
