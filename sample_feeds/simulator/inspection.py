"""Ware through a line's stations: what each finds, overlooks, calls falsely, reads, throws out for no fault, and sees a
second time.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from pipelines.plant.tables import Station
from sample_feeds.simulator.plan import Dimmed, LinePlan, Plan
from sample_feeds.simulator.rough import is_fault, reads_moulds
from sample_feeds.simulator.set_aside import set_aside

REFED_MIN = (10.0, 60.0)  # how long rejected ware waits before it is sent through again


@dataclass
class Ware:
    """The containers of a line that reached the lehr, in order of forming. Times in minutes from the plan's start.

    cut, hot: gobs cut and rejected hot, [minutes, cavities].  starts: first container of each (minute, cavity).
    """

    cut: np.ndarray
    hot: np.ndarray
    lag: np.ndarray
    cavity: np.ndarray
    mould: np.ndarray
    formed: np.ndarray
    arrives: np.ndarray
    starts: np.ndarray


@dataclass
class Passed:
    """The state of the inspection while the ware goes from station to station."""

    alive: np.ndarray
    counts: list[pl.DataFrame] = field(default_factory=list)
    calls: list[pl.DataFrame] = field(default_factory=list)
    chance: dict[str, np.ndarray] = field(default_factory=dict)
    refed: np.ndarray = field(default_factory=lambda: np.empty(0, np.int64))
    again: bool = False


def inspect_ware(
    plan: Plan,
    line_plan: LinePlan,
    ware: Ware,
    flaws: tuple[np.ndarray, np.ndarray],
    rng: np.random.Generator,
    fallen: np.random.Generator,
    state: Passed | None = None,
) -> Passed:
    """Let the ware through the line's stations. flaws: container and defect numbers.  state: which ware comes, if not
    all of it.
    """
    state = state or Passed(np.ones(len(ware.formed), bool))
    stations = plan.plant.stations_of(line_plan.line)
    for order in sorted({station.order for station in stations}):
        lanes = [station for station in stations if station.order == order]
        lane = rng.integers(len(lanes), size=len(ware.formed))
        state.alive &= fallen.random(len(state.alive)) >= plan.broken
        here = state.alive.copy()
        for number, station in enumerate(lanes):
            _at_station(plan, line_plan, ware, station, here & (lane == number), flaws, state, rng)
    return state


def refeed(
    plan: Plan,
    line_plan: LinePlan,
    ware: Ware,
    flaws: tuple[np.ndarray, np.ndarray],
    first: Passed,
    fallen: np.random.Generator,
) -> tuple[Ware, Passed]:
    """Some of the rejected ware goes through all stations a second time, later: the ware with its new times, and both
    passes together.
    """
    rng = np.random.default_rng([plan.seed, 47, list(plan.lines).index(line_plan.line)])
    thrown = np.unique(np.concatenate([calls["container"].to_numpy() for calls in first.calls]))
    chosen = thrown[rng.random(len(thrown)) < plan.rough.strength.refed]
    arrives = ware.arrives.copy()
    arrives[chosen] += rng.uniform(*REFED_MIN, len(chosen))
    coming = np.zeros(len(arrives), bool)
    coming[chosen] = True
    later = replace(ware, arrives=arrives)
    second = inspect_ware(plan, line_plan, later, flaws, rng, fallen, Passed(coming, chance=first.chance, again=True))
    counts = [count.with_columns(refed=pl.lit(0, pl.Int64)) for count in first.counts]
    counts += [count.with_columns(refed=pl.col("inspected")) for count in second.counts]
    sums = pl.concat(counts).group_by("window", "mould", "station", maintain_order=True).sum()
    return later, Passed(
        first.alive | second.alive, [sums], [*first.calls, *second.calls], first.chance, chosen, again=True
    )


def _at_station(
    plan: Plan,
    line_plan: LinePlan,
    ware: Ware,
    station: Station,
    mine: np.ndarray,
    flaws: tuple[np.ndarray, np.ndarray],
    state: Passed,
    rng: np.random.Generator,
) -> None:
    (container, defect), codes = flaws, list(plan.plant.defects)
    seen = np.array([station.can_call(code) and is_fault(plan.plant, code) for code in codes])
    drawn = np.where(seen, np.clip(rng.normal(0.97, 0.02, len(codes)), 0.85, 0.999), 0.0)
    chance = state.chance.setdefault(station.id, plan.rough.detection.get(station.id, drawn))
    hit = mine[container] & (rng.random(len(container)) < chance[defect])
    for dim in (dim for dim in plan.dimmed if dim.station == station.id):
        hit &= ~_overlooked(plan, ware, station, container, defect == codes.index(dim.defect), chance, dim)
    false_at, false_kind = _false_calls(plan, ware, station, mine, codes, seen, rng)
    mould = _mould_read(plan, line_plan, ware, station, state.again, rng)
    aside_at, aside_kind = set_aside(plan, station, mine, ware.arrives + station.after_minutes, mould)
    called = np.concatenate([container[hit], false_at, aside_at])
    kind = np.concatenate([defect[hit], false_kind, aside_kind])
    real = np.arange(len(called)) < hit.sum()
    window_s = plan.rough.window_s(station.id, plan.window_s)
    window = np.floor((ware.arrives + station.after_minutes) * 60 / window_s).astype(np.int64)
    calls = pl.DataFrame(
        {"window": window[called], "mould": mould[called], "defect": kind, "container": called, "real": real}
    ).with_columns(called_min=ware.arrives[called] + station.after_minutes)
    calls = calls.unique(["container", "defect"], keep="first", maintain_order=True)
    rejected = calls["container"].unique().to_numpy()
    out = np.zeros(len(ware.formed), bool)
    out[rejected] = True
    seen_ware = pl.DataFrame({"window": window[mine], "mould": mould[mine], "out": out[mine]})
    counts = seen_ware.group_by("window", "mould").agg(
        pl.len().alias("inspected"), pl.col("out").sum().alias("rejected")
    )
    state.counts.append(_full_windows(plan, counts, station.id))
    state.calls.append(calls.with_columns(station=pl.lit(station.id)))
    state.alive[rejected] = False


def _mould_read(
    plan: Plan, line_plan: LinePlan, ware: Ware, station: Station, again: bool, rng: np.random.Generator
) -> np.ndarray:
    """Index of the mould that the station reads from each container, -1 where it reads none."""
    unread = plan.rough.unread.get(station.id, line_plan.unread)
    read = (rng.random(len(ware.formed)) >= unread) & reads_moulds(station.id)
    mould = np.where(read, ware.mould, -1)
    for pair in (look_alike for look_alike in plan.look_alikes if look_alike.line == line_plan.line):
        seed = [plan.seed, 46, list(plan.plant.stations).index(station.id), pair.mould, int(again)]
        drawn = np.random.default_rng(seed)
        both = read & (ware.mould == pair.mould) & (ware.formed >= pair.start) & (ware.formed < pair.end)
        mould[np.flatnonzero(both)[drawn.random(int(both.sum())) < pair.share]] = pair.read_as
    return mould


def _overlooked(
    plan: Plan,
    ware: Ware,
    station: Station,
    container: np.ndarray,
    of_defect: np.ndarray,
    chance: np.ndarray,
    dim: Dimmed,
) -> np.ndarray:
    """Which defects a dimmed station would have found and does not."""
    rng = np.random.default_rng([plan.seed, 8, list(plan.plant.stations).index(station.id), dim.start])
    time = ware.arrives[container] + station.after_minutes
    whole = chance[list(plan.plant.defects).index(dim.defect)]
    lost: np.ndarray = (
        of_defect & (time >= dim.start) & (time < dim.end) & (rng.random(len(container)) >= dim.chance / whole)
    )
    return lost


def _full_windows(plan: Plan, counts: pl.DataFrame, station: str) -> pl.DataFrame:
    """Windows with nothing to say are still sent: at least the row without a mould number."""
    last = plan.minutes * 60 // plan.rough.window_s(station, plan.window_s)
    blank = pl.DataFrame({"window": np.arange(last), "mould": np.full(last, -1)})
    frame = counts.join(blank, on=["window", "mould"], how="full", coalesce=True)
    return frame.with_columns(
        pl.col("inspected", "rejected").fill_null(0).cast(pl.Int64), station=pl.lit(station)
    ).sort("window", "mould")


def _false_calls(
    plan: Plan,
    ware: Ware,
    station: Station,
    mine: np.ndarray,
    codes: list[str],
    seen: np.ndarray,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    passing = np.flatnonzero(mine)
    able, rates = np.flatnonzero(seen), plan.rough.false_rates[station.id]
    chosen = passing[rng.random(len(passing)) < rates.sum()]
    uneven = plan.rough.strength.false_calls is not None
    at, kinds = [chosen], [rng.choice(able, len(chosen), p=rates[able] / rates[able].sum() if uneven else None)]
    for fault in plan.faults:
        if fault.scope == "station" and station.id in fault.members:
            time = ware.arrives[passing]
            extra = (time >= fault.start) & (time < fault.end) & (rng.random(len(passing)) < fault.factor * 0.0015)
            at.append(passing[extra])
            kinds.append(np.full(int(extra.sum()), codes.index(fault.defect)))
    return np.concatenate(at), np.concatenate(kinds)
