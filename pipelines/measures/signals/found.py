"""A signal as it stands."""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.measures.signals.onset import Onset
from pipelines.measures.signals.scope import Placing, ScopePlace


@dataclass(frozen=True)
class Found:
    """One signal of a line. Bins are the line's own; stream: the one that shows it; q: the smallest so far.

    counted: calls, calls expected by the past, and containers of the place since the onset; recent: calls beyond
    expectation in the last hour of ware that it covers, per hour. reopened: how often it was called over too soon.
    passed: over within PASSED_MIN of being raised, and its place a guess. part_of: the signal that turned out to tell
    of the same fault.
    """

    name: str
    defect: int
    raised: int
    placing: Placing
    onset: Onset
    ended: int | None
    stream: int
    q: float
    counted: tuple[float, float, float] = (0.0, 0.0, 0.0)
    recent: float = 0.0
    borrowed: bool = False
    new_mould: bool = False
    strength: float = 2.0
    why_ended: str = ""
    reopened: int = 0
    passed: bool = False
    part_of: str = ""

    @property
    def place(self) -> ScopePlace:
        return self.placing.best
