"""Ware that is rejected for no fault of its own, and mould numbers that are read as another: planned from the seed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipelines.plant.tables import Station
from sample_feeds.simulator.rough import kind_of, reads_moulds

if TYPE_CHECKING:
    from sample_feeds.simulator.plan import Plan

PAIRED = 0.3  # share of a job's moulds whose number looks like another's
SETTING_SHARE = 0.3  # of the ware, while a station is being set


@dataclass(frozen=True)
class Aside:
    """Ware rejected by `stations` from one minute to another (their clock) under a code that is no fault.

    mould: index of the mould number thrown out (-1: any).  share: of the ware that meets it.  every: minutes between
    samples, one of each mould read.
    """

    line: str
    stations: tuple[str, ...]
    code: str
    kind: str
    start: int
    end: int
    mould: int = -1
    share: float = 1.0
    every: float = 0.0


@dataclass(frozen=True)
class LookAlike:
    """A share of the containers of one mould, formed from one minute to another, is read as another mould's that is
    fitted in that time.
    """

    line: str
    mould: int
    read_as: int
    share: float
    start: int
    end: int


def draw_asides(plan: Plan) -> list[Aside]:
    """What is thrown out for no fault, where the plant file has a code of the kind and the switch is on."""
    strength, found = plan.rough.strength, []
    codes = {kind_of(plan.plant, code): code for code in plan.plant.defects}
    often = {"mould_rejection": strength.mould_rejection, "diverted": strength.diverted, "setting": strength.setting}
    lasts = {"mould_rejection": (60, 480), "diverted": (3, 12), "setting": (3, 15)}
    for number, line in enumerate(plan.lines):
        rng = np.random.default_rng([plan.seed, 49, number])
        for kind, a_day in often.items():
            if not a_day or kind not in codes:
                continue
            for _ in range(int(rng.poisson(a_day * plan.minutes / 1440))):
                start = int(rng.integers(300, plan.minutes))
                end = start + int(rng.integers(*lasts[kind]))
                mould = _fitted_at(plan, line, start, rng) if kind == "mould_rejection" else -1
                share = SETTING_SHARE if kind == "setting" else 1.0
                found.append(Aside(line, _where(plan, line, kind, rng), codes[kind], kind, start, end, mould, share))
        if strength.samples_every and "sample" in codes:
            where = _where(plan, line, "sample", rng)
            found.append(Aside(line, where, codes["sample"], "sample", 0, plan.minutes, every=strength.samples_every))
    return found


def _where(plan: Plan, line: str, kind: str, rng: np.random.Generator) -> tuple[str, ...]:
    stations = plan.plant.stations_of(line)
    if kind in ("mould_rejection", "sample"):
        order = min(s.order for s in stations if reads_moulds(s.id))
        lanes = tuple(s.id for s in stations if s.order == order)
        return lanes if kind == "mould_rejection" else lanes[:1]
    if kind == "diverted":
        last = max(s.order for s in stations)
        return tuple(s.id for s in stations if s.order == last)
    return (str(rng.choice([s.id for s in stations])),)


def _fitted_at(plan: Plan, line: str, minute: int, rng: np.random.Generator) -> int:
    """Index of a mould that is in its cavity when ware that meets the stations at a minute was formed."""
    formed = minute - plan.plant.lines[line].lehr_minutes
    line_plan = plan.lines[line]
    cavity = int(rng.integers(len(line_plan.cavities)))
    return max(n for n, f in enumerate(line_plan.fittings) if f.cavity == cavity and f.minute <= formed)


def draw_look_alikes(plan: Plan) -> list[LookAlike]:
    """Pairs of numbers that look alike, both ways, as long as both are fitted."""
    strength, found = plan.rough.strength, []
    if strength.misread is None:
        return []
    for number, (line, lined) in enumerate(plan.lines.items()):
        rng = np.random.default_rng([plan.seed, 50, number])
        for job in {minute for minute, _, _ in lined.jobs}:
            fitted = [n for n, f in enumerate(lined.fittings) if f.minute == job]
            chosen = rng.permutation(fitted)[: 2 * round(PAIRED * len(fitted) / 2)]
            for each, other in chosen.reshape(-1, 2).tolist():
                (start, end), (begun, ended) = _stay(plan, line, each), _stay(plan, line, other)
                both = max(start, begun), min(end, ended)
                for mould, read_as in ((each, other), (other, each)):
                    share = float(rng.uniform(*strength.misread))
                    found.append(LookAlike(line, mould, read_as, share, *both))
    return found


def _stay(plan: Plan, line: str, number: int) -> tuple[int, int]:
    fittings = plan.lines[line].fittings
    mine = fittings[number]
    later = [f.minute for n, f in enumerate(fittings) if n > number and f.cavity == mine.cavity]
    return mine.minute, min(later, default=plan.minutes)


def set_aside(
    plan: Plan, station: Station, mine: np.ndarray, time: np.ndarray, mould: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Containers that a station rejects for no fault, and the numbers of the codes. mine: which containers are here;
    time: at its clock;
    mould: as it read it."""
    at, kinds = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
    codes = list(plan.plant.defects)
    for number, aside in enumerate(plan.asides):
        if station.id not in aside.stations:
            continue
        here = mine & (time >= aside.start) & (time < aside.end)
        if aside.mould >= 0:
            here &= mould == aside.mould
        chosen = np.flatnonzero(here)
        if aside.every:
            chosen = _one_of_each(chosen, time, mould, aside.every)
        elif aside.share < 1:
            rng = np.random.default_rng([plan.seed, 51, number, list(plan.plant.stations).index(station.id)])
            chosen = chosen[rng.random(len(chosen)) < aside.share]
        at.append(chosen)
        kinds.append(np.full(len(chosen), codes.index(aside.code)))
    return np.concatenate(at), np.concatenate(kinds)


def _one_of_each(chosen: np.ndarray, time: np.ndarray, mould: np.ndarray, every: float) -> np.ndarray:
    """The first container of each mould that is read in each round of sampling."""
    read = chosen[mould[chosen] >= 0]
    frame = pl.DataFrame({"at": read, "time": time[read], "mould": mould[read], "turn": time[read] // every})
    first: np.ndarray = frame.sort("time").unique(["mould", "turn"], keep="first")["at"].to_numpy()
    return first
