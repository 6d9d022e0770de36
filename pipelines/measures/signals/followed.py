"""A line while its hours are followed, as far as the counting and joining of its signals needs to know it."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from pipelines.measures.signals.baseline import Expectation, PastHours
from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.found import Found
from pipelines.measures.signals.scan import Scan
from pipelines.plant.works import Plant


class Followed(Protocol):
    """The state of one line. able: [defects, stations] whether a station can call a defect."""

    plant: Plant
    counts: LineCounts
    past: PastHours
    scan: Scan
    able: np.ndarray
    signals: list[Found]

    @property
    def latest(self) -> Expectation: ...

    def bins(self, minutes: float) -> int: ...

    def keep(self, signal: Found) -> None: ...

    def explain(self, defect: int, without: str = "") -> None: ...

    def updated(self, signal: Found, now: int) -> Found | None: ...
