"""Rows whose codes are all known but do not go together in works.toml."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import polars as pl

from pipelines.plant import GOBS, Plant
from schemas.reasons import Reason

Rule = tuple[tuple[str, str], Callable[[Plant, str, str], bool], Reason]

_RULES: tuple[Rule, ...] = (
    (("line", "station"), lambda p, line, station: p.stations[station].line == line, Reason.STATION_OF_OTHER_LINE),
    (("station", "defect"), lambda p, station, defect: p.stations[station].can_call(defect), Reason.STATION_CANNOT_SEE),
    (("line", "section"), lambda p, line, section: int(section) <= p.lines[line].sections, Reason.SECTION_BEYOND_MACHINE),
    (("line", "gob"), lambda p, line, gob: GOBS.index(gob) < p.lines[line].gobs, Reason.GOB_BEYOND_MACHINE),
)


def against_plant(frame: pl.DataFrame, plant: Plant) -> Iterator[tuple[str, np.ndarray, Reason]]:
    """Column, `row` numbers and reason of rows that break a rule between two of their codes."""
    for (first, second), holds, reason in _RULES:
        if first not in frame.columns or second not in frame.columns:
            continue
        pairs = frame.select(first, second).unique().drop_nulls()
        wrong = [pair for pair in pairs.iter_rows() if not holds(plant, *pair)]
        if wrong:
            bad = pl.DataFrame(wrong, schema=pairs.schema, orient="row")
            rows = frame.join(bad, on=[first, second], how="semi")["row"].to_numpy()
            yield second, rows, reason
