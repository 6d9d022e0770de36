"""Rows whose codes are all known but do not go together in works.toml."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipelines.plant.tables import GOBS
from pipelines.plant.works import Plant
from schemas.reasons import Reason


@dataclass(frozen=True)
class PlantRule:
    """What must hold between the values of two columns. only: the feeds that it is for, every one where none is named;
    but: feeds that it is not for.
    """

    columns: tuple[str, str]
    holds: Callable[[Plant, Any, Any], bool]
    reason: Reason
    only: tuple[str, ...] = ()
    but: tuple[str, ...] = ()

    def is_for(self, feed: str) -> bool:
        return feed not in self.but and (not self.only or feed in self.only)


def _can_call(plant: Plant, station: str, defect: str) -> bool:
    """What is no fault is nothing that a station sees: ware is thrown out by a mould number, or as a sample, at any of
    them.
    """
    return plant.stations[station].can_call(defect) or defect in plant.no_faults


def _stands_on(plant: Plant, line: str, place: str) -> bool:
    """Whether a place is on a line; the lehr and its like are on every line."""
    return place not in plant.stations or plant.stations[place].line == line


_RULES = (
    PlantRule(("line", "station"), _stands_on, Reason.STATION_OF_OTHER_LINE),
    PlantRule(("line", "place"), _stands_on, Reason.STATION_OF_OTHER_LINE, only=("breakages",)),
    # at a station something is also done against what another calls
    PlantRule(("station", "defect"), _can_call, Reason.STATION_CANNOT_SEE, but=("actions",)),
    PlantRule(("station", "called"), _can_call, Reason.STATION_CANNOT_SEE),
    PlantRule(
        ("line", "section"),
        lambda plant, line, section: int(section) <= plant.lines[line].sections,
        Reason.SECTION_BEYOND_MACHINE,
    ),
    PlantRule(
        ("line", "gob"),
        lambda plant, line, gob: GOBS.index(gob) < plant.lines[line].gobs,
        Reason.GOB_BEYOND_MACHINE,
    ),
    PlantRule(
        ("quantity", "at"),
        lambda plant, quantity, at: at in plant.ids(plant.quantities[quantity].where),
        Reason.QUANTITY_ELSEWHERE,
    ),
)


def against_plant(
    indices: dict[str, np.ndarray], values: dict[str, list[Any]], plant: Plant, feed: str
) -> Iterator[tuple[str, np.ndarray, Reason]]:
    """Column, row numbers and reason of rows of a feed that break a rule between two of their codes.

    indices: for each column, the number of each row's value in `values`; values that are None are passed over.
    """
    for rule in _RULES:
        first, second = rule.columns
        if first not in indices or second not in indices or not rule.is_for(feed):
            continue
        width = len(values[second])
        pairs = indices[first].astype(np.int64) * width + indices[second]
        present = np.flatnonzero(np.bincount(pairs, minlength=len(values[first]) * width))
        wrong = [
            pair for pair in present if _breaks(plant, values[first][pair // width], values[second][pair % width], rule)
        ]
        if wrong:
            yield second, np.flatnonzero(np.isin(pairs, wrong)), rule.reason


def _breaks(plant: Plant, answer: Any, other: Any, rule: PlantRule) -> bool:
    return answer is not None and other is not None and not rule.holds(plant, answer, other)
