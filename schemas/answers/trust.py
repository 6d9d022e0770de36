"""How far stations can be trusted: detection by challenges, doubts, what is assumed."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    DefectCode,
    High95,
    LineId,
    Low95,
    Probability,
    Severity,
    StationId,
    WindowFrom,
    WindowTo,
)
from schemas.texts import Text


class DetectionRate(Result):
    """What the challenges about a time say of a station and a defect: of the 30 days before it and the day after it."""

    line: LineId
    station: StationId
    defect: DefectCode
    severity: Severity
    """empty for a code that works.toml lacks"""
    passes: int
    """times marked samples with the defect were sent through [passes]"""
    caught: int
    """of passes, how often the sample was rejected [passes]"""
    rate: float | None
    """caught over passes; null without passes [0..1 of passes]"""
    low: Low95
    """of rate, exact (Clopper and Pearson), for fewer passes where those of one challenge are alike [0..1 of passes]"""
    high: High95
    """of rate, made alike [0..1 of passes]"""
    last: Moment
    """when the newest challenge was made [cold-end clock]"""
    last_caught: int
    """caught of the newest challenge [passes]"""
    last_passes: int
    """passes of the newest challenge [passes]"""


class StationDoubt(Result):
    """Ware that nobody can vouch for: what a station inspected between two good challenges with a failed one
    between them, or since a good one after which the next is overdue."""

    line: LineId
    station: StationId
    defect: DefectCode
    severity: Severity
    """empty for a code that works.toml lacks"""
    why: str
    """`failed` or `overdue`"""
    from_: Moment | None = Field(alias="from")
    """the last good challenge; null where there was none [cold-end clock]"""
    to: Moment | None
    """the next good challenge; null where there is none yet [cold-end clock]"""
    failed_at: Moment | None
    """the first failed challenge in it; null where one is only overdue [cold-end clock]"""
    passes: int
    """passes of the failed challenges in it, 0 where one is only overdue [passes]"""
    caught: int
    """of passes, how many were caught [passes]"""
    containers: int
    """inspected by the station in it; without a good challenge before it, in the 30 days that are known [containers]"""
    pallets: tuple[str, ...]
    """identities of the pallets packed of what passed then, those released first"""
    released: int
    """of these pallets, those whose state is released [pallets]"""
    units: int
    """containers on these pallets, all of them [containers]"""
    likely: Probability | None = None
    """that the station really failed: by its failed challenges against what it usually misses, of an overdue one by
    the time gone by; an estimate; null where nobody worked it out"""
    usual: bool = False
    """its failed challenges are no more than what it usually misses: likely is below 0.1; never of an overdue one"""


class StationAssumption(Result):
    """What traces take a station to miss of the defects that it calls and was never challenged with."""

    line: LineId
    station: StationId
    defects: tuple[str, ...]
    """codes of the defects that it was never challenged with"""
    challenged: int
    """how many of the defects that it can call it was challenged with [defects]"""
    missed: float
    """share of the containers with such a defect that it is taken to let pass, the same for each [0..1 of
    containers with the defect]"""
    by: Text
    """what that is taken from, in words"""


class Trust(Result):
    """How far the stations' word can be taken, about one window."""

    from_: WindowFrom = Field(alias="from")
    to: WindowTo
    rates: tuple[DetectionRate, ...]
    """by line, station and defect"""
    doubts: tuple[StationDoubt, ...]
    """stretches in doubt that touch the window: what asks for somebody first, the likeliest failures leading, then
    what is usual"""
    never: tuple[str, ...] = ()
    """stations never challenged with a defect they can call that is not minor: station and defect codes"""
    usual_missed: float | None = None
    """what the works' stations miss as a whole; null where too few were challenged to tell [0..1 of passes]"""
    alike: float = 0.0
    """how alike the passes of one challenge are: their intraclass correlation; 0 where they are independent [0..1]"""
    assumed: tuple[StationAssumption, ...] = ()
    """of what was never challenged"""
    works_challenged: bool = True
    """whether any station of the works was challenged; where none was, no number of escapes is given"""

    @property
    def shown(self) -> list[StationDoubt]:
        """The doubts that ask for somebody; the others are as usual for their stations."""
        return [doubt for doubt in self.doubts if not doubt.usual]
