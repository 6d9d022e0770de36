"""The sheet of a production day: a row a line, the largest losses, what is open, held, in doubt, outside limits."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    DefectCode,
    DefectName,
    FurnaceId,
    High95,
    ItemCode,
    LineId,
    Low95,
    WindowFrom,
    WindowTo,
)
from schemas.answers.signals import Signal
from schemas.texts import Text


class RejectChange(Result):
    """Rejects of a line against what they were before."""

    against: Text
    """what they are compared with: so many closed days, or the same hours of the day before"""
    before: float
    """rejected share then; of several days their mean [0..1 of ware]"""
    difference: float
    """rejected share of the day less before [0..1 of ware]"""
    margin: float | None
    """half of the 95 % interval of difference, by the spread from day to day of the last 28 closed days; null where
    those are too few to tell, and for a day that is open [0..1 of ware]"""

    @property
    def beyond(self) -> bool:
        """Whether it is more than the days differ by themselves."""
        return self.margin is not None and abs(self.difference) > self.margin


class DayLine(Result):
    """One line's day."""

    line: LineId
    items: tuple[ItemCode, ...]
    """what it made, in order of time; empty where no job log tells"""
    ware: int | None
    """new containers that met its first station; null where nothing of the line came [containers]"""
    rejected: int | None
    """of them rejected at all stations, for faults of the ware; null where ware is [containers]"""
    rejected_share: float | None
    """rejected over ware; null without ware, and where more was rejected than came [0..1 of ware]"""
    critical_calls: int | None
    """calls of critical defects; null where ware is [calls]"""
    packed: float | None
    """containers packed of its ware; of a day that is not closed on the pallets finished in it; null where no pallet
    was reported [containers]"""
    pack_to_melt: float | None
    """packed mass over cut mass, reconciled; null where why says so [0..1 of cut mass]"""
    low: Low95 | None
    """of pack_to_melt; of a range without a number too; null where there is neither [0..1 of cut mass]"""
    high: High95 | None
    """of pack_to_melt; as low, null where there is none [0..1 of cut mass]"""
    efficiency: float | None
    """packed good over what its cycle rate could have made; null where efficiency_why says so [0..1 of could]"""
    change: RejectChange | None
    """of rejected_share; null where there is nothing before to compare with"""
    signal: str
    """name of the excess that loses most an hour, among those open at the end, critical ones first; empty for none"""
    until: Moment | None = None
    """how far its counts reach; null for a closed day, and without counts [cold-end clock]"""
    why: Text = ""
    """why there is no pack_to_melt; empty where there is one"""
    efficiency_why: Text = ""
    """why there is no efficiency; empty where there is one"""
    judged: bool = True
    """whether any hour of it has a past by which an excess could show; where not, no signal is no sign"""


class DayShift(Result):
    """One line in one shift of the works."""

    line: LineId
    shift: str
    """its name: the local time at which it begins"""
    ware: int
    """new containers that met the first station in it [containers]"""
    rejected: int
    """of them rejected for faults of the ware [containers]"""
    rejected_share: float | None
    """rejected over ware; null without ware, and where more was rejected than came [0..1 of ware]"""
    critical_calls: int
    """calls of critical defects [calls]"""
    efficiency: float | None
    """packed good over what the machine could have made; null where it is not known [0..1 of could]"""


class DayLoss(Result):
    """What was lost of one stage and cause, on all lines together."""

    stage: Text
    """where on its way: stoppage, job change, hot end, station, pallets and such"""
    cause: Text
    """the defect, the cause of the stop, or such"""
    lines: tuple[str, ...]
    """lines that lost it, or the furnace before the shears; the greatest loss first"""
    units: float | None
    """containers lost; null before the shears, where there are none yet [containers]"""
    kg: float
    """their mass [kg]"""
    made: bool
    """made and lost; else containers that never were made"""


class DayFurnace(Result):
    """What was packed of what a furnace melted."""

    furnace: FurnaceId
    pack_to_melt: float | None
    """packed over melted mass of the same glass, reconciled; null where why says so [0..1 of melted mass]"""
    low: Low95 | None
    """of pack_to_melt; of a range without a number too; null where there is neither [0..1 of melted mass]"""
    high: High95 | None
    """of pack_to_melt; as low, null where there is none [0..1 of melted mass]"""
    packed_kg: float | None
    """packed by all its lines, as read; null where the pallets of a line did not come [kg]"""
    melted_kg: float | None
    """melted by the log; null where the log covers no more than half of the day [kg]"""
    why: Text = ""
    """why there is no pack_to_melt; empty where there is one"""


class DayAction(Result):
    """Something that somebody did at the hot end or at a station."""

    at: Moment
    """when [works' clock]"""
    line: LineId
    what: Text
    """what was done, and where"""
    signal: str
    """name of the signal that it answers; empty for none"""


class DayCheck(Result):
    """A check of the laboratory or of a station that is outside its limits."""

    of: str
    """line, furnace or station"""
    what: Text
    """what was checked"""
    found: Text
    """what was found, and what is allowed"""
    got_past: bool = False
    """a marked sample was not caught: what it stands for can have got past"""


class DaySheet(Result):
    """A production day on one sheet."""

    day: date
    """the production day"""
    from_: WindowFrom = Field(alias="from")
    to: WindowTo
    as_of: Moment | None
    """how far the counts of a day reach that is not closed: its figures are running figures; null for a closed day,
    and without counts [cold-end clock]"""
    closed: bool
    """all of the day is worked out; else its yield, losses and laboratory are told at its close"""
    ware: int
    """new containers at the first stations of all lines [containers]"""
    rejected: int
    """of them rejected for faults of the ware [containers]"""
    rejected_share: float | None
    """rejected over ware; null without ware [0..1 of ware]"""
    pallets_held: int
    """pallets held now, by decision or by the warehouse [pallets]"""
    furnaces: tuple[DayFurnace, ...]
    """each furnace; empty for a day that is not closed"""
    together: DayFurnace | None = None
    """all furnaces as one, their names as its furnace; null for one furnace, and where the yield of one is not known"""
    lines: tuple[DayLine, ...]
    """each line, in the order of works.toml"""
    shifts: tuple[DayShift, ...]
    """each line in each shift that has begun"""
    losses: tuple[DayLoss, ...]
    """by stage and cause, the greatest mass first; empty for a day that is not closed"""
    signals: tuple[Signal, ...]
    """excesses still open at the end, or now: critical ones first, then by containers lost an hour"""
    actions: tuple[DayAction, ...]
    """what was done in the day, by the actions feed"""
    doubts: tuple[Text, ...]
    """what is held, in doubt or not known, a sentence each"""
    checks: tuple[DayCheck, ...]
    """checks outside their limits, what got past first"""
    checks_made: int
    """weighings, capacities, densities and temper numbers of the day [checks]"""


class ComparedFigure(Result):
    """One figure of a line or furnace against the same figure elsewhere."""

    of: str
    """line or furnace"""
    name: str
    """the figure, such as efficiency"""
    unit: str
    """percent for a share, else kg"""
    value: float | None
    """of the day; null where it is not known [0..1 of what name says, or kg]"""
    other: float | None
    """what it is compared with; of several days their mean; null where it is not known [0..1 of what name says, or
    kg]"""
    difference: float | None
    """value less other; null where either is [0..1 of what name says, or kg]"""
    margin: float | None
    """half of the 95 % interval of difference, by the spread from day to day of the last 28 closed days; null where
    those are too few to tell [0..1 of what name says, or kg]"""

    @property
    def beyond(self) -> bool:
        """Whether it is more than days differ by themselves."""
        return self.margin is not None and self.difference is not None and abs(self.difference) > self.margin


class ComparedDefect(Result):
    """Calls of one defect on a line against the same elsewhere."""

    defect: DefectCode
    name: DefectName
    calls: int
    """of the day [calls]"""
    rate: float
    """calls over ware of the day [calls a container]"""
    other: float
    """the same of what it is compared with [calls a container]"""


class DayCompared(Result):
    """A closed production day against another day, the same item's last run, or another line."""

    day: date
    """the production day"""
    line: str
    """the line asked for; empty for all"""
    against: Text
    """what it is compared with"""
    days: tuple[date, ...]
    """closed days that this is of, the newest first; empty where it cannot be compared"""
    figures: tuple[ComparedFigure, ...]
    """each figure; empty where why says so"""
    defects: tuple[ComparedDefect, ...]
    """of one line, the defects whose rates differ most first; empty for all lines"""
    why: Text = ""
    """why nothing can be compared; empty where something can"""
