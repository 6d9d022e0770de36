"""What the laboratory answers with: capacity, density, annealing, samples, checks done and missed."""

from __future__ import annotations

from datetime import date

from schemas.answers.shape import Moment, Result


class MeasuringVerdict(Result):
    """One rule for measuring containers: low and high [ml] are mean -+ k spread and must lie within least and most;
    spread no more than spread_most.
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
    """Mean capacity of a mould between two checks, from its latest weighings and the volume it encloses. beyond:
    probability that it lies beyond the limits; called where that is at least 0.95. next_check: when a check would next
    have shown it, by the feed or as it is due.
    """

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
    """Capacity of one item on one line and day [ml]; low and high bound a 95 % interval of the mean. outside:
    containers beyond the item's limits.
    """

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
    """A step of a furnace's density [g/cm3] with its 95 % interval, its onset with one, and how probable it is that
    there was one at all.
    """

    by_g_cm3: float
    low: float
    high: float
    since: Moment
    since_low: Moment
    since_high: Moment
    probability: float


class DensityEffect(Result):
    """What a change of density does to an item: to its weight while the feeder is left alone, and to its capacity once
    the weight is brought back.
    """

    line: str
    item: str
    weight_g: float
    capacity_ml: float


class DensityReading(Result):
    """One reading of the density of the glass. how: read itself, or worked out from a comparison."""

    at: Moment
    density_g_cm3: float
    how: str


class Density(Result):
    """A furnace's density on a day: its readings, the limits of single readings by those before, and the last change
    that is more than noise. lone_by_g_cm3: by how much the last reading alone is off, where it would be a step if a
    second one said so.
    """

    readings: tuple[DensityReading, ...]
    earlier: int
    noise_g_cm3: float | None = None
    centre_g_cm3: float | None = None
    low: float | None = None
    high: float | None = None
    beyond: bool = False
    change: DensityChange | None = None
    lone_by_g_cm3: float | None = None
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
    """A temper number beyond a limit: temper as read, real for glass of 4.06 mm (ASTM C148; null: thickness not
    known).
    """

    at: Moment
    lane: str
    mould: str | None
    temper: float
    real: float | None = None
    thickness_mm: float | None = None


class Temper(Result):
    """Temper numbers of a line's day by lane against the works' limits: limit for those as read, real_limit for real
    ones.
    no_thickness: numbers without a real one, because no thickness is known of what they were read on."""

    limit: float | None
    n: int
    real_limit: float | None = None
    no_thickness: int = 0
    lanes: tuple[TemperLane, ...] = ()
    beyond: tuple[TemperBeyond, ...] = ()


class VisualSample(Result):
    """One sample against one severity. ac: acceptance number of ISO 2859-1 for its size; null, with accepted, where it
    is too small to judge by. mould: where all its containers are of that mould, so that it says nothing of the lot.
    """

    at: Moment
    item: str
    severity: str
    n: int
    found: int
    defects: tuple[str, ...]
    aql: float | None
    ac: int | None
    accepted: bool | None
    mould: str | None = None

    @property
    def taken_of(self) -> str:
        """The item, and the mould where the sample is of one alone."""
        return self.item if self.mould is None else f"{self.item}, mould {self.mould}"


class RunningQuality(Result):
    """Share of faulty containers in the samples of some days, by severity, with an exact 95 % interval from the fewest
    faulty containers that the counts by defect allow (`fewest`: one can have several) to the most (`found`).
    inspection: normal, tightened or stopped, by ISO 2859-1 9.3, after the samples of these days.
    """

    severity: str
    samples: int
    n: int
    found: int
    share: float
    low: float
    high: float
    aql: float | None
    inspection: str = ""
    fewest: int = 0


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
    """A line's day in the laboratory: capacities by item, temper numbers, samples, and which checks were due, done and
    missed.
    """

    line: str
    capacity: tuple[Capacity, ...]
    temper: Temper
    visual: Visual
    due: tuple[DueChecks, ...]
    notes: tuple[str, ...] = ()


class FurnaceLaboratory(Result):
    """A furnace's day in the laboratory: the density of its glass, and its lines."""

    furnace: str
    density: Density
    lines: tuple[LineLaboratory, ...]
    due: tuple[DueChecks, ...] = ()


class LaboratoryDay(Result):
    """Capacity, density, annealing and samples of a production day against their limits."""

    day: date
    furnaces: tuple[FurnaceLaboratory, ...]
