"""One line: gobs cut, ware through the lehr, calls at the stations, pallets. Every container is followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.plant import Station
from sample_feeds.simulator.plan import DISPERSION, Dimmed, Fault, LinePlan, Plan
from sample_feeds.simulator.rough import rate_factor

HOT_REJECT = 0.008
BASE_RATE = {"critical": 0.00006, "major": 0.0011, "minor": 0.0016}
READS_MOULDS = ("side", "mouth")  # which of the invented stations can read a mould number


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
class LineRun:
    """What one line did: the feeds' counts and the truth. `calls` and `defects` are one row a call and a defect; `chance` by
    station: with what chance it finds each defect; `rates` by defect of plan.rates_of: its probability at [minute, cavity]."""

    plan: LinePlan
    ware: Ware
    moulds: list[str]
    items: list[str]
    counts: pl.DataFrame
    calls: pl.DataFrame
    defects: pl.DataFrame
    pallets: pl.DataFrame
    packed: np.ndarray
    good: np.ndarray
    chance: dict[str, np.ndarray]
    rates: dict[str, np.ndarray]


def run_line(plan: Plan, line: str) -> LineRun:
    """Run a line from its plan; a generator of its own makes each line's course independent of the others."""
    rng = np.random.default_rng([plan.seed, 2, list(plan.lines).index(line)])
    told = plan.lines[line]
    moulds, items, fitted = _fitted(told, plan.minutes)
    ware = _form(plan, told, fitted, rng)
    container, defect, rates = _defects(plan, told, ware, rng)
    fallen = np.random.default_rng([plan.seed, 6, list(plan.lines).index(line)])
    state = _inspect(plan, told, ware, container, defect, moulds, rng, fallen)
    alive, counts, calls = state.alive, pl.concat(state.counts), pl.concat(state.calls)
    alive &= fallen.random(len(alive)) >= plan.broken
    pallet_of, pallets = _pack(plan, told, ware, alive, items)
    truth = _truth(plan, told, ware, moulds, container, defect, calls, pallet_of)
    return LineRun(told, ware, moulds, items, counts, calls, truth, pallets, pallet_of, alive, state.chance, rates)


def _fitted(told: LinePlan, minutes: int) -> tuple[list[str], list[str], np.ndarray]:
    """Mould numbers, their items, and the index of the mould at each [minute, cavity]."""
    index = np.zeros((minutes, len(told.cavities)), np.int32)
    for number, fitting in enumerate(told.fittings):
        index[max(0, fitting.minute) :, fitting.cavity] = number
    return [f.number for f in told.fittings], [f.item for f in told.fittings], index


def _form(plan: Plan, told: LinePlan, fitted: np.ndarray, rng: np.random.Generator) -> Ware:
    minutes, width = fitted.shape
    ticks = np.floor(np.arange(minutes + 1)[:, None] * told.per_minute + rng.random((1, width)))
    cut: np.ndarray = np.diff(ticks, axis=0).astype(np.int64)
    hot = rng.binomial(cut, HOT_REJECT)
    for stop in told.stops:
        mine = [c for c, (section, _) in enumerate(told.cavities) if stop.section in (0, section)]
        lo, hi, warm = max(0, stop.start), max(0, stop.end), max(0, stop.end + 8)
        cut[lo:hi, mine] = 0
        hot[lo:hi, mine] = 0
        hot[hi:warm, mine] = cut[hi:warm, mine]  # ware of the first minutes after a stop goes to cullet
    good = (cut - hot).ravel()
    cell = np.repeat(np.arange(good.size), good)
    minute, cavity = np.divmod(cell, width)
    formed = minute + rng.random(len(cell))
    lag = _lehr(plan, told, minutes, rng)
    arrives = formed + lag[minute] + rng.normal(0, 1.2, len(cell))
    return Ware(cut, hot, lag, cavity, fitted.ravel()[cell], formed, arrives, np.cumsum(good) - good)


def _lehr(plan: Plan, told: LinePlan, minutes: int, rng: np.random.Generator) -> np.ndarray:
    """Lehr time of ware formed at each minute: nominal, an offset, and a slow wander of about two minutes."""
    step, pull = rng.normal(0, 0.06, minutes), 0.0008
    wander = np.zeros(minutes)
    for minute in range(1, minutes):
        wander[minute] = wander[minute - 1] * (1 - pull) + step[minute]
    nominal = plan.plant.lines[told.line].lehr_minutes
    return np.maximum(30.0, nominal + told.lag_offset + wander)


def _rates(plan: Plan, told: LinePlan, code: str, minutes: int, rng: np.random.Generator) -> np.ndarray:
    """Probability of a defect at [minute, cavity]: the works' level, the cavity's habit, the hour's mood, the faults."""
    width = len(told.cavities)
    severity = plan.plant.defects[code].severity
    level = BASE_RATE[severity] * float(rng.lognormal(0, 0.5))
    habit = rng.lognormal(0, 0.45, width)
    hours = -(-minutes // 60)
    rough, kind = plan.rough, plan.plant.defects[code]
    spread = DISPERSION if rough.strength.mood is None else rough.strength.mood
    rate = np.broadcast_to(level * habit[None, :], (minutes, width)).copy()
    if spread:
        rate *= np.repeat(rng.gamma(1 / spread**2, spread**2, (hours, width)), 60, axis=0)[:minutes]
    if rough.moves:
        sections = np.array([section for section, _ in told.cavities])
        numbers = list(plan.lines).index(told.line), list(plan.plant.defects).index(code)
        rate *= rate_factor(rough, *numbers, kind.origin, minutes, sections)
    for fault in plan.faults:
        if fault.defect == code and fault.scope != "station":
            _apply(fault, told, rate)
    return np.minimum(rate, 0.5)


def _apply(fault: Fault, told: LinePlan, rate: np.ndarray) -> None:
    mine = [c for c, (s, g) in enumerate(told.cavities) if f"{told.line}/{s}{g}" in fault.members]
    if mine:
        length = len(rate[fault.start : fault.end])
        growth = np.linspace(1, fault.factor, length) if fault.drift else np.full(length, fault.factor)
        rate[fault.start : fault.end, mine] *= growth[:, None]


def _defects(
    plan: Plan, told: LinePlan, ware: Ware, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Which containers have which defect: container numbers and defect numbers; and the rates that are to be kept."""
    good = (ware.cut - ware.hot).ravel()
    containers, kinds = [], []
    kept: dict[str, np.ndarray] = {}
    for number, code in enumerate(plan.plant.defects):
        rates = _rates(plan, told, code, len(ware.cut), rng)
        if code in plan.rates_of:
            kept[code] = rates
        count = rng.binomial(good, rates.ravel())
        cells = np.repeat(np.flatnonzero(count), count[count > 0])
        chosen = np.unique(ware.starts[cells] + (rng.random(len(cells)) * good[cells]).astype(np.int64))
        containers.append(chosen)
        kinds.append(np.full(len(chosen), number))
    return np.concatenate(containers), np.concatenate(kinds), kept


@dataclass
class _Pass:
    """The state of the inspection while the ware goes from station to station."""

    alive: np.ndarray
    counts: list[pl.DataFrame]
    calls: list[pl.DataFrame]
    chance: dict[str, np.ndarray]


def _inspect(
    plan: Plan,
    told: LinePlan,
    ware: Ware,
    container: np.ndarray,
    defect: np.ndarray,
    moulds: list[str],
    rng: np.random.Generator,
    fallen: np.random.Generator,
) -> _Pass:
    state = _Pass(np.ones(len(ware.formed), bool), [], [], {})
    stations = plan.plant.stations_of(told.line)
    for order in sorted({station.order for station in stations}):
        lanes = [station for station in stations if station.order == order]
        lane = rng.integers(len(lanes), size=len(ware.formed))
        state.alive &= fallen.random(len(state.alive)) >= plan.broken
        here = state.alive.copy()
        for number, station in enumerate(lanes):
            mine = here & (lane == number)
            _at_station(plan, told, ware, station, mine, container, defect, moulds, state, rng)
    return state


def _at_station(
    plan: Plan,
    told: LinePlan,
    ware: Ware,
    station: Station,
    mine: np.ndarray,
    container: np.ndarray,
    defect: np.ndarray,
    moulds: list[str],
    state: _Pass,
    rng: np.random.Generator,
) -> None:
    codes = list(plan.plant.defects)
    seen = np.array([station.can_call(code) for code in codes])
    chance = np.where(seen, np.clip(rng.normal(0.97, 0.02, len(codes)), 0.85, 0.999), 0.0)
    chance = plan.rough.detection.get(station.id, chance)
    state.chance[station.id] = chance
    hit = mine[container] & (rng.random(len(container)) < chance[defect])
    for dim in (dim for dim in plan.dimmed if dim.station == station.id):
        hit &= ~_overlooked(plan, ware, station, container, defect == codes.index(dim.defect), chance, dim)
    false_at, false_kind = _false_calls(plan, ware, station, mine, codes, seen, rng)
    called = np.concatenate([container[hit], false_at])
    kind = np.concatenate([defect[hit], false_kind])
    real = np.concatenate([np.ones(int(hit.sum()), bool), np.zeros(len(false_at), bool)])
    reads = station.id.split("-")[1] in READS_MOULDS
    read = (rng.random(len(ware.formed)) >= told.unread) & reads
    window_s = plan.rough.window_s(station.id, plan.window_s)
    window = np.floor((ware.arrives + station.after_minutes) * 60 / window_s).astype(np.int64)
    mould = np.where(read, ware.mould, -1)
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
    state.counts.append(_full_windows(plan, counts, reads, station.id))
    state.calls.append(calls.with_columns(station=pl.lit(station.id)))
    state.alive[rejected] = False


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


def _full_windows(plan: Plan, counts: pl.DataFrame, reads: bool, station: str) -> pl.DataFrame:
    """Windows with nothing to say are still sent: at least the row without a mould number."""
    last = plan.minutes * 60 // plan.rough.window_s(station, plan.window_s)
    blank = pl.DataFrame({"window": np.arange(last), "mould": np.full(last, -1)})
    told = counts.join(blank, on=["window", "mould"], how="full", coalesce=True)
    return told.with_columns(pl.col("inspected", "rejected").fill_null(0).cast(pl.Int64), station=pl.lit(station)).sort(
        "window", "mould"
    )


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


def _pack(
    plan: Plan, told: LinePlan, ware: Ware, alive: np.ndarray, items: list[str]
) -> tuple[np.ndarray, pl.DataFrame]:
    """The pallet of each container (-1: none, or a pallet still open at the end) and the pallets."""
    last = plan.plant.stations_of(told.line)[-1].after_minutes + told.pack_after
    time = ware.arrives + last
    pallet_of = np.full(len(time), -1, np.int64)
    item_of = np.array(items)[ware.mould]
    rows: list[dict[str, object]] = []
    for item in dict.fromkeys(items):
        good = np.flatnonzero(alive & (item_of == item))
        good = good[np.argsort(time[good], kind="stable")]
        size = plan.plant.items[item].units_per_pallet or 1000
        done = item not in _running(told, items)  # the last pallet of an ended job is closed as it stands
        for start in range(0, len(good) if done else len(good) - size + 1, size):
            members = good[start : start + size]
            pallet_of[members] = len(rows)
            rows.append(
                {
                    "item": item,
                    "from_min": time[members[0]],
                    "to_min": time[members[-1]],
                    "units": len(members),
                }
            )
    schema = {"item": pl.String, "from_min": pl.Float64, "to_min": pl.Float64, "units": pl.Int64}
    return pallet_of, pl.DataFrame(rows, schema=schema)


def _running(told: LinePlan, items: list[str]) -> set[str]:
    """The items that are still made when the plan ends."""
    last = {fitting.cavity: items[number] for number, fitting in enumerate(told.fittings)}
    return set(last.values())


def _truth(
    plan: Plan,
    told: LinePlan,
    ware: Ware,
    moulds: list[str],
    container: np.ndarray,
    defect: np.ndarray,
    calls: pl.DataFrame,
    pallet_of: np.ndarray,
) -> pl.DataFrame:
    """One row a true defect: where and when it was formed, which station called it, or which pallet it escaped to."""
    codes = list(plan.plant.defects)
    sections = np.array([s for s, _ in told.cavities])[ware.cavity[container]]
    gobs = np.array([g for _, g in told.cavities])[ware.cavity[container]]
    caught = calls.filter(pl.col("real")).select("container", pl.col("defect"), "station")
    frame = pl.DataFrame(
        {
            "container": container,
            "defect": defect,
            "line": [told.line] * len(container),
            "section": sections,
            "gob": gobs,
            "mould": np.array(moulds)[ware.mould[container]],
            "formed_min": ware.formed[container],
            "arrives_min": ware.arrives[container],
            "pallet_no": pallet_of[container],
        }
    )
    told_of = frame.join(caught, on=["container", "defect"], how="left", maintain_order="left")
    return told_of.with_columns(pl.Series("defect", [codes[d] for d in defect]))
