"""The Pareto of rejects."""

from __future__ import annotations

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import LineId, Severity, WindowFrom, WindowTo
from schemas.texts import Text


class ParetoRow(Result):
    """One bar: the calls of one key, faults of the ware only."""

    key: str
    """what is counted: a defect code, mould number, section, gob position, station, zone or severity; `unread` for
    calls without a mould number, `unplaced` for a mould that was not fitted then by the mould log, `unknown` for
    the zone or severity of a code that works.toml lacks"""
    name: Text
    """the key in words: a defect's name in works.toml, or such as section 3"""
    severity: Severity | None = None
    """null where keys are neither defects nor severities, and for a code that works.toml lacks"""
    calls: int
    """defect calls of this key at all stations; one container can be called for several defects and at several
    stations [calls]"""
    share: float
    """its calls over the calls of all rows [0..1 of calls]"""
    cumulative: float
    """calls of this row and those above it over the calls of all rows [0..1 of calls]"""
    rate: float | None
    """its calls over the line's ware; null without ware [calls a container at the first station]"""
    baseline: float | None = None
    """the rate that the line's own past in this job leads one to expect, over the same ware; null where the past
    does not cover the window [calls a container at the first station]"""
    q: float | None = None
    """false-discovery-adjusted probability that chance alone brings so many calls or more, over all keys together;
    null where there is no baseline [0..1]"""
    own_ware: float | None = None
    """the ware that could have been called under this key: inspected at the station; at the first stations that can
    call the defect (or any of the zone's, the severity's); of the mould, section or gob position, unread ware
    shared out in proportion; null where nothing tells it [containers]"""
    own_rate: float | None = None
    """its calls over own_ware; null without own_ware [calls a container of own_ware]"""
    critical_calls: int = 0
    """of its calls, those for critical defects [calls]"""
    kind: str = "fault"
    """always `fault`: calls that are no fault of the ware stand in `apart`"""


class Apart(Result):
    """Ware thrown out for no fault of its own, under one key of a Pareto."""

    key: str
    """what is counted, as in the rows"""
    name: Text
    """the key in words"""
    kind: str
    """why it was thrown out, by works.toml: mould_rejection, sample, setting or diverted"""
    calls: int
    """calls under defect codes of this kind [calls]"""
    of_ware: float | None
    """its calls over the line's ware, no rate of defects; null without ware [calls a container at the first station]"""


class Pareto(Result):
    """What one line rejected in a window, by one dimension, with what it is measured against."""

    line: LineId
    from_: WindowFrom = Field(alias="from")
    to: WindowTo
    by: str
    """what the keys are: defect, mould, section, gob, station, zone or severity"""
    ware: int
    """new containers that reached the line's first station, all its lanes; without what went through again
    [containers]"""
    rejected: int
    """containers rejected at the stations that send counts, for whatever cause [containers]"""
    calls: int
    """calls of all rows: faults only [calls]"""
    unread_share: float | None = None
    """of the calls, those without a mould number; null where keys are no moulds or their places, or without calls
    [0..1 of calls]"""
    baseline_from: Moment | None = None
    """since when the past counts that the baselines are made of: 48 hours before the window, or the start of the
    job whose ware the window begins with, if that is later; null without baselines [cold-end clock]"""
    rows: tuple[ParetoRow, ...]
    """critical defects first where keys are defects, then by calls, most first; severities from critical down"""
    refed: int = 0
    """containers that went through the first station again; not in ware [containers]"""
    rejected_apart: int = 0
    """of rejected, those for no fault of the ware: at each station its calls as none, and no more than it rejected
    [containers]"""
    apart: tuple[Apart, ...] = ()
    """ware thrown out for no fault of its own, most calls first"""
    unread_stations: dict[str, float] = {}
    """by station, of its calls those without a mould number; empty where unread_share is null [0..1 of the
    station's calls]"""
    uncounted: tuple[str, ...] = ()
    """stations that made calls and sent no counts: what they rejected is not in rejected"""
    why: Text = ""
    """why nothing is known of the window, so that a 0 in it is no count; empty where something is"""

    @property
    def rejected_for_faults(self) -> int:
        return self.rejected - self.rejected_apart
