"""A signal: an excess that chance does not explain, or a critical call."""

from __future__ import annotations

from schemas.answers.shape import SURE, Moment, Result
from schemas.answers.shared_fields import (
    DefectCode,
    DefectName,
    FurnaceId,
    High95Moment,
    LineId,
    Low95Moment,
    Probability,
    Severity,
)
from schemas.texts import Text


class Signal(Result):
    """An excess that chance does not explain, or critical calls shown whatever chance says."""

    id: str
    """its name, which it keeps until it is over"""
    kind: str
    """`excess` (chance does not explain it) or `critical call` (shown whatever chance says)"""
    line: LineId
    furnace: FurnaceId
    defect: DefectCode
    name: DefectName
    severity: Severity
    scope: str
    """the kind of place it is at: mould, section, gob, line, furnace or station"""
    members: tuple[str, ...]
    """the ids of that place: mould numbers, a section, a gob position, a line, the lines of a furnace, a station"""
    moulds: tuple[str, ...] = ()
    """mould numbers that sat at a place inside the line (mould, section, gob); of critical calls those whose
    number was read"""
    cavities: tuple[str, ...] = ()
    """the place inside the line as section and gob position (3A); empty for line, furnace and station, and for
    critical calls"""
    raised: Moment
    """when it was raised, by the clock of the station that calls it [cold-end clock]"""
    onset: Moment
    """since when, by the clock of the station that calls it; of critical calls the first [cold-end clock]"""
    onset_low: Low95Moment
    """of onset [cold-end clock]"""
    onset_high: High95Moment
    """of onset [cold-end clock]"""
    formed: Moment
    """since when, through the lehr time and the way to the station [forming clock]"""
    formed_low: Low95Moment
    """of formed, that of the lehr time included [forming clock]"""
    formed_high: High95Moment
    """of formed, that of the lehr time included [forming clock]"""
    lehr: Text = ""
    """the lehr time that was taken, and where it comes from"""
    ended: Moment | None = None
    """when it was over, by the clock of the station; null while it is open; of critical calls the end of the last
    window with one [cold-end clock]"""
    why_ended: Text = ""
    """why it counts as over; empty while it is open, and for critical calls"""
    passed: bool = False
    """over within 15 min of being raised, its place a guess and its defect not critical: kept, and told to nobody"""
    calls: int
    """calls of the defect at the place since the onset, by the station that shows it [calls]"""
    expected: float | None
    """calls that the line's own past leads one to expect in the same time; null for critical calls [calls]"""
    ware: float
    """containers of the place since the onset, at the first stations that can call the defect there, or at the
    station that is the place [containers]"""
    rate_before: float | None
    """expected over ware; null without ware and for critical calls [calls a container]"""
    rate_after: float | None
    """calls over ware; null without ware [calls a container]"""
    lost_per_hour: float
    """calls beyond expectation in the last hour of ware that it covers; of critical calls their number over the
    hours between first and last, at least one hour [calls an hour]"""
    q: float | None
    """false-discovery-adjusted probability of such an excess by chance, the smallest so far; null for critical
    calls [0..1]"""
    probability: Probability | None
    """of this scope among the scopes; null for critical calls, which are placed by nobody"""
    scopes: dict[str, float] = {}
    """probability of each scope that was compared; empty for critical calls [0..1]"""
    undecided: bool = False
    """another scope is more than half as likely as the one named"""
    blinded: bool = False
    """the station named finds less than before, and the calls rise behind it"""
    placed_inside: bool = True
    """places inside the line were compared too, and not only line, furnace and station"""
    borrowed: bool = False
    """what is expected leans on another job's past for the greater part"""
    new_mould: bool = False
    """the mould was fitted so lately that the line's rate stands for its own"""
    look_first: Text = ""
    """where to look first"""
    happened: tuple[Text, ...] = ()
    """what the logs say happened at the place about the onset by the forming clock, in order of time"""
    closes: Text = ""
    """what would make it go away, or why it is closed"""
    series_from: Moment | None = None
    """start of the series of calls, from two hours before the onset; null for critical calls [cold-end clock]"""
    series_step_min: float = 0.0
    """length of a step of that series; 0 without one [min]"""
    series_calls: tuple[float, ...] = ()
    """calls of each step [calls]"""
    series_expected: tuple[float, ...] = ()
    """calls expected in each step by the past [calls]"""
    acknowledged_by: str | None = None
    """who has seen it, by name; null while nobody said so"""
    acknowledged_at: Moment | None = None
    """when that was said; null while nobody said so [works' clock]"""
    note: str = ""
    """what they said of it"""

    @property
    def is_guess(self) -> bool:
        return self.probability is not None and self.probability < SURE

    @property
    def doubt(self) -> str:
        """What is to be said of a place that is not sure; nothing where it is."""
        return "undecided" if self.undecided else "a guess" if self.is_guess else ""
