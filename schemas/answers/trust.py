"""How far stations can be trusted: detection by challenges, doubts, what is assumed."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result


class DetectionRate(Result):
    """What the challenges of 30 days say of a station and a defect; low and high bound an exact 95 % interval."""

    line: str
    station: str
    defect: str
    severity: str
    passes: int
    caught: int
    rate: float | None
    low: float
    high: float
    last: Moment
    last_caught: int
    last_passes: int


class StationDoubt(Result):
    """Ware that nobody can vouch for: since the last good challenge (`from`, null: never) to the next good one (`to`,
    null: none yet).

    containers: inspected by the station in it. pallets: packed of what passed then, released ones first; units: all of
    their containers.
    likely: probability that the station really failed, an estimate. usual: its failed challenges are no more than what
    it usually misses.
    """

    line: str
    station: str
    defect: str
    severity: str
    why: str
    from_: Moment | None = Field(alias="from")
    to: Moment | None
    failed_at: Moment | None
    passes: int
    caught: int
    containers: int
    pallets: tuple[str, ...]
    released: int
    units: int
    likely: float | None = None
    usual: bool = False


class StationAssumption(Result):
    """What is assumed of a station and the defects that it calls and was never challenged with. challenged: how many
    others it was challenged with. missed: the share that it is taken to miss of each; by: what that is taken from.
    """

    line: str
    station: str
    defects: tuple[str, ...]
    challenged: int
    missed: float
    by: str


class Trust(Result):
    """usual_missed: the share that the works' stations miss as a whole, null where too few were challenged; alike:
    correlation of a challenge's passes.

    assumed: of what was never challenged. works_challenged: whether any station of the works was; where none was, no
    number of escapes is given.
    """

    from_: Moment = Field(alias="from")
    to: Moment
    rates: tuple[DetectionRate, ...]
    doubts: tuple[StationDoubt, ...]
    never: tuple[str, ...] = ()
    usual_missed: float | None = None
    alike: float = 0.0
    assumed: tuple[StationAssumption, ...] = ()
    works_challenged: bool = True

    @property
    def shown(self) -> list[StationDoubt]:
        """The doubts that ask for somebody; the others are as usual for their stations."""
        return [doubt for doubt in self.doubts if not doubt.usual]
