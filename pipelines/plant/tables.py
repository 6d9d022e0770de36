"""The tables of works.toml, each key with what it says: the reference of works.toml is made from these."""

from __future__ import annotations

import re
from datetime import time
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field

from pipelines.plant.mapping import Zone
from pipelines.words import defect_name
from schemas.texts import Text

GOBS = ("A", "B", "C", "D")
SEVERITIES = ("critical", "major", "minor")
FAULT = "fault"
NAMED = ("furnace", "line", "station", "defect", "item", "test", "quantity")  # lists whose ids rows speak of
AQLS = (  # the steps of ISO 2859-1; up to 10 they are percent nonconforming
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0, 25.0, 40.0,
    65.0, 100.0, 150.0, 250.0, 400.0, 650.0, 1000.0,
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
# an id that names files and their addresses
FileId = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^\.*[^\s/\\\"'<>&,;?#%.][^\s/\\\"'<>&,;?#%]*$")]
TimeOfDay = Annotated[time, BeforeValidator(_of_day)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Aql = Annotated[Positive, AfterValidator(_step)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class PlantTable(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Works(PlantTable):
    name: str = Field(description="as pages and reports are headed")
    timezone: Zone = Field(
        description="IANA name, such as Europe/Lisbon; days and shifts follow this clock, the ledger keeps UTC"
    )
    day_starts: TimeOfDay = Field(description="local time at which the production day begins")
    shifts: tuple[TimeOfDay, ...] = Field(min_length=1, description="local times at which shifts begin")


class Furnace(PlantTable):
    id: FileId = Field(description="as feeds name it")
    colour: str = Field("", description="of its glass, in words")
    surface_m2: Positive = Field(description="melter surface, for the level correction")
    density_g_cm3: Positive = Field(description="of its glass")


class Line(PlantTable):
    id: FileId = Field(description="as feeds name it")
    furnace: str = Field(description="the furnace that feeds it")
    sections: int = Field(ge=1, le=40, description="of its machine")
    gobs: int = Field(ge=1, le=4, description="gob positions: 2 means A and B")
    lehr_minutes: Positive = Field(description="nominal, from the gob cut to the first station")
    weights_minutes: NotNegative | None = Field(
        None, description="where this line's weighings are due at another interval than [checks] says"
    )

    @property
    def gob_positions(self) -> tuple[str, ...]:
        return GOBS[: self.gobs]


class Station(PlantTable):
    id: Id = Field(description="as feeds name it")
    line: str = Field(description="the line on which it stands")
    order: int = Field(ge=1, description="the order in which ware meets the stations; parallel lanes share an order")
    after_minutes: NotNegative = Field(0.0, description="running time from the first station")
    sees: tuple[str, ...] | None = Field(None, description="the defects that it can call; without it, any")
    counter_modulus: int | None = Field(default=None, gt=0, description="where its running totals begin again at 0")

    def can_call(self, defect: str) -> bool:
        return self.sees is None or defect in self.sees


class Defect(PlantTable):
    """kind: what a call of it says. Only a fault is a defect of the ware; the others are ware thrown out by its
    mould number, samples taken, ware thrown out while a station was set, and ware sent another way."""

    code: Id = Field(description="your own code")
    name: Annotated[Text, AfterValidator(defect_name)] = Field(description="in words, as pages show it")
    severity: Literal["critical", "major", "minor"] = Field(
        description="how bad it is; critical defects (those that cut or choke) are listed first and always"
    )
    zone: Literal["finish", "neck", "shoulder", "body", "heel", "base", "whole"] = Field(
        description="where on the container"
    )
    origin: Literal["mould", "timing", "gob", "glass", "lehr", "handling"] = Field(description="where to look first")
    kind: Literal["fault", "mould_rejection", "sample", "setting", "diverted"] = Field(
        "fault", description="what a call of it says: a fault of the ware, or ware thrown out for no fault of its own"
    )


class Item(PlantTable):
    id: Id = Field(description="as feeds name it")
    name: str = Field(description="in words, as pages show it")
    weight_g: Positive = Field(description="nominal")
    weight_min_g: Positive | None = Field(None, description="least weight of a container")
    weight_max_g: Positive | None = Field(None, description="greatest weight of a container")
    capacity_ml: Positive | None = Field(None, description="nominal, measured as `fill` says")
    capacity_min_ml: Positive | None = Field(None, description="least capacity")
    capacity_max_ml: Positive | None = Field(None, description="greatest capacity")
    fill: Literal["brimful", "fill_line"] = Field(
        "brimful", description="how capacity is measured: brimful, or to the fill line"
    )
    nominal_ml: Positive | None = Field(
        None, description="what a measuring container is marked with, where capacity_ml is another"
    )
    units_per_pallet: int | None = Field(default=None, gt=0, description="containers on a whole pallet")
    measuring_container: bool = Field(False, description="true: the capacity rules for measuring containers apply")
    temper_thickness_mm: Positive | None = Field(
        None, description="of the glass where temper numbers are read; without it no real temper number"
    )


def _in_order(limits: tuple[float, float]) -> tuple[float, float]:
    if not limits[0] <= limits[1]:
        raise ValueError(f"the least, {limits[0]:g}, is above the greatest, {limits[1]:g}")
    return limits


Limits = Annotated[tuple[float, float], AfterValidator(_in_order)]


class WareTest(PlantTable):
    """One measured property of ware. limits: [least, greatest] by item; where there is none of them, `-inf` or `inf`
    stands in its place."""

    id: Id = Field(description="as `test_checks` names it")
    name: str = Field(description="in words, as pages show it")
    unit: str = Field(description="of its values")
    limits: dict[str, Limits] = Field(
        {}, description="by item: `[least, greatest]`; `-inf` or `inf` where there is none"
    )


class ProcessQuantity(PlantTable):
    """Anything that is read in the works, and at which kind of place."""

    id: Id = Field(description="as `process_reads` names it")
    name: str = Field(description="in words, as pages show it")
    unit: str = Field(description="of its values")
    where: Literal["furnace", "line", "station"] = Field(description="at which kind of place it is read")
    limits: Limits | None = Field(None, description="`[least, greatest]`; `-inf` or `inf` where there is none")


class Customer(PlantTable):
    """A customer, and the quality limits that differ from those of [sampling]. A critical defect is never sampled
    away."""

    id: Id = Field(description="as `dispatches` and `complaints` name it")
    name: str = Field(description="in words, as pages show it")
    aql: dict[Literal["major", "minor"], Aql] = Field(
        {}, description="percent nonconforming, by severity, where it differs from [sampling]"
    )
    items: tuple[str, ...] = Field((), description="the items that it takes")


def _phone(text: str) -> str:
    if not re.fullmatch(r"\+?[\d ()/.-]*\d[\d ()/.-]*( ?(ext\.?|x) ?\d+)?", text.strip()):
        raise ValueError(f"'{text}' is no telephone number such as +351 21 555 0100 or 412; write digits")
    return text.strip()


class Contact(PlantTable):
    """Whom to ring where somebody must act. for: a critical defect, a hold, a station that sends nothing."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    name: str = Field(min_length=1, description="who it is: a person, or a post such as shift foreman")
    for_: tuple[Literal["critical", "hold", "silent"], ...] = Field(
        alias="for",
        min_length=1,
        description="of what: `critical`, a critical defect; `hold`, ware is held; `silent`, a station sends nothing",
    )
    phone: Annotated[str, AfterValidator(_phone)] = Field(description="its number, as it is dialled in the works")


class Laboratory(PlantTable):
    """sink_float_g_cm3_per_c: of the works' own liquid. temper_max, real_temper_max: the greatest apparent (as
    read) and real temper number that the works accepts."""

    sink_float_g_cm3_per_c: Positive | None = Field(
        None, description="of your own liquid, calibrated with two standards; without it a comparison tells no density"
    )
    temper_max: Positive | None = Field(
        None, description="the greatest temper number, as read, that your works accepts"
    )
    real_temper_max: Positive | None = Field(
        None, description="the same for real temper numbers; needs temper_thickness_mm of the item"
    )


class MustCatch(PlantTable):
    """The share of a challenge's passes that must be caught, by the defect's severity. A plain number stands for
    major and minor; critical: every pass."""

    critical: float = Field(default=1.0, gt=0, le=1, description="share of the passes with a critical defect")
    major: float = Field(default=0.8, gt=0, le=1, description="share of the passes with a major defect")
    minor: float = Field(default=0.8, gt=0, le=1, description="share of the passes with a minor defect")


def _must_catch(answer: object) -> object:
    return (
        {"major": answer, "minor": answer}
        if isinstance(answer, int | float) and not isinstance(answer, bool)
        else answer
    )


class Checks(PlantTable):
    """How often what is due (0: not asked for), and when a challenge is passed."""

    weights_minutes: NotNegative = Field(
        60.0, description="weighings of a line; a [[line]] can say weights_minutes of its own"
    )
    capacity_hours: NotNegative = Field(8.0, description="capacity checks")
    density_hours: NotNegative = Field(24.0, description="density of the glass")
    temper_hours: NotNegative = Field(0.0, description="temper numbers")
    visual_hours: NotNegative = Field(0.0, description="samples looked at")
    challenge_hours: Positive = Field(8.0, description="challenges of a station; overdue after 1.25 times that")
    challenge_must_catch: Annotated[MustCatch, BeforeValidator(_must_catch)] = Field(
        MustCatch(),
        description=(
            "share of a challenge's passes that must be caught, by the defect's severity; a plain number stands "
            "for major and minor"
        ),
    )


class Warehouse(PlantTable):
    """released_means_gone: a pallet whose state is `released` has left the works. Without it nobody knows: released
    means cleared, and still in the store. breakage_minutes: pallets packed on a line so many minutes before and after
    ware broke there are listed as beside the breakage."""

    breakage_minutes: NotNegative = Field(
        15.0, description="minutes before a breakage and after its clearing, within which packed pallets are listed"
    )
    released_means_gone: bool = Field(
        False,
        description=(
            "true: a pallet whose state is `released` has left the works; else nobody knows, and every page says so"
        ),
    )


class Sampling(PlantTable):
    """Inspection level and acceptance quality limits [percent nonconforming] for samples by ISO 2859-1."""

    level: Literal["S-1", "S-2", "S-3", "S-4", "I", "II", "III"] = Field(
        "II", description="inspection level of ISO 2859-1"
    )
    aql_major: Aql = Field(0.65, description="percent nonconforming; critical defects are never sampled away")
    aql_minor: Aql = Field(2.5, description="percent nonconforming")


class Uncertainty(PlantTable):
    """Relative standard uncertainty of each meter's total over a production day, in percent."""

    melt: NotNegative = Field(1.5, description="of what was melted")
    gobs_cut: NotNegative = Field(0.05, description="of the gobs cut")
    station_counts: NotNegative = Field(0.3, description="of what a station counted")
    packed: NotNegative = Field(0.1, description="of the containers packed")
    weight: NotNegative = Field(0.2, description="of the scale")


class Cost(PlantTable):
    """What lost glass costs, where the works wants losses in money too."""

    glass_per_t: Positive = Field(description="price of a tonne of lost glass")
    currency: str = Field("", description="as it stands behind the price")


class Pages(PlantTable):
    """How the works writes: language of the pages, decimal mark, and what stands between thousands."""

    language: Literal["en", "de"] = Field("en", description="of the pages; each reader can choose")
    decimal: Literal[".", ","] = Field(".", description="decimal mark")
    thousands: Literal[" ", ",", ".", "'", ""] = Field(" ", description="what stands between thousands")


def _served(text: str) -> str:
    parts = urlsplit(text)
    if text and (parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment):
        raise ValueError(
            f"'{text}' is no address such as https://ledger.works.example; leave it out where there is none"
        )
    return text.rstrip("/")


class Reports(PlantTable):
    """Which pages lie under reports/ beside the day's report, holds and traces, and where the others are shown."""

    pages: tuple[Literal["weights", "laboratory", "hour"], ...] = Field(
        ("weights", "laboratory"),
        description=(
            "which pages lie under `reports/` beside the day's report, holds and traces, which always do; "
            "`hour`: 24 a day for each line"
        ),
    )
    address: Annotated[str, AfterValidator(_served)] = Field(
        "",
        description="where `coldledger serve` is opened; names of pages that do not lie there lead to it",
    )


class Schedule(PlantTable):
    """When `coldledger serve` calls the flows. close_at: local time; without it a day is closed when its last feed
    has come, at the latest close_latest_minutes after its end. on_new_file: take files in as they come, not only
    at the hour's minute."""

    intake_minute: int = Field(default=4, ge=0, le=59, description="of every hour")
    on_new_file: bool = Field(True, description="and whenever a whole file has come")
    close_at: TimeOfDay | None = Field(
        None, description="local time; without it a day is closed when its last feed has come"
    )
    close_latest_minutes: Positive = Field(120.0, description="at the latest so long after the day's end")


class Notices(PlantTable):
    """What is worth a mail or a call to another program; the addresses stand in .serve/notices.txt. loss_per_hour:
    containers a signal must cost."""

    critical: bool = Field(True, description="a critical defect was called")
    loss_per_hour: NotNegative | None = Field(100.0, description="a signal that costs so many containers an hour")
    failed_close: bool = Field(True, description="a close that failed")
    silent_minutes: NotNegative | None = Field(
        60.0, description="a station that sent nothing for so long while its line ran"
    )


class Keep(PlantTable):
    """minutes_days: after so many days a closed day's minutes of counts are rolled into hours; without it they are
    kept."""

    minutes_days: int | None = Field(
        default=None,
        ge=60,
        description=(
            "after so many days a closed day's minutes of counts are rolled into hours; without it they are kept"
        ),
    )


class Clock(PlantTable):
    """A station's clock that was wrong, as a person has found it: `minutes` later than the true time (earlier:
    negative), by the station's own times in [from, to)."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    station: str = Field(description="whose clock was wrong")
    minutes: float = Field(
        ge=-1440, le=1440, allow_inf_nan=False, description="later than the true time; earlier: negative"
    )
    from_: AwareDatetime = Field(alias="from", description="by the station's own times, included")
    to: AwareDatetime | None = Field(
        None, description="by the station's own times, not included; without it, until now"
    )
