"""The yield of a day: lines, furnaces, meters, balances. Fields may be added, never renamed: the JSON is a contract."""

from __future__ import annotations

import json
from datetime import date

from schemas.answers.shape import Moment, Result


class StationFlow(Result):
    """What a station counted of the day's new ware; refed: what went through it again, in neither. rejected: without
    what was put on again.
    """

    station: str
    inspected: int
    rejected: int
    refed: int = 0


class Loss(Result):
    """What was lost at one step; negative where the counters found more than came in."""

    step: str
    units: float
    kg: float
    measured: bool


class Cause(Result):
    """Containers lost to one cause, and their mass. where: section, station or step; counted: by a meter, else worked
    out as a difference.
    """

    kind: str
    where: str
    cause: str
    shift: str
    job: str
    units: float
    kg: float
    counted: bool


class Worked(Result):
    """A shift's, or a job's, work: what the machine could have made at its cycle rate, what it cut, and what was packed
    good.
    """

    name: str
    hours: float
    could: float
    cut: float
    rejected: float
    good: float | None
    efficiency: float | None


class LineYield(Result):
    """One line's day, for the same ware from gob to pallet. quality and scrap ratio as in ISO 22400-2.

    Counts are readings; pack_to_melt (packed over cut mass), its interval and unaccounted_units are reconciled.
    open_units: of packed_units, estimated on pallets not reported yet; carried_units: of them, ware of the day that
    waited for its pallets at its end, less what waited at its start. rejected_apart: of rejected, for no fault of the
    ware. could: what the cycle rate could have made; efficiency = packed good / could.
    why: why there is no pack_to_melt, or only a range of it. doubtful_units: of packed_units, more than passed the last
    station while doubtful_pallets were packed; the balance leaves them out. What no pallet and no weighing tells is
    null: packed_*, efficiency (efficiency_why says why) and giveaway_* (giveaway_why). silent: no feed brought anything
    of the line, so that a 0 is no count.
    """

    line: str
    gobs_cut: float | None
    formed_kg: float | None
    hot_rejected: float | None
    to_lehr: float | None
    inspected: int
    rejected: int
    packed_units: float | None
    packed_kg: float | None
    pack_to_melt: float | None
    low: float | None
    high: float | None
    unaccounted_units: float | None
    stations: tuple[StationFlow, ...]
    quality_ratio: float | None = None
    scrap_ratio: float | None = None
    availability: float | None = None
    losses: tuple[Loss, ...] = ()
    weights: dict[str, float] = {}
    notes: tuple[str, ...] = ()
    unaccounted_low: float | None = None
    unaccounted_high: float | None = None
    open_units: float = 0.0
    carried_units: float = 0.0
    states: dict[str, float] = {}
    in_lehr_start: float | None = None
    in_lehr_end: float | None = None
    could: float | None = None
    packed_good: float | None = None
    efficiency: float | None = None
    giveaway_kg: float | None = None
    giveaway_low: float | None = None
    giveaway_high: float | None = None
    causes: tuple[Cause, ...] = ()
    by_shift: tuple[Worked, ...] = ()
    by_job: tuple[Worked, ...] = ()
    why: str = ""
    doubtful_units: float = 0.0
    doubtful_pallets: tuple[str, ...] = ()
    rejected_apart: int = 0
    efficiency_why: str = ""
    giveaway_why: str = ""
    silent: bool = False


class FlowStep(Result):
    """One bar of the way from melt to pack [kg]. kind: "stock" (what is there), "counted" (lost, by a meter),
    "unaccounted", "kept" (in the furnace).
    """

    name: str
    kg: float
    kind: str


class FurnaceYield(Result):
    """One furnace's day. melted, pull and packed are readings; pack_to_melt, its interval and unaccounted_kg are
    reconciled; raw is the plain quotient of the readings. basis: "melt log", or "gobs" where there is none to believe.
    p: probability of readings that disagree as much or more if no meter lies (chi-square with `freedom` degrees). why:
    why there is no pack_to_melt, or only a range of it. packed_kg: null where the pallets of a line were not told.
    packed_over_cut: packed over cut_kg, the glass that the shears cut for the day's ware, reconciled; all that stands
    without a melt log.
    """

    furnace: str
    melted_kg: float | None
    pull_kg: float | None
    packed_kg: float | None
    pack_to_melt: float | None
    low: float | None
    high: float | None
    unaccounted_kg: float | None
    notes: tuple[str, ...] = ()
    unaccounted_low: float | None = None
    unaccounted_high: float | None = None
    raw: float | None = None
    basis: str = "melt log"
    chi_square: float | None = None
    freedom: int = 0
    p: float | None = None
    usual_days: int = 0
    flow: tuple[FlowStep, ...] = ()
    why: str = ""
    packed_over_cut: float | None = None
    packed_over_cut_low: float | None = None
    packed_over_cut_high: float | None = None
    packed_over_cut_why: str = ""
    cut_kg: float | None = None


class SuspectMeter(Result):
    """A meter that lies more probably than not, by the days judged together. rivals: what could be the liar as well,
    meters or losses more than usual. since: the first day of the run of days on which it read so; off_pct: by how much
    over that run, 100 (reading - truth) / truth, so 100 for a meter that reads double and -50 for one that reads half;
    of a loss, percent of what passes. since null: something else is off too, and off_pct is that of the day alone.
    off_high null: no limit.
    """

    meter: str
    reading: float
    reconciled: float
    z: float
    unit: str = ""
    furnace: str = ""
    rivals: tuple[str, ...] = ()
    since: date | None = None
    since_low: date | None = None
    since_high: date | None = None
    days: int = 0
    off_pct: float | None = None
    off_low: float | None = None
    off_high: float | None = None
    probability: float | None = None


class CouldBe(Result):
    """One explanation of what the meters of a furnace read: which causes are off (none: every meter is honest), how
    probable it is, and what the yields are then. kinds: "loss" for more lost than usual, else the kind of meter.
    off_pct: the last cause's, as in `SuspectMeter`;
    off_pcts: of every cause, on the day itself. pack_to_melt: packed over what `of` says, "melted", or "cut" without a
    melt log. lines: packed over cut with its 95 % interval.
    """

    furnace: str
    causes: tuple[str, ...]
    kinds: tuple[str, ...]
    probability: float
    pack_to_melt: float | None
    low: float | None
    high: float | None
    of: str = "melted"
    lines: dict[str, tuple[float | None, float | None, float | None]] = {}
    since: date | None = None
    since_low: date | None = None
    since_high: date | None = None
    days: int = 0
    off_pct: float | None = None
    off_low: float | None = None
    off_high: float | None = None
    off_pcts: tuple[float | None, ...] = ()


class MeterReading(Result):
    """One meter: what it read, what it becomes with a 95 % interval, and z, its adjustment over that adjustment's
    standard deviation.

    reading is null for a meter that said nothing or too little and is worked out from the others; low and high are null
    where those do not tell it (two silent lanes side by side).
    """

    furnace: str
    of: str
    meter: str
    unit: str
    reading: float | None
    uncertainty: float | None
    reconciled: float
    low: float | None
    high: float | None
    z: float | None


class BalanceRow(Result):
    """One balance: by what the readings do not close, what of it is unaccounted after reconciliation, and what is left
    open then.
    """

    furnace: str
    of: str
    balance: str
    unit: str
    into: float
    out: float
    before: float
    unaccounted: float
    after: float


class Yield(Result):
    """A production day's yields. known_at: asked as known at that moment; then revision and closed_at name the close
    that told it, null where none had been made and it was worked out from the rows known then.
    """

    day: date
    furnaces: tuple[FurnaceYield, ...]
    lines: tuple[LineYield, ...]
    suspect_meters: tuple[SuspectMeter, ...] = ()
    unusual_losses: tuple[SuspectMeter, ...] = ()
    could_be: tuple[CouldBe, ...] = ()
    meters: tuple[MeterReading, ...] = ()
    balances: tuple[BalanceRow, ...] = ()
    known_at: Moment | None = None
    revision: int | None = None
    closed_at: Moment | None = None

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
