"""What the laboratory answers with: capacity, density, annealing, samples, checks done and missed."""

from __future__ import annotations

from datetime import date

from schemas.answers.measuring import Measuring
from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    FurnaceId,
    High95,
    ItemCode,
    ItemName,
    LineId,
    Low95,
    MouldNumber,
    Notes,
    Probability,
)
from schemas.texts import Text


class CapacityCheck(Result):
    """One container's capacity, by weighing it empty and filled with water."""

    at: Moment
    """when it was taken from the line [cold-end clock]"""
    mould: MouldNumber
    cavity: str
    """where the mould sat, as section and gob position (3A); empty where no mould log tells"""
    fill: str
    """to where it was filled: brimful or fill_line"""
    empty_g: float
    """mass of the empty container [g]"""
    water_c: float
    """temperature of the water, and of the container with it [°C]"""
    capacity_ml: float
    """capacity at the water's temperature, air buoyancy allowed for [ml]"""
    outside: bool
    """beyond the item's capacity limits"""


class InferredCapacity(Result):
    """Mean capacity of a mould between two checks: what it encloses, less the glass of its latest weighings."""

    mould: MouldNumber
    at: Moment
    """when it was last weighed [cold-end clock]"""
    weight_g: float
    """mean of its latest weighings at the line, four at most [g]"""
    capacity_ml: float
    """mean capacity that follows [ml]"""
    low: Low95
    """of capacity_ml [ml]"""
    high: High95
    """of capacity_ml [ml]"""
    beyond: Probability
    """that its mean capacity lies beyond the item's limits"""
    checked: bool
    """whether the mould itself was checked in the day or the seven days before it; else it is taken to enclose what
    the others do, more or less"""
    called: bool = False
    """whether it is called: beyond is at least 0.95"""
    next_check: Moment | None = None
    """the next capacity check of the item after `at`, or when one is due; null where none came and works.toml asks
    for none [cold-end clock]"""


class Capacity(Result):
    """Capacity of one item on one line and day, against the item's limits."""

    item: ItemCode | None
    """null where neither job log nor mould log tells"""
    name: ItemName = ""
    """empty where it does not stand there"""
    fill: str
    """the fill that the limits are for, by works.toml: brimful or fill_line; other checks are not judged"""
    n: int
    """containers checked on the day [containers]"""
    mean_ml: float | None
    """mean of them, at the water's temperature; null without any [ml]"""
    low: Low95 | None
    """of mean_ml; null with under two [ml]"""
    high: High95 | None
    """of mean_ml; null with under two [ml]"""
    sd_ml: float | None
    """standard deviation of single containers; null with under two [ml]"""
    capacity_ml: float | None
    """the item's capacity by works.toml; null without one [ml]"""
    capacity_min_ml: float | None
    """its least capacity by works.toml; null without one [ml]"""
    capacity_max_ml: float | None
    """its greatest capacity by works.toml; null without one [ml]"""
    outside: int
    """of n, those beyond these limits; 0 without limits [containers]"""
    checks: tuple[CapacityCheck, ...] = ()
    """each container"""
    measuring: Measuring | None = None
    """the rules for measuring containers; null where the item is none"""
    inferred: tuple[InferredCapacity, ...] = ()
    """every mould weighed in the last eight hours of the day; empty without limits, and where nothing was weighed
    in the day"""
    alarms: tuple[InferredCapacity, ...] = ()
    """moulds called in the day, each when it was first called since it was last not"""
    notes: Notes = ()


class DensityChange(Result):
    """A step of a furnace's density that explains its readings far better than noise."""

    by_g_cm3: float
    """the step, denser glass positive [g/cm3]"""
    low: Low95
    """of by_g_cm3 [g/cm3]"""
    high: High95
    """of by_g_cm3 [g/cm3]"""
    since: Moment
    """the first reading after it [works' clock]"""
    since_low: Moment
    """the last reading before the earliest onset of its 95 % interval [works' clock]"""
    since_high: Moment
    """the first reading after the latest onset of its 95 % interval [works' clock]"""
    probability: Probability
    """that there was a step at all; 0.99 or more"""


class DensityEffect(Result):
    """What a change of density does to an item."""

    line: LineId
    item: ItemCode
    weight_g: float
    """what its weight moves by while the feeder is left alone [g]"""
    capacity_ml: float
    """what its capacity moves by once the weight is brought back [ml]"""


class DensityReading(Result):
    """One reading of the density of the glass."""

    at: Moment
    """when the sample was taken [works' clock]"""
    density_g_cm3: float
    """density of the glass [g/cm3]"""
    how: str
    """direct, or sink-float: worked out from a comparison with a standard"""


class Density(Result):
    """A furnace's density on a day: its readings, the limits of single readings, and the last change that is more
    than noise."""

    readings: tuple[DensityReading, ...]
    """of the day"""
    earlier: int
    """readings of the 60 days up to the day's end that came before the day [readings]"""
    noise_g_cm3: float | None = None
    """standard deviation of a reading, from moving ranges; null under six readings [g/cm3]"""
    centre_g_cm3: float | None = None
    """mean of the readings since the last change; null without a reading [g/cm3]"""
    low: float | None = None
    """lower limit of single readings: centre_g_cm3 less three times noise_g_cm3; null under six readings [g/cm3]"""
    high: float | None = None
    """upper limit of single readings; null under six readings [g/cm3]"""
    beyond: bool = False
    """the day's last reading is outside these limits"""
    change: DensityChange | None = None
    """the last change; null where noise explains the readings"""
    lone_by_g_cm3: float | None = None
    """by how much the last reading alone is off, where it would be a step if a second one said so; null where it is
    not [g/cm3]"""
    effects: tuple[DensityEffect, ...] = ()
    """what that change does to each item made on the furnace's lines in the day"""
    notes: Notes = ()


class TemperLane(Result):
    """Temper numbers of one lane across the lehr, as read."""

    lane: str
    """the lane; `not noted` where nobody noted it"""
    n: int
    """numbers read [readings]"""
    mean: float
    """mean of them [temper number]"""
    worst: float
    """the greatest of them [temper number]"""
    beyond: int | None
    """of n, those above the limit for numbers as read; null where works.toml sets none [readings]"""
    worst_real: float | None = None
    """the greatest real one, for glass of 4.06 mm; null where no thickness is known [temper number]"""


class TemperBeyond(Result):
    """A temper number above a limit."""

    at: Moment
    """when the container was taken from the line [cold-end clock]"""
    lane: str
    """the lane across the lehr; empty where nobody noted it"""
    mould: MouldNumber | None
    """null where nobody noted it"""
    temper: float
    """as read [temper number]"""
    real: float | None = None
    """brought to glass of 4.06 mm (ASTM C148); null where the thickness is not known [temper number]"""
    thickness_mm: float | None = None
    """of the item where the greatest retardation is read, by works.toml; null where it is not known [mm]"""


class Temper(Result):
    """Temper numbers of a line's day against the works' limits."""

    limit: float | None
    """greatest number as read, `[laboratory] temper_max`; null where works.toml sets none [temper number]"""
    n: int
    """numbers read [readings]"""
    real_limit: float | None = None
    """greatest real number, `[laboratory] real_temper_max`; null where works.toml sets none [temper number]"""
    no_thickness: int = 0
    """of n, those without a real number, because no thickness is known of what they were read on [readings]"""
    lanes: tuple[TemperLane, ...] = ()
    """by lane, the worst first"""
    beyond: tuple[TemperBeyond, ...] = ()
    """those above a limit, as read or real"""


class VisualSample(Result):
    """One person's sample against one severity of defects."""

    at: Moment
    """when it was taken from the line [cold-end clock]"""
    item: ItemCode
    severity: str
    """of the defects counted here: critical, major or minor"""
    n: int
    """containers looked at [containers]"""
    found: int
    """defects of this severity found: at most so many faulty containers, fewer where one had several [containers]"""
    defects: tuple[str, ...]
    """each defect found, as code and containers"""
    aql: float | None
    """acceptance quality limit of the works for the severity; null for critical, which is never accepted [%
    nonconforming]"""
    ac: int | None
    """acceptance number of ISO 2859-1, normal inspection, for its size; 0 for critical; null where it is too small
    to judge by [containers]"""
    accepted: bool | None
    """found no more than ac; null where ac is"""
    mould: MouldNumber | None = None
    """of which all of it was; null for a sample of the line"""

    @property
    def taken_of(self) -> str:
        """The item, and the mould where the sample is of one alone."""
        return self.item if self.mould is None else f"{self.item}, mould {self.mould}"


class RunningQuality(Result):
    """What the samples of some days together say of one severity; samples of one picked mould are not among them."""

    severity: str
    """of the defects counted here: critical, major or minor"""
    samples: int
    """samples taken [samples]"""
    n: int
    """containers looked at [containers]"""
    found: int
    """the most faulty containers that the counts by defect allow [containers]"""
    share: float
    """found over n [0..1 of containers looked at]"""
    low: float
    """lower end of the exact 95 % interval of fewest over n [0..1 of containers looked at]"""
    high: float
    """upper end of the exact 95 % interval of found over n [0..1 of containers looked at]"""
    aql: float | None
    """acceptance quality limit of the works for the severity; null for critical [% nonconforming]"""
    inspection: str = ""
    """normal, tightened or stopped, by ISO 2859-1 9.3, after these samples; empty for critical, and where none was
    large enough to judge"""
    fewest: int = 0
    """the fewest faulty containers that the counts by defect allow, as one can have several defects [containers]"""


class Visual(Result):
    """A person's samples of a line."""

    samples: tuple[VisualSample, ...]
    """of the day, each against each severity"""
    running: tuple[RunningQuality, ...]
    """of `days` production days up to it, by severity"""
    days: int
    """production days that running is of [days]"""


class DueChecks(Result):
    """Checks of one kind at one place that were due while the line ran."""

    kind: str
    """weights, capacity, visual, temper, challenge or density"""
    of: Text
    """what was to be checked: the line, with the lane for temper; the station and defect for challenges; the
    furnace for density"""
    every_min: float
    """running time after which one is due, by works.toml [min]"""
    due: int
    """how many were due: running time of the day over every_min [checks]"""
    made: int
    """how many were made in the day [checks]"""
    missed: int
    """how many are missing in the gaps [checks]"""
    gaps: tuple[tuple[Moment, Moment], ...] = ()
    """begin and end of each stretch of more than 1.25 times every_min of running time without one [cold-end clock]"""


class LineLaboratory(Result):
    """A line's day in the laboratory."""

    line: LineId
    capacity: tuple[Capacity, ...]
    """by item"""
    temper: Temper
    """temper numbers"""
    visual: Visual
    """a person's samples"""
    due: tuple[DueChecks, ...]
    """which checks were due, made and missed"""
    notes: Notes = ()


class FurnaceLaboratory(Result):
    """A furnace's day in the laboratory: its glass, and its lines."""

    furnace: FurnaceId
    density: Density
    """density of its glass"""
    lines: tuple[LineLaboratory, ...]
    """its lines, in the order of works.toml"""
    due: tuple[DueChecks, ...] = ()
    """whether density was due, made and missed; empty where no line ran, and where works.toml asks for none"""


class LaboratoryDay(Result):
    """Capacity, density, annealing and samples of a production day against their limits."""

    day: date
    """the production day"""
    furnaces: tuple[FurnaceLaboratory, ...]
    """each furnace asked for"""
