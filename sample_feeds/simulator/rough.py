"""How rough a works is: each roughness a switch with a strength. Everything is drawn from the plan's seed before it
runs, and written down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl
from scipy.signal import lfilter

from pipelines.plant.works import Plant

FALSE_CALL = 0.0004  # share of the good ware that a tidy station rejects
STEP_MIN = 10  # rates wander in steps of so many minutes
SWABBED = ("mould", "timing", "gob")  # origins of defects whose rates jump when a section is swabbed


@dataclass(frozen=True)
class Roughness:
    """Switches with strengths. All as they stand here: the tidy works, to the byte.

    false_calls: least and greatest share of good ware that a station rejects, one value a station (log-uniform), spread
    unevenly over its defects.
    detection: least and greatest chance of finding a defect, one value a station and defect.
    windows: seconds; every station reports on one of them, and where there are two or more no line has one grid alone.
    wander: relative standard deviation of a defect's rate that wanders (AR(1) on the log rate): half of the variance
    common to the line, half each cavity's own.  wander_hours: least and greatest time constant.
    mood: relative standard deviation from hour to hour of each cavity's rate, instead of the tidy works'
    (plan.DISPERSION).
    swab: standard deviation of the log rate's jump when a section is swabbed, every swab_every minutes (least and
    greatest).
    restart: factor of those defects right after a section restarts; it falls back with the time constant restart_min.
    mould_rejection, diverted, setting: how often a line and day ware is thrown out by its mould number, led away whole,
    or rejected while a station is set; samples_every: minutes from one sample of every mould to the next. None of these
    are faults (`[[defect]] kind`).
    refed: share of the rejected ware that goes through all stations a second time.
    unread: least and greatest share of mould numbers that a station does not read.  misread: of the numbers of a pair
    that looks alike, read as the other.
    table: greatest minutes that ware waits on the accumulation table before the palletisers; together they are three
    tenths quicker than the line.
    palletisers: how many share a line's ware; palletiser_stops: how often each stands a day, for 5 to 45 minutes.
    weight_wander_g: standard deviation of each cavity's gob mass about its mean, AR(1) over wander_hours: weighings
    follow each other.
    weight_sd_g: least and greatest spread of single containers of a mould [g], one value a mould.
    """

    false_calls: tuple[float, float] | None = None
    detection: tuple[float, float] | None = None
    windows: tuple[int, ...] = ()
    wander: float = 0.0
    wander_hours: tuple[float, float] = (2.0, 12.0)
    mood: float | None = None
    swab: float = 0.0
    swab_every: tuple[float, float] = (20.0, 30.0)
    restart: float = 1.0
    restart_min: float = 20.0
    mould_rejection: float = 0.0
    samples_every: float = 0.0
    diverted: float = 0.0
    setting: float = 0.0
    refed: float = 0.0
    unread: tuple[float, float] | None = None
    misread: tuple[float, float] | None = None
    table: float = 0.0
    palletisers: int = 1
    palletiser_stops: float = 0.0
    weight_wander_g: float = 0.0
    weight_sd_g: tuple[float, float] | None = None


ROUGH = Roughness(
    false_calls=(0.0005, 0.003),
    detection=(0.75, 0.99),
    windows=(60, 300, 900),
    wander=0.08,
    mood=0.0,
    swab=0.1,
    restart=3.0,
    mould_rejection=0.5,
    samples_every=120.0,
    diverted=0.5,
    setting=0.5,
    refed=0.15,
    unread=(0.01, 0.4),
    misread=(0.005, 0.05),
    table=55.0,
    palletisers=2,
    palletiser_stops=4.0,
    weight_wander_g=0.4,
    weight_sd_g=(0.4, 1.0),
)


@dataclass(frozen=True)
class Drawn:
    """What a seed made of the switches. detection, false_rates by station, in the order of the plant's defects."""

    strength: Roughness = Roughness()
    detection: dict[str, np.ndarray] = field(default_factory=dict)
    false_rates: dict[str, np.ndarray] = field(default_factory=dict)
    windows: dict[str, int] = field(default_factory=dict)
    unread: dict[str, float] = field(default_factory=dict)
    seed: int = 0

    def window_s(self, station: str, usual: int) -> int:
        return self.windows.get(station, usual)

    @cached_property
    def moves(self) -> bool:
        """Whether rates move otherwise than in the tidy works."""
        return bool(self.strength.wander or self.strength.swab or self.strength.restart > 1)


def draw(plant: Plant, strength: Roughness, seed: int) -> Drawn:
    """The works' stations under the switches; a generator for each switch, so that one does not change another's
    draws.
    """
    return Drawn(
        strength,
        _detection(plant, strength, np.random.default_rng([seed, 40])),
        _false_rates(plant, strength, np.random.default_rng([seed, 41])),
        _windows(plant, strength, np.random.default_rng([seed, 42])),
        _unread(plant, strength, np.random.default_rng([seed, 48])),
        seed,
    )


def _detection(plant: Plant, strength: Roughness, rng: np.random.Generator) -> dict[str, np.ndarray]:
    if strength.detection is None:
        return {}
    codes = list(plant.defects)
    drawn = {s.id: rng.uniform(*strength.detection, len(codes)) for s in plant.station}
    return {s.id: np.where([s.can_call(c) for c in codes], drawn[s.id], 0.0) for s in plant.station}


def _false_rates(plant: Plant, strength: Roughness, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """Share of the ware that each station calls falsely, defect by defect."""
    codes, row = list(plant.defects), {}
    for station in plant.station:
        able = np.array([station.can_call(code) and is_fault(plant, code) for code in codes])
        if strength.false_calls is None:
            row[station.id] = np.where(able, FALSE_CALL / able.sum(), 0.0)
            continue
        low, high = np.log(strength.false_calls)
        shares = np.zeros(len(codes))
        shares[able] = rng.dirichlet(np.full(int(able.sum()), 1.5))
        row[station.id] = float(np.exp(rng.uniform(low, high))) * shares
    return row


def _windows(plant: Plant, strength: Roughness, rng: np.random.Generator) -> dict[str, int]:
    if not strength.windows:
        return {}
    numbers: dict[str, int] = {}
    for line in plant.line:
        stations = plant.stations_of(line.id)
        drawn = [int(rng.choice(strength.windows)) for _ in stations]
        if len(set(strength.windows)) > 1 and len(stations) > 1:
            while len(set(drawn)) == 1:
                drawn = [int(rng.choice(strength.windows)) for _ in stations]
        numbers.update(zip((s.id for s in stations), drawn, strict=True))
    return numbers


def _unread(plant: Plant, strength: Roughness, rng: np.random.Generator) -> dict[str, float]:
    if strength.unread is None:
        return {}
    low, high = np.log(strength.unread)
    return {s.id: float(np.exp(rng.uniform(low, high))) for s in plant.station if reads_moulds(s.id)}


def reads_moulds(station: str) -> bool:
    """Whether a station of an invented works can read mould numbers."""
    return station.split("-")[1] in ("side", "mouth")


def kind_of(plant: Plant, code: str) -> str:
    return plant.defects[code].kind


def is_fault(plant: Plant, code: str) -> bool:
    """Whether a call of this code says that something is wrong with the ware."""
    return kind_of(plant, code) == "fault"


def ar1(rng: np.random.Generator, steps: int, columns: int, sd: float, constant: float) -> np.ndarray:
    """A stationary AR(1) course [steps, columns] of standard deviation sd; constant: its time constant in steps."""
    keep = float(np.exp(-1 / constant))
    noise = rng.normal(0, sd * np.sqrt(1 - keep**2), (steps, columns))
    noise[0] = rng.normal(0, sd, columns)
    values: np.ndarray = lfilter([1.0], [1.0, -keep], noise, axis=0)
    return values


def wandering(drawn: Drawn, line_no: int, defect_no: int, minutes: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Factors of mean one by steps of STEP_MIN: common to the line [steps], and each cavity's own [steps, width]."""
    strength, steps = drawn.strength, -(-minutes // STEP_MIN)
    rng = np.random.default_rng([drawn.seed, 43, line_no, defect_no])
    sd = float(np.sqrt(np.log1p(strength.wander**2) / 2))
    constant = float(rng.uniform(*strength.wander_hours)) * 60 / STEP_MIN
    common, own = ar1(rng, steps, 1, sd, constant)[:, 0], ar1(rng, steps, width, sd, constant)
    return np.exp(common - sd**2 / 2), np.exp(own - sd**2 / 2)


def swabs_of(drawn: Drawn, line_no: int, sections: int, minutes: int) -> list[np.ndarray]:
    """The minutes at which each section was swabbed."""
    if not drawn.strength.swab:
        return [np.empty(0) for _ in range(sections)]
    low, high = drawn.strength.swab_every
    rng = np.random.default_rng([drawn.seed, 44, line_no])
    gaps = rng.uniform(low, high, (sections, int(minutes / low) + 2))
    gaps[:, 0] *= rng.random(sections)
    return [at[at < minutes] for at in np.cumsum(gaps, axis=1)]


def rate_factor(
    drawn: Drawn,
    line_no: int,
    defect_no: int,
    origin: str,
    minutes: int,
    sections: np.ndarray,
    stops: Sequence[tuple[int, int]] = (),
) -> np.ndarray:
    """By what the tidy rate of a defect is multiplied at [minute, cavity]; sections: of each cavity, from 1; stops:
    section (0: all), end.
    """
    values = np.ones((minutes, len(sections)))
    if drawn.strength.wander:
        common, own = wandering(drawn, line_no, defect_no, minutes, len(sections))
        values *= np.repeat(common[:, None] * own, STEP_MIN, axis=0)[:minutes]
    if drawn.strength.swab and origin in SWABBED:
        rng = np.random.default_rng([drawn.seed, 45, line_no, defect_no])
        sd, minute = drawn.strength.swab, np.arange(minutes)
        for number, at in enumerate(swabs_of(drawn, line_no, int(sections.max()), minutes), start=1):
            jumps = np.exp(rng.normal(0, sd, len(at) + 1) - sd**2 / 2)
            values[:, sections == number] *= jumps[np.searchsorted(at, minute, side="right")][:, None]
    if drawn.strength.restart > 1 and origin in SWABBED:
        for section, end in stops:
            since = np.arange(minutes - max(0, end))
            grown = 1 + (drawn.strength.restart - 1) * np.exp(-since / drawn.strength.restart_min)
            values[max(0, end) :, (sections == section) | (section == 0)] *= grown[:, None]
    return values


def false_truth(plant: Plant, drawn: Drawn) -> pl.DataFrame:
    """line, station, defect, rate: the share of the ware at the station that it calls falsely as the defect."""
    codes = list(plant.defects)
    rows = [
        {"line": s.line, "station": s.id, "defect": code, "rate": float(rate)}
        for s in plant.station
        for code, rate in zip(codes, drawn.false_rates[s.id], strict=True)
        if rate > 0
    ]
    return pl.DataFrame(rows)


def window_truth(plant: Plant, drawn: Drawn, usual: int) -> pl.DataFrame:
    """line, station, window_s."""
    return pl.DataFrame(
        [{"line": s.line, "station": s.id, "window_s": drawn.window_s(s.id, usual)} for s in plant.station]
    )
