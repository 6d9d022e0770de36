"""The yield of a day: lines, furnaces, meters, balances. Fields may be added, never renamed: the JSON is a contract."""

from __future__ import annotations

import json
from datetime import date

from schemas.answers.meters import BalanceRow, CouldBe, MeterReading, SuspectMeter
from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import FurnaceId, High95, LineId, Low95, Notes, StationId
from schemas.texts import Text


class StationFlow(Result):
    """What a station counted of the day's new ware."""

    station: StationId
    inspected: int
    """new containers inspected, without what went through again; as read [containers]"""
    rejected: int
    """of them rejected, without what was put on again; as read [containers]"""
    refed: int = 0
    """containers that went through it again, in neither of the two [containers]"""


class Loss(Result):
    """What was lost at one step of a line, by the readings."""

    step: str
    """hot end rejects, rejects of a station, or unaccounted between two of them"""
    units: float
    """containers lost; negative where more was counted than had come [containers]"""
    kg: float
    """their mass, at the mean mass of the gobs cut [kg]"""
    measured: bool
    """counted by a meter; else the difference of two counts"""


class Cause(Result):
    """Containers lost to one cause in one shift and job, and their mass."""

    kind: str
    """stoppage, job change, start-up, cycles (slower cycles, gobs not counted), hot end, station, one of the kinds
    of ware thrown out for no fault of its own, pallets, or unaccounted"""
    where: str
    """section, machine, line, station, step or pallet state that it was lost at"""
    cause: str
    """cause of the stoppage, defect code of the rejects, or such; empty where nobody knows one"""
    shift: str
    """name of the shift; empty in what a close keeps, where shifts are together"""
    job: str
    """name of the job; empty in what a close keeps, where jobs are together"""
    units: float
    """containers lost, meters' readings taken as reconciled; negative where more was made than the cycle rate
    allows [containers]"""
    kg: float
    """their mass, at the mean mass of what that shift and job cut [kg]"""
    counted: bool
    """by a meter or a log; else worked out as a difference"""


class Worked(Result):
    """A shift's, or a job's, work on one line in the day."""

    name: str
    """of the shift or job; `no job` before any was logged"""
    hours: float
    """its time in the day, by the first station's clock [h]"""
    could: float
    """what the machine could have made: cycle rate while running x sections x its time [containers]"""
    cut: float
    """gobs cut for its ware, as read [gobs]"""
    rejected: float
    """containers rejected at all stations, as read [containers]"""
    good: float | None
    """packed good of its ware, as reconciled; null where no pallet was reported [containers]"""
    efficiency: float | None
    """good over could; null where the line's is, and where good is more [0..1 of could]"""


class LineYield(Result):
    """One line's day, for the same ware from gob to pallet: what met its first station in the production day.
    Counts are readings; what is reconciled says so."""

    line: LineId
    gobs_cut: float | None
    """gobs sheared for the day's ware, dropped ones included; null without forming counts [gobs]"""
    formed_kg: float | None
    """their mass, at their mean weight; null without forming counts [kg]"""
    hot_rejected: float | None
    """of gobs_cut, those that never reached the lehr; null without forming counts [gobs]"""
    to_lehr: float | None
    """gobs_cut less hot_rejected; null without forming counts [containers]"""
    inspected: int
    """new containers inspected at the first station, all its lanes [containers]"""
    rejected: int
    """of them rejected at all stations, for whatever cause [containers]"""
    packed_units: float | None
    """containers packed of the day's ware: on pallets, and as open_units and carried_units say; null where no
    pallet was reported [containers]"""
    packed_kg: float | None
    """their mass, at the mean mass of what was packed; null where packed_units is [kg]"""
    pack_to_melt: float | None
    """packed mass over cut mass, reconciled; null where why says so [0..1 of cut mass]"""
    low: Low95 | None
    """of pack_to_melt; where pack_to_melt is null the range of what the meters say, null where there is none [0..1
    of cut mass]"""
    high: High95 | None
    """of pack_to_melt; as low, null where there is none [0..1 of cut mass]"""
    unaccounted_units: float | None
    """lost unseen at all steps from the lehr to the pallets, reconciled; null without forming counts, and where no
    explanation fits the readings [containers]"""
    stations: tuple[StationFlow, ...]
    """what each station counted, in the order in which ware meets them"""
    quality_ratio: float | None = None
    """packed_units over gobs_cut (ISO 22400-2); null without either, and where more was packed than can be [0..1 of
    gobs cut]"""
    scrap_ratio: float | None = None
    """rejected and hot_rejected over gobs_cut (ISO 22400-2); null without forming counts [0..1 of gobs cut]"""
    availability: float | None = None
    """running over all section-minutes of the time in which the ware was formed, by the stoppage log (ISO 22400-2);
    null for a day without time [0..1 of section-minutes]"""
    losses: tuple[Loss, ...] = ()
    """each step's loss by the readings"""
    weights: dict[str, float] = {}
    """mean weight of single containers, by item [g]"""
    notes: Notes = ()
    unaccounted_low: Low95 | None = None
    """of unaccounted_units; null where it is [containers]"""
    unaccounted_high: High95 | None = None
    """of unaccounted_units; null where it is [containers]"""
    open_units: float = 0.0
    """of packed_units, estimated on pallets not reported yet [containers]"""
    carried_units: float = 0.0
    """of packed_units, ware of the day that waited for its pallets at its end, less what waited at its start
    [containers]"""
    states: dict[str, float] = {}
    """containers of the day on reported pallets, by the state of the pallets [containers]"""
    in_lehr_start: float | None = None
    """in the lehr when the production day began: formed by then, not yet at the first station; null without forming
    counts, and where no gob was cut for it [containers]"""
    in_lehr_end: float | None = None
    """in the lehr when it ended; null without forming counts, and where no gob was cut for it [containers]"""
    could: float | None = None
    """what the machine could have made: cycle rate while running x sections x the day; null without forming counts
    [containers]"""
    packed_good: float | None = None
    """packed less what is to be re-sorted or was scrapped, as reconciled; null where no pallet was reported
    [containers]"""
    efficiency: float | None = None
    """packed_good over could, the OEE index of ISO 22400-2 with the machine's own cycle rate as the planned one;
    null where efficiency_why says so, and where packed_good is more [0..1 of could]"""
    giveaway_kg: float | None = None
    """glass packed above the items' nominal weights in the day, negative where ware was lighter; null where
    giveaway_why says so [kg]"""
    giveaway_low: Low95 | None = None
    """of giveaway_kg, the scale's uncertainty included; null where it is [kg]"""
    giveaway_high: High95 | None = None
    """of giveaway_kg; null where it is [kg]"""
    causes: tuple[Cause, ...] = ()
    """every loss between could and packed_good by shift, job and cause, the greatest mass first; those under 0.05
    containers are left out"""
    by_shift: tuple[Worked, ...] = ()
    """its work by shift"""
    by_job: tuple[Worked, ...] = ()
    """its work by job"""
    why: Text = ""
    """why there is no pack_to_melt, or only a range of it; empty where there is one"""
    doubtful_units: float = 0.0
    """on pallets that hold more than passed the last station while they were packed; left out of packed_units and
    of the balance until somebody has looked [containers]"""
    doubtful_pallets: tuple[str, ...] = ()
    """identities of those pallets"""
    rejected_apart: int = 0
    """of rejected, for no fault of the ware [containers]"""
    efficiency_why: Text = ""
    """why there is no efficiency; empty where there is one"""
    giveaway_why: Text = ""
    """why there is no giveaway; empty where there is one"""
    silent: bool = False
    """no feed brought anything of the line, so that a 0 is no count"""


class FlowStep(Result):
    """One bar of the way from melt to pack, reconciled."""

    name: Text
    """what the bar is of"""
    kg: float
    """mass of the day's glass [kg]"""
    kind: str
    """stock (what is there), counted (lost, by a meter), unaccounted, or kept (held back in the furnace)"""


class FurnaceYield(Result):
    """One furnace's day, for the glass of the ware that its lines' first stations met. Masses are readings; what is
    reconciled says so."""

    furnace: FurnaceId
    melted_kg: float | None
    """melted by the melt log: batch x (1 - moisture) x (1 - fusion loss) + cullet; null where the log covers no
    more than half of the day [kg]"""
    pull_kg: float | None
    """melted_kg less what a rise of the glass level held back; null where melted_kg is [kg]"""
    packed_kg: float | None
    """packed by all its lines; null where the pallets of a line that made ware were not told [kg]"""
    pack_to_melt: float | None
    """packed over melted mass of the same glass, reconciled; null where why says so [0..1 of melted mass]"""
    low: Low95 | None
    """of pack_to_melt, over all explanations that remain; where pack_to_melt is null the range, null where there is
    none [0..1 of melted mass]"""
    high: High95 | None
    """of pack_to_melt; as low, null where there is none [0..1 of melted mass]"""
    unaccounted_kg: float | None
    """left unseen between furnace and shears, reconciled; null without a whole melt log, where nothing was cut, and
    where no explanation fits the readings [kg]"""
    notes: Notes = ()
    unaccounted_low: Low95 | None = None
    """of unaccounted_kg, nothing below zero; null where it is [kg]"""
    unaccounted_high: High95 | None = None
    """of unaccounted_kg; null where it is [kg]"""
    raw: float | None = None
    """the plain quotient of the readings, packed over melted; null where one of them is not whole or cannot be
    [0..1 of melted mass]"""
    basis: str = "melt log"
    """`melt log`, or `gobs` where there is none to believe"""
    chi_square: float | None = None
    """how far the readings are from closing: the global test's statistic, every meter believed; null where nobody
    worked it out [-]"""
    freedom: int = 0
    """degrees of freedom of that test; 0 where nothing can be tested [degrees of freedom]"""
    p: float | None = None
    """probability of readings that disagree as much or more if no meter lies; null without a degree of freedom
    [0..1]"""
    usual_days: int = 0
    """closed days that tell what is usually lost between furnace and shears [days]"""
    flow: tuple[FlowStep, ...] = ()
    """the way of the glass from melt to pack; empty without a whole melt log, and where no explanation fits the
    readings"""
    why: Text = ""
    """why there is no pack_to_melt, or only a range of it; empty where there is one"""
    packed_over_cut: float | None = None
    """packed mass over cut_kg, reconciled: all that stands without a melt log; null where packed_over_cut_why says
    so [0..1 of cut mass]"""
    packed_over_cut_low: Low95 | None = None
    """of packed_over_cut; where that is null the range, null where there is none [0..1 of cut mass]"""
    packed_over_cut_high: High95 | None = None
    """of packed_over_cut; null where there is none [0..1 of cut mass]"""
    packed_over_cut_why: Text = ""
    """why there is no packed_over_cut, or only a range of it; empty where there is one"""
    cut_kg: float | None = None
    """glass that the shears of all its lines cut for the day's ware, reconciled; null where nothing was cut [kg]"""


class Yield(Result):
    """A production day's yields, furnace by furnace and line by line."""

    day: date
    """the production day"""
    furnaces: tuple[FurnaceYield, ...]
    """each furnace asked for"""
    lines: tuple[LineYield, ...]
    """each line asked for"""
    suspect_meters: tuple[SuspectMeter, ...] = ()
    """meters that lie more probably than not"""
    unusual_losses: tuple[SuspectMeter, ...] = ()
    """losses that are more probably than not beyond their usual"""
    could_be: tuple[CouldBe, ...] = ()
    """every explanation that remains, by furnace; empty where nothing speaks against honest meters, and where none
    fits"""
    meters: tuple[MeterReading, ...] = ()
    """every meter, by furnace; the one whose lying would explain most first"""
    balances: tuple[BalanceRow, ...] = ()
    """every balance, by furnace"""
    known_at: Moment | None = None
    """the moment as known at which it was asked; null where it was asked as known now [works' clock]"""
    revision: int | None = None
    """number of the close that told it; null where none had been made by known_at, and where it was asked as known
    now [-]"""
    closed_at: Moment | None = None
    """when that close was made; null where revision is [works' clock]"""

    def brief(self, furnace: str) -> str:
        """A furnace's figures and its lines' as JSON, without their tables: what later days are compared with."""
        lines = {meter.of for meter in self.meters if meter.furnace == furnace}
        wide = {"causes", "losses", "by_shift", "by_job", "stations", "notes", "weights"}
        mine = [line.model_dump(mode="json", exclude=wide) for line in self.lines if line.line in lines]
        of = next(
            furnace_yield.model_dump(mode="json", exclude={"notes"})
            for furnace_yield in self.furnaces
            if furnace_yield.furnace == furnace
        )
        return json.dumps({"furnace": of, "lines": mine})
