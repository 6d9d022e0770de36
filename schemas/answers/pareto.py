"""The Pareto of rejects."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result


class ParetoRow(Result):
    """One bar. `rate` = calls / the line's ware; `own_rate` = calls / `own_ware`, the ware of this key itself."""

    key: str
    name: str
    severity: str | None = None
    calls: int
    share: float
    cumulative: float
    rate: float | None
    baseline: float | None = None
    q: float | None = None
    own_ware: float | None = None
    own_rate: float | None = None
    critical_calls: int = 0
    kind: str = "fault"


class Apart(Result):
    """Ware thrown out for no fault of its own, under one key of a Pareto. kind: mould_rejection, sample, setting or
    diverted; of_ware = calls / the line's ware: no rate of defects.
    """

    key: str
    name: str
    kind: str
    calls: int
    of_ware: float | None


class Pareto(Result):
    """rows: faults only, shares over them. rejected: containers rejected at the stations that send counts, for whatever
    cause (uncounted: those that made calls and sent none); of them rejected_apart for no fault of theirs, by cause in
    `apart`. ware: new ware at the first station; refed: what went through it again, which is not in ware. unread_share:
    of the calls, those without a mould number, unread_stations: the same by station; only where keys are moulds or
    their places. why: why nothing is known of the window, so that a 0 in it is no count.
    """

    line: str
    from_: Moment = Field(alias="from")
    to: Moment
    by: str
    ware: int
    rejected: int
    calls: int
    unread_share: float | None = None
    baseline_from: Moment | None = None
    rows: tuple[ParetoRow, ...]
    refed: int = 0
    rejected_apart: int = 0
    apart: tuple[Apart, ...] = ()
    unread_stations: dict[str, float] = {}
    uncounted: tuple[str, ...] = ()
    why: str = ""

    @property
    def rejected_for_faults(self) -> int:
        return self.rejected - self.rejected_apart
