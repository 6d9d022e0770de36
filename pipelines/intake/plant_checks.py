"""Rows whose codes are all known but do not go together in works.toml."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from pipelines.plant.tables import GOBS
from pipelines.plant.works import Plant
from schemas.reasons import Reason

Rule = tuple[tuple[str, str], Callable[[Plant, Any, Any], bool], Reason]

_RULES: tuple[Rule, ...] = (
    (
        ("line", "station"),
        lambda p, line, station: p.stations[station].line == line,
        Reason.STATION_OF_OTHER_LINE,
    ),
    (
        ("station", "defect"),
        # what is no fault is nothing that a station sees: ware is thrown out by a mould number, or as a sample, at any
        # of them
        lambda p, station, defect: p.stations[station].can_call(defect) or defect in p.no_faults,
        Reason.STATION_CANNOT_SEE,
    ),
    (
        ("line", "section"),
        lambda p, line, section: int(section) <= p.lines[line].sections,
        Reason.SECTION_BEYOND_MACHINE,
    ),
    (("line", "gob"), lambda p, line, gob: GOBS.index(gob) < p.lines[line].gobs, Reason.GOB_BEYOND_MACHINE),
)


def against_plant(
    indices: dict[str, np.ndarray], values: dict[str, list[Any]], plant: Plant
) -> Iterator[tuple[str, np.ndarray, Reason]]:
    """Column, row numbers and reason of rows that break a rule between two of their codes.

    indices: for each column, the number of each row's value in `values`; values that are None are passed over.
    """
    for (first, second), holds, reason in _RULES:
        if first not in indices or second not in indices:
            continue
        width = len(values[second])
        pairs = indices[first].astype(np.int64) * width + indices[second]
        present = np.flatnonzero(np.bincount(pairs, minlength=len(values[first]) * width))
        wrong = [
            pair
            for pair in present
            if _breaks(plant, values[first][pair // width], values[second][pair % width], holds)
        ]
        if wrong:
            yield second, np.flatnonzero(np.isin(pairs, wrong)), reason


def _breaks(plant: Plant, answer: Any, other: Any, holds: Callable[[Plant, Any, Any], bool]) -> bool:
    return answer is not None and other is not None and not holds(plant, answer, other)
