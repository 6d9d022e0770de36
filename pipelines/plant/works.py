"""works.toml as typed, checked objects. `read_plant` names every mistake at once, each with its place."""

from __future__ import annotations

import tomllib
from datetime import time
from functools import cached_property
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from pipelines.clock import WorksClock
from pipelines.errors import PlantError
from pipelines.plant.mapping import Listener, Mapping, Topic, Zone

GOBS = ("A", "B", "C", "D")
SEVERITIES = ("critical", "major", "minor")
FAULT = "fault"
AQLS = (  # the steps of ISO 2859-1; up to 10 they are percent nonconforming
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0, 25.0, 40.0, 65.0, 100.0, 150.0, 250.0,
    400.0, 650.0, 1000.0,
)  # fmt: skip


def _of_day(text: object) -> time:
    if isinstance(text, time):
        return text
    try:
        return time.fromisoformat(str(text))
    except ValueError:
        raise ValueError(f"'{text}' is not a time of day such as 06:00") from None


def _step(aql: float) -> float:
    if aql not in AQLS or aql > 10:
        raise ValueError(
            f"{aql:g} is no AQL of ISO 2859-1 for percent nonconforming ({', '.join(f'{a:g}' for a in AQLS[:16])})"
        )
    return aql


Id = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\s/\\\"'<>&,;]+$")]
TimeOfDay = Annotated[time, BeforeValidator(_of_day)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Aql = Annotated[Positive, AfterValidator(_step)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Works(_Table):
    name: str
    timezone: Zone
    day_starts: TimeOfDay
    shifts: tuple[TimeOfDay, ...] = Field(min_length=1)


class Furnace(_Table):
    id: Id
    colour: str = ""
    surface_m2: Positive  # melter surface, for the level correction
    density_g_cm3: Positive


class Line(_Table):
    id: Id
    furnace: str
    sections: int = Field(ge=1, le=40)
    gobs: int = Field(ge=1, le=4)
    lehr_minutes: Positive  # nominal, gob cut to the first station
    weights_minutes: NotNegative | None = (
        None  # where this line's weighings are due at another interval than [checks] says
    )

    @property
    def gob_positions(self) -> tuple[str, ...]:
        return GOBS[: self.gobs]


class Station(_Table):
    id: Id
    line: str
    order: int = Field(ge=1)
    after_minutes: NotNegative = 0.0
    sees: tuple[str, ...] | None = None
    counter_modulus: int | None = Field(default=None, gt=0)

    def can_call(self, defect: str) -> bool:
        return self.sees is None or defect in self.sees


class Defect(_Table):
    """kind: what a call of it says. Only a fault is a defect of the ware; the others are ware thrown out by its mould number, samples
    taken, ware thrown out while a station was set, and ware sent another way."""

    code: Id
    name: str
    severity: Literal["critical", "major", "minor"]
    zone: Literal["finish", "neck", "shoulder", "body", "heel", "base", "whole"]
    origin: Literal["mould", "timing", "gob", "glass", "lehr", "handling"]
    kind: Literal["fault", "mould_rejection", "sample", "setting", "diverted"] = "fault"


class Item(_Table):
    id: Id
    name: str
    weight_g: Positive
    weight_min_g: Positive | None = None
    weight_max_g: Positive | None = None
    capacity_ml: Positive | None = None
    capacity_min_ml: Positive | None = None
    capacity_max_ml: Positive | None = None
    fill: Literal["brimful", "fill_line"] = "brimful"
    nominal_ml: Positive | None = None  # what a measuring container is marked with, where capacity_ml is another
    units_per_pallet: int | None = Field(default=None, gt=0)
    measuring_container: bool = False
    temper_thickness_mm: Positive | None = None  # of the glass where temper numbers are read, for real temper numbers


class Laboratory(_Table):
    """sink_float_g_cm3_per_c: of the works' own liquid.  temper_max, real_temper_max: the greatest apparent (as read) and
    real temper number that the works accepts."""

    sink_float_g_cm3_per_c: Positive | None = None
    temper_max: Positive | None = None
    real_temper_max: Positive | None = None


class MustCatch(_Table):
    """The share of a challenge's passes that must be caught, by the defect's severity. A plain number stands for major and minor; critical: every pass."""

    critical: float = Field(default=1.0, gt=0, le=1)
    major: float = Field(default=0.8, gt=0, le=1)
    minor: float = Field(default=0.8, gt=0, le=1)


def _must_catch(told: object) -> object:
    return {"major": told, "minor": told} if isinstance(told, int | float) and not isinstance(told, bool) else told


class Checks(_Table):
    """How often what is due (0: not asked for), and when a challenge is passed."""

    weights_minutes: NotNegative = 60.0
    capacity_hours: NotNegative = 8.0
    density_hours: NotNegative = 24.0
    temper_hours: NotNegative = 0.0
    visual_hours: NotNegative = 0.0
    challenge_hours: Positive = 8.0
    challenge_must_catch: Annotated[MustCatch, BeforeValidator(_must_catch)] = MustCatch()


class Warehouse(_Table):
    """released_means_gone: a pallet whose state is `released` has left the works. Without it nobody knows: released means cleared, and still in the store."""

    released_means_gone: bool = False


class Sampling(_Table):
    """Inspection level and acceptance quality limits [percent nonconforming] for samples by ISO 2859-1."""

    level: Literal["S-1", "S-2", "S-3", "S-4", "I", "II", "III"] = "II"
    aql_major: Aql = 0.65
    aql_minor: Aql = 2.5


class Uncertainty(_Table):
    """Relative standard uncertainty of each meter's total over a production day, in percent."""

    melt: NotNegative = 1.5
    gobs_cut: NotNegative = 0.05
    station_counts: NotNegative = 0.3
    packed: NotNegative = 0.1
    weight: NotNegative = 0.2


class Cost(_Table):
    """What lost glass costs, where the works wants losses in money too."""

    glass_per_t: Positive
    currency: str = ""


class Pages(_Table):
    """How the works writes: language of the pages, decimal mark, and what stands between thousands."""

    language: Literal["en", "de"] = "en"
    decimal: Literal[".", ","] = "."
    thousands: Literal[" ", ",", ".", "'", ""] = " "


class Schedule(_Table):
    """When `coldledger serve` calls the flows. close_at: local time; without it a day is closed when its last feed has come, at the latest
    close_latest_minutes after its end. on_new_file: take files in as they come, not only at the hour's minute."""

    intake_minute: int = Field(default=4, ge=0, le=59)
    on_new_file: bool = True
    close_at: TimeOfDay | None = None
    close_latest_minutes: Positive = 120.0


class Notices(_Table):
    """What is worth a mail or a call to another program; the addresses stand in .serve/notices.txt. loss_per_hour: containers a signal must cost."""

    critical: bool = True
    loss_per_hour: NotNegative | None = 100.0
    failed_close: bool = True
    silent_minutes: NotNegative | None = 60.0


class Keep(_Table):
    """minutes_days: after so many days a closed day's minutes of counts are rolled into hours; without it they are kept."""

    minutes_days: int | None = Field(default=None, ge=60)


class Clock(_Table):
    """A station's clock that was wrong, as a person has found it: `minutes` later than the true time (earlier: negative), by the station's own times in [from, to)."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    station: str
    minutes: float = Field(ge=-1440, le=1440, allow_inf_nan=False)
    from_: AwareDatetime = Field(alias="from")
    to: AwareDatetime | None = None


class Plant(_Table):
    """The whole plant file."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    works: Works
    furnace: tuple[Furnace, ...] = Field(min_length=1)
    line: tuple[Line, ...] = Field(min_length=1)
    station: tuple[Station, ...] = Field(min_length=1)
    defect: tuple[Defect, ...] = Field(min_length=1)
    item: tuple[Item, ...] = Field(min_length=1)
    laboratory: Laboratory = Laboratory()
    uncertainty: Uncertainty = Uncertainty()
    checks: Checks = Checks()
    sampling: Sampling = Sampling()
    warehouse: Warehouse = Warehouse()
    cost: Cost | None = None
    pages: Pages = Pages()
    schedule: Schedule = Schedule()
    notices: Notices = Notices()
    mapping: tuple[Mapping, ...] = ()
    keep: Keep = Keep()
    clock_errors: tuple[Clock, ...] = Field(default=(), alias="clock")
    listener: Listener | None = None
    topic: tuple[Topic, ...] = ()

    @cached_property
    def clock(self) -> WorksClock:
        return WorksClock(ZoneInfo(self.works.timezone), self.works.day_starts, self.works.shifts)

    @cached_property
    def furnaces(self) -> dict[str, Furnace]:
        return {furnace.id: furnace for furnace in self.furnace}

    @cached_property
    def lines(self) -> dict[str, Line]:
        return {line.id: line for line in self.line}

    @cached_property
    def stations(self) -> dict[str, Station]:
        return {station.id: station for station in self.station}

    @cached_property
    def defects(self) -> dict[str, Defect]:
        return {defect.code: defect for defect in self.defect}

    @cached_property
    def faults(self) -> dict[str, Defect]:
        """The defects that are faults of the ware, by code: what signals, rates, baselines, trust and traces speak of."""
        return {code: defect for code, defect in self.defects.items() if defect.kind == FAULT}

    @cached_property
    def no_faults(self) -> tuple[str, ...]:
        """Codes under which ware is thrown out for no fault of its own."""
        return tuple(code for code in self.defects if code not in self.faults)

    @cached_property
    def items(self) -> dict[str, Item]:
        return {item.id: item for item in self.item}

    def weights_every(self, line: str) -> float:
        """Minutes between a line's weighings as they are due; 0 where none are."""
        own = self.lines[line].weights_minutes
        return self.checks.weights_minutes if own is None else own

    def must_catch(self, defect: str) -> float:
        """The share of a challenge's passes with a defect that must be caught; of an unknown defect as of a major one."""
        severity = self.defects[defect].severity if defect in self.defects else "major"
        return float(getattr(self.checks.challenge_must_catch, severity))

    def ids(self, kind: str) -> tuple[str, ...]:
        """The ids of one list, as `known_as` in the glossary names it."""
        table: dict[str, Any] = getattr(self, f"{kind}s")
        return tuple(table)

    def stations_of(self, line: str) -> tuple[Station, ...]:
        """The stations of a line in the order in which ware meets them."""
        mine = (station for station in self.station if station.line == line)
        return tuple(sorted(mine, key=lambda station: (station.order, station.id)))

    def first_stations(self, line: str) -> tuple[str, ...]:
        """All lanes of the line's first station: where its ware is counted."""
        stations = self.stations_of(line)
        return tuple(s.id for s in stations if s.order == stations[0].order) if stations else ()

    def lines_of(self, furnace: str) -> tuple[Line, ...]:
        return tuple(line for line in self.line if line.furnace == furnace)


def read_plant(text: str) -> Plant:
    """The plant in a works.toml. PlantError with all its mistakes, each naming table, id, key and line of the file."""
    from pipelines.plant.mistakes import mistakes_between, mistakes_within

    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlantError([f"it is not TOML: {error}"]) from None
    try:
        plant = Plant.model_validate(told)
    except ValidationError as error:
        raise PlantError([*mistakes_within(error, told, text), *mistakes_between(told, text)]) from None
    mistakes = mistakes_between(told, text)
    if mistakes:
        raise PlantError(mistakes)
    return plant


def restored(plant: Plant, former: list[Plant]) -> Plant:
    """The plant with the ids that it has lost, as former plant files (the newest first) describe them."""
    tables: dict[str, Any] = {}
    for table in ("furnace", "line", "station", "defect", "item"):
        rows = list(getattr(plant, table))
        ids = set(plant.ids(table))
        for old in former:
            lost = [row for key, row in getattr(old, f"{table}s").items() if key not in ids]
            rows += lost
            ids |= {getattr(row, "id", None) or row.code for row in lost}
        tables[table] = tuple(rows)
    kept = {name: getattr(plant, name) for name in Plant.model_fields if name not in tables}
    return Plant(**kept, **tables)
