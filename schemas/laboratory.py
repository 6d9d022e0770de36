"""What the laboratory answers with: weights, capacity, density, annealing, samples, checks done and missed."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from schemas.results import Moment, Result


class MouldSignal(Result):
    """A rule that called a mould in the window. still: also at its last weighing. with_gob: only because its whole gob position moved."""

    rule: str
    first: Moment
    last: Moment
    times: int
    value_g: float
    still: bool
    with_gob: bool


class MouldWeights(Result):
    """One mould's cold weighings of the window [g]. cp, cpk by this mould's own spread within, pp, ppk by its own overall
    one; low and high bound 95 % intervals; null without limits, or where too few weighings tell a spread. within_g: the
    spread within, within_by: of what (samples of one time or moving ranges), within_freedom: degrees of freedom behind
    it. left_out_g: slips far off the mould's other weighings, not in its spread within. outside: single weighings beyond
    the item's limits."""

    mould: str
    cavities: tuple[str, ...]
    n: int
    mean_g: float
    mean_low: float | None = None
    mean_high: float | None = None
    sd_g: float | None
    least_g: float
    greatest_g: float
    outside: int
    cp: float | None
    cp_low: float | None = None
    cp_high: float | None = None
    cpk: float | None
    cpk_low: float | None
    cpk_high: float | None = None
    pp: float | None = None
    pp_low: float | None = None
    pp_high: float | None = None
    ppk: float | None = None
    ppk_low: float | None = None
    ppk_high: float | None = None
    within_g: float | None = None
    within_by: str = ""
    within_freedom: float = 0.0
    left_out_g: tuple[float, ...] = ()
    signals: tuple[MouldSignal, ...] = ()


class WeightParts(Result):
    """Variance of single weighings by where it arises [g2], with 95 % intervals; null where the weighings cannot tell."""

    between_moulds_g2: float | None = None
    between_moulds_low: float | None = None
    between_moulds_high: float | None = None
    between_gobs_g2: float | None = None
    between_gobs_low: float | None = None
    between_gobs_high: float | None = None
    between_times_g2: float | None = None
    between_times_low: float | None = None
    between_times_high: float | None = None
    within_g2: float | None = None
    within_low: float | None = None
    within_high: float | None = None


class GobWeights(Result):
    """One gob position at one weighing point. offset: from what was usual for its moulds, by the last weighing; at_feeder: the same for the gobs that are cut at the
    end of the window, if the drift went on through the lehr time; correction: grams a gob to bring it back. All [g] with 95 % intervals, null while it stands
    still. to_nominal: grams a gob that would bring its mean to the item's nominal weight. seen_at: when a correction made at the end of the window comes to the
    cold end."""

    point: str
    gob: str
    n: int
    mean_g: float
    drifting: bool = False
    called_at: Moment | None = None
    since: Moment | None = None
    since_low: Moment | None = None
    since_high: Moment | None = None
    offset_g: float | None = None
    offset_low: float | None = None
    offset_high: float | None = None
    at_feeder_g: float | None = None
    correction_g: float | None = None
    correction_low: float | None = None
    correction_high: float | None = None
    g_per_day: float | None = None
    to_nominal_g: float | None = None
    seen_at: Moment | None = None
    seen_low: Moment | None = None
    seen_high: Moment | None = None


class FeederWeighed(Result):
    """What one item's weighings at one point say of a gob position: drift as the gobs are cut now [% of the weight] with a
    95 % interval; drifting: called there."""

    item: str | None
    point: str
    drift_percent: float
    low: float
    high: float
    drifting: bool


class FeederCorrection(Result):
    """The one correction for a gob position [g a gob of this item], from hot and cold weighings of all items it feeds. agree:
    whether what was weighed may be one drift; chance: of such differences by chance. Where they disagree there is no
    correction. seen_at: when a correction at the end of the window comes to the cold end."""

    gob: str
    correction_g: float | None
    correction_low: float | None
    correction_high: float | None
    agree: bool
    chance: float
    weighed: tuple[FeederWeighed, ...]
    to_nominal_g: float | None = None
    seen_at: Moment | None = None
    seen_low: Moment | None = None
    seen_high: Moment | None = None


class HotColdWeights(Result):
    """Mean weight hot less cold over the moulds weighed at both points [g], with a 95 % interval."""

    moulds: int
    difference_g: float
    low: float | None
    high: float | None


class Weights(Result):
    """Cold weighings of one item on one line in a window (hot ones, and said, where no cold ones came). giveaway: above nominal, saving: above the lowest mean
    that keeps the limits, over the containers packed in the window. lent_freedom: degrees of freedom that the other moulds lend a mould's spread for the
    limits of its chart (never for its indices). following: correlation of a mould's weighings that follow one another, 0
    where none is beyond chance. others: the same of further items of the line."""

    line: str
    from_: Moment = Field(alias="from")
    to: Moment
    item: str | None
    name: str = ""
    point: str = "cold"
    n: int
    mean_g: float | None = None
    mean_low: float | None = None
    mean_high: float | None = None
    sd_g: float | None = None
    nominal_g: float | None = None
    weight_min_g: float | None = None
    weight_max_g: float | None = None
    outside: int = 0
    ppk: float | None = None
    ppk_low: float | None = None
    moulds: tuple[MouldWeights, ...] = ()
    gobs: tuple[GobWeights, ...] = ()
    feeder: tuple[FeederCorrection, ...] = ()
    components: WeightParts = WeightParts()
    drift_g_per_day: float | None = None
    drift_low: float | None = None
    drift_high: float | None = None
    packed_units: int | None = None
    giveaway_kg: float | None = None
    giveaway_low: float | None = None
    giveaway_high: float | None = None
    lowest_mean_g: float | None = None
    lowest_by: str = ""
    saving_kg: float | None = None
    saving_low: float | None = None
    saving_high: float | None = None
    hot_cold: HotColdWeights | None = None
    judged_from: Moment | None = None
    lent_freedom: float = 0.0
    following: float = 0.0
    rules: str = ""
    notes: tuple[str, ...] = ()
    others: tuple[Weights, ...] = ()


class MeasuringVerdict(Result):
    """One rule for measuring containers: low and high [ml] are mean -+ k spread and must lie within least and most; spread no more than spread_most.
    margin_ml: to the nearest bound, negative where one is broken. n: containers judged, from sample_from to sample_to;
    one_hour: of one hour's production, as the directive has it, else the works' checks of a longer time."""

    method: str
    mean_ml: float
    spread_ml: float
    low: float
    high: float
    least: float
    most: float
    spread_most: float
    accepted: bool
    margin_ml: float
    broken: tuple[str, ...] = ()
    n: int = 0
    sample_from: Moment | None = None
    sample_to: Moment | None = None
    one_hour: bool = False


class Measuring(Result):
    """A measuring container's batch by the newest 35 (mean and spread) and 40 containers (mean and range) of its item,
    of one hour where one holds so many; no verdict, and said why, where there are fewer. n and times: of the first."""

    nominal_ml: float
    error_ml: float | None
    n: int
    sample_from: Moment | None = None
    sample_to: Moment | None = None
    verdicts: tuple[MeasuringVerdict, ...] = ()
    meaning: str = ""


class CapacityCheck(Result):
    """One container: capacity at the water's temperature, by weighing."""

    at: Moment
    mould: str
    cavity: str
    fill: str
    empty_g: float
    water_c: float
    capacity_ml: float
    outside: bool


class InferredCapacity(Result):
    """Mean capacity of a mould between two checks, from its latest weighings and the volume it encloses. beyond: probability that it lies beyond the limits; called
    where that is at least 0.95. next_check: when a check would next have shown it, by the feed or as it is due."""

    mould: str
    at: Moment
    weight_g: float
    capacity_ml: float
    low: float
    high: float
    beyond: float
    checked: bool
    called: bool = False
    next_check: Moment | None = None


class Capacity(Result):
    """Capacity of one item on one line and day [ml]; low and high bound a 95 % interval of the mean. outside: containers beyond the item's limits."""

    item: str | None
    name: str = ""
    fill: str
    n: int
    mean_ml: float | None
    low: float | None
    high: float | None
    sd_ml: float | None
    capacity_ml: float | None
    capacity_min_ml: float | None
    capacity_max_ml: float | None
    outside: int
    checks: tuple[CapacityCheck, ...] = ()
    measuring: Measuring | None = None
    inferred: tuple[InferredCapacity, ...] = ()
    alarms: tuple[InferredCapacity, ...] = ()
    notes: tuple[str, ...] = ()


class DensityChange(Result):
    """A step of a furnace's density [g/cm3] with its 95 % interval, its onset with one, and how probable it is that there was one at all."""

    by_g_cm3: float
    low: float
    high: float
    since: Moment
    since_low: Moment
    since_high: Moment
    probability: float


class DensityEffect(Result):
    """What a change of density does to an item: to its weight while the feeder is left alone, and to its capacity once the weight is brought back."""

    line: str
    item: str
    weight_g: float
    capacity_ml: float


class DensityReading(Result):
    at: Moment
    density_g_cm3: float
    how: str


class Density(Result):
    """A furnace's density on a day: its readings, the limits of single readings by those before, and the last change that is more than noise."""

    readings: tuple[DensityReading, ...]
    earlier: int
    noise_g_cm3: float | None = None
    centre_g_cm3: float | None = None
    low: float | None = None
    high: float | None = None
    beyond: bool = False
    change: DensityChange | None = None
    effects: tuple[DensityEffect, ...] = ()
    notes: tuple[str, ...] = ()


class TemperLane(Result):
    """Temper numbers of one lane, as read. worst_real: the greatest real one, null where no thickness is known."""

    lane: str
    n: int
    mean: float
    worst: float
    beyond: int | None
    worst_real: float | None = None


class TemperBeyond(Result):
    """A temper number beyond a limit: temper as read, real for glass of 4.06 mm (ASTM C148; null: thickness not known)."""

    at: Moment
    lane: str
    mould: str | None
    temper: float
    real: float | None = None
    thickness_mm: float | None = None


class Temper(Result):
    """Temper numbers of a line's day by lane against the works' limits: limit for those as read, real_limit for real ones.
    no_thickness: numbers without a real one, because no thickness is known of what they were read on."""

    limit: float | None
    n: int
    real_limit: float | None = None
    no_thickness: int = 0
    lanes: tuple[TemperLane, ...] = ()
    beyond: tuple[TemperBeyond, ...] = ()


class VisualSample(Result):
    """One sample against one severity. ac: acceptance number of ISO 2859-1 for its size; null, with accepted, where it is too small to judge by."""

    at: Moment
    item: str
    severity: str
    n: int
    found: int
    defects: tuple[str, ...]
    aql: float | None
    ac: int | None
    accepted: bool | None


class RunningQuality(Result):
    """Share of faulty containers in the samples of some days, by severity, with an exact 95 % interval. inspection: normal, tightened or stopped, by ISO 2859-1 9.3,
    after the samples of these days."""

    severity: str
    samples: int
    n: int
    found: int
    share: float
    low: float
    high: float
    aql: float | None
    inspection: str = ""


class Visual(Result):
    """A person's samples of a line's day; running: of `days` production days up to it."""

    samples: tuple[VisualSample, ...]
    running: tuple[RunningQuality, ...]
    days: int


class DueChecks(Result):
    """Checks of one kind that were due while the line ran, made and missed; gaps: from, to without one."""

    kind: str
    of: str
    every_min: float
    due: int
    made: int
    missed: int
    gaps: tuple[tuple[Moment, Moment], ...] = ()


class LineLaboratory(Result):
    line: str
    capacity: tuple[Capacity, ...]
    temper: Temper
    visual: Visual
    due: tuple[DueChecks, ...]
    notes: tuple[str, ...] = ()


class FurnaceLaboratory(Result):
    furnace: str
    density: Density
    lines: tuple[LineLaboratory, ...]
    due: tuple[DueChecks, ...] = ()


class LaboratoryDay(Result):
    """Capacity, density, annealing and samples of a production day against their limits."""

    day: date
    furnaces: tuple[FurnaceLaboratory, ...]
