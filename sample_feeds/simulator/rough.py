"""How rough a works is: each roughness a switch with a strength. Everything is drawn from the plan's seed before it runs, and written down."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl
from scipy.signal import lfilter

from pipelines.plant import Plant

FALSE_CALL = 0.0004  # share of the good ware that a tidy station rejects
STEP_MIN = 10  # rates wander in steps of so many minutes
SWABBED = ("mould", "timing", "gob")  # origins of defects whose rates jump when a section is swabbed


@dataclass(frozen=True)
class Roughness:
    """Switches with strengths. All as they stand here: the tidy works, to the byte.

    false_calls: least and greatest share of good ware that a station rejects, one value a station (log-uniform), spread unevenly over its defects.
    detection: least and greatest chance of finding a defect, one value a station and defect.
    windows: seconds; every station reports on one of them, and where there are two or more no line has one grid alone.
    wander: relative standard deviation of a defect's rate that wanders (AR(1) on the log rate): half of the variance common to the line, half each
    cavity's own.  wander_hours: least and greatest time constant.
    mood: relative standard deviation from hour to hour of each cavity's rate, instead of the tidy works' (plan.DISPERSION).
    swab: standard deviation of the log rate's jump when a section is swabbed, every swab_every minutes (least and greatest).
    """

    false_calls: tuple[float, float] | None = None
    detection: tuple[float, float] | None = None
    windows: tuple[int, ...] = ()
    wander: float = 0.0
    wander_hours: tuple[float, float] = (2.0, 12.0)
    mood: float | None = None
    swab: float = 0.0
    swab_every: tuple[float, float] = (20.0, 30.0)


ROUGH = Roughness(
    false_calls=(0.0005, 0.003),
    detection=(0.75, 0.99),
    windows=(60, 300, 900),
    wander=0.08,
    mood=0.0,
    swab=0.1,
)


@dataclass(frozen=True)
class Drawn:
    """What a seed made of the switches. detection, false_rates by station, in the order of the plant's defects."""

    strength: Roughness = Roughness()
    detection: dict[str, np.ndarray] = field(default_factory=dict)
    false_rates: dict[str, np.ndarray] = field(default_factory=dict)
    windows: dict[str, int] = field(default_factory=dict)
    seed: int = 0

    def window_s(self, station: str, usual: int) -> int:
        return self.windows.get(station, usual)

    @cached_property
    def moves(self) -> bool:
        """Whether rates move otherwise than in the tidy works."""
        return bool(self.strength.wander or self.strength.swab)


def draw(plant: Plant, strength: Roughness, seed: int) -> Drawn:
    """The works' stations under the switches; a generator for each switch, so that one does not change another's draws."""
    return Drawn(
        strength,
        _detection(plant, strength, np.random.default_rng([seed, 40])),
        _false_rates(plant, strength, np.random.default_rng([seed, 41])),
        _windows(plant, strength, np.random.default_rng([seed, 42])),
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
    codes, told = list(plant.defects), {}
    for station in plant.station:
        able = np.array([station.can_call(code) for code in codes])
        if strength.false_calls is None:
            told[station.id] = np.where(able, FALSE_CALL / able.sum(), 0.0)
            continue
        low, high = np.log(strength.false_calls)
        shares = np.zeros(len(codes))
        shares[able] = rng.dirichlet(np.full(int(able.sum()), 1.5))
        told[station.id] = float(np.exp(rng.uniform(low, high))) * shares
    return told


def _windows(plant: Plant, strength: Roughness, rng: np.random.Generator) -> dict[str, int]:
    if not strength.windows:
        return {}
    told: dict[str, int] = {}
    for line in plant.line:
        stations = plant.stations_of(line.id)
        drawn = [int(rng.choice(strength.windows)) for _ in stations]
        if len(set(strength.windows)) > 1 and len(stations) > 1:
            while len(set(drawn)) == 1:
                drawn = [int(rng.choice(strength.windows)) for _ in stations]
        told.update(zip((s.id for s in stations), drawn, strict=True))
    return told


def ar1(rng: np.random.Generator, steps: int, columns: int, sd: float, constant: float) -> np.ndarray:
    """A stationary AR(1) course [steps, columns] of standard deviation sd; constant: its time constant in steps."""
    keep = float(np.exp(-1 / constant))
    noise = rng.normal(0, sd * np.sqrt(1 - keep**2), (steps, columns))
    noise[0] = rng.normal(0, sd, columns)
    told: np.ndarray = lfilter([1.0], [1.0, -keep], noise, axis=0)
    return told


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
    drawn: Drawn, line_no: int, defect_no: int, origin: str, minutes: int, sections: np.ndarray
) -> np.ndarray:
    """By what the tidy rate of a defect is multiplied at [minute, cavity]; sections: of each cavity, from 1."""
    told = np.ones((minutes, len(sections)))
    if drawn.strength.wander:
        common, own = wandering(drawn, line_no, defect_no, minutes, len(sections))
        told *= np.repeat(common[:, None] * own, STEP_MIN, axis=0)[:minutes]
    if drawn.strength.swab and origin in SWABBED:
        rng = np.random.default_rng([drawn.seed, 45, line_no, defect_no])
        sd, minute = drawn.strength.swab, np.arange(minutes)
        for number, at in enumerate(swabs_of(drawn, line_no, int(sections.max()), minutes), start=1):
            jumps = np.exp(rng.normal(0, sd, len(at) + 1) - sd**2 / 2)
            told[:, sections == number] *= jumps[np.searchsorted(at, minute, side="right")][:, None]
    return told


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
