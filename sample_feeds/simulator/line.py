"""One line: gobs cut, ware through the lehr, calls at the stations, pallets. Every container is followed."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import product

import numpy as np
import polars as pl

from sample_feeds.simulator.inspection import Ware, inspect_ware, refeed
from sample_feeds.simulator.palletising import to_palletisers
from sample_feeds.simulator.plan import DISPERSION, LinePlan, Plan, PlannedFault
from sample_feeds.simulator.rough import is_fault, rate_factor

HOT_REJECT = 0.008
BASE_RATE = {"critical": 0.00006, "major": 0.0011, "minor": 0.0016}


@dataclass
class LineRun:
    """What one line did: the feeds' counts and the truth. `calls` and `defects` are one row a call and a defect;
    `chance` by
    station: with what chance it finds each defect; `refed`: containers sent through a second time; `rates` by defect of
    plan.rates_of: its probability at [minute, cavity].
    """

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
    refed: np.ndarray = field(default_factory=lambda: np.empty(0, np.int64))


def run_line(plan: Plan, line: str) -> LineRun:
    """Run a line from its plan; a generator of its own makes each line's course independent of the others."""
    rng = np.random.default_rng([plan.seed, 2, list(plan.lines).index(line)])
    line_plan = plan.lines[line]
    moulds, items, fitted = _fitted(line_plan, plan.minutes)
    ware = _form(plan, line_plan, fitted, rng)
    container, defect, rates = _defects(plan, line_plan, ware, rng)
    fallen = np.random.default_rng([plan.seed, 6, list(plan.lines).index(line)])
    flaws = container, defect
    state = inspect_ware(plan, line_plan, ware, flaws, rng, fallen)
    if plan.rough.strength.refed:
        ware, state = refeed(plan, line_plan, ware, flaws, state, fallen)
    alive, counts, calls = state.alive, pl.concat(state.counts), pl.concat(state.calls)
    alive &= fallen.random(len(alive)) >= plan.broken
    pallet_of, pallets = _pack(plan, line_plan, ware, alive, items)
    truth = _truth(plan, line_plan, ware, moulds, container, defect, calls, pallet_of)
    run = LineRun(line_plan, ware, moulds, items, counts, calls, truth, pallets, pallet_of, alive, state.chance, rates)
    run.refed = state.refed
    return run


def _fitted(plan: LinePlan, minutes: int) -> tuple[list[str], list[str], np.ndarray]:
    """Mould numbers, their items, and the index of the mould at each [minute, cavity]."""
    index = np.zeros((minutes, len(plan.cavities)), np.int32)
    for number, fitting in enumerate(plan.fittings):
        index[max(0, fitting.minute) :, fitting.cavity] = number
    return [f.number for f in plan.fittings], [f.item for f in plan.fittings], index


def _form(plan: Plan, line_plan: LinePlan, fitted: np.ndarray, rng: np.random.Generator) -> Ware:
    minutes, width = fitted.shape
    ticks = np.floor(np.arange(minutes + 1)[:, None] * line_plan.per_minute + rng.random((1, width)))
    cut: np.ndarray = np.diff(ticks, axis=0).astype(np.int64)
    hot = rng.binomial(cut, HOT_REJECT)
    for stop in line_plan.stops:
        mine = [c for c, (section, _) in enumerate(line_plan.cavities) if stop.section in (0, section)]
        lo, hi, warm = max(0, stop.start), max(0, stop.end), max(0, stop.end + 8)
        cut[lo:hi, mine] = 0
        hot[lo:hi, mine] = 0
        hot[hi:warm, mine] = cut[hi:warm, mine]  # ware of the first minutes after a stop goes to cullet
    good = (cut - hot).ravel()
    cell = np.repeat(np.arange(good.size), good)
    minute, cavity = np.divmod(cell, width)
    formed = minute + rng.random(len(cell))
    lag = _lehr(plan, line_plan, minutes, rng)
    arrives = formed + lag[minute] + rng.normal(0, 1.2, len(cell))
    return Ware(cut, hot, lag, cavity, fitted.ravel()[cell], formed, arrives, np.cumsum(good) - good)


def _lehr(plan: Plan, line_plan: LinePlan, minutes: int, rng: np.random.Generator) -> np.ndarray:
    """Lehr time of ware formed at each minute: nominal, an offset, and a slow wander of about two minutes."""
    step, pull = rng.normal(0, 0.06, minutes), 0.0008
    wander = np.zeros(minutes)
    for minute in range(1, minutes):
        wander[minute] = wander[minute - 1] * (1 - pull) + step[minute]
    nominal = plan.plant.lines[line_plan.line].lehr_minutes
    return np.maximum(30.0, nominal + line_plan.lag_offset + wander)


def _rates(plan: Plan, line_plan: LinePlan, code: str, minutes: int, rng: np.random.Generator) -> np.ndarray:
    """Probability of a defect at [minute, cavity]: the works' level, the cavity's habit, the hour's mood, the
    faults.
    """
    width = len(line_plan.cavities)
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
        sections = np.array([section for section, _ in line_plan.cavities])
        numbers = list(plan.lines).index(line_plan.line), list(plan.plant.defects).index(code)
        stops = [(stop.section, stop.end) for stop in line_plan.stops]
        rate *= rate_factor(rough, *numbers, kind.origin, minutes, sections, stops)
    for fault in plan.faults:
        if fault.defect == code and fault.scope != "station":
            _apply(fault, line_plan, rate)
    for effect in plan.part_effects:
        if (effect.line, effect.defect) == (line_plan.line, code):
            rate[fitted_with(line_plan, effect.number, minutes)] *= effect.factor
    return np.minimum(rate, 0.5)


def fitted_with(plan: LinePlan, number: str, minutes: int) -> np.ndarray:
    """Where a mould number is fitted, at [minute, cavity]."""
    there = np.zeros((minutes, len(plan.cavities)), bool)
    for fitting in plan.fittings:
        there[max(0, fitting.minute) :, fitting.cavity] = fitting.number == number
    return there


def _apply(fault: PlannedFault, plan: LinePlan, rate: np.ndarray) -> None:
    mine = [c for c, (s, g) in enumerate(plan.cavities) if f"{plan.line}/{s}{g}" in fault.members]
    if mine:
        length = len(rate[fault.start : fault.end])
        growth = np.linspace(1, fault.factor, length) if fault.drift else np.full(length, fault.factor)
        rate[fault.start : fault.end, mine] *= growth[:, None]


def _defects(
    plan: Plan, line_plan: LinePlan, ware: Ware, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Which containers have which defect: container numbers and defect numbers; and the rates that are to be kept."""
    good = (ware.cut - ware.hot).ravel()
    containers, kinds = [], []
    kept: dict[str, np.ndarray] = {}
    for number, code in enumerate(plan.plant.defects):
        if not is_fault(plan.plant, code):
            continue
        rates = _rates(plan, line_plan, code, len(ware.cut), rng)
        if code in plan.rates_of:
            kept[code] = rates
        count = rng.binomial(good, rates.ravel())
        cells = np.repeat(np.flatnonzero(count), count[count > 0])
        chosen = np.unique(ware.starts[cells] + (rng.random(len(cells)) * good[cells]).astype(np.int64))
        containers.append(chosen)
        kinds.append(np.full(len(chosen), number))
    return np.concatenate(containers), np.concatenate(kinds), kept


def _pack(
    plan: Plan, line_plan: LinePlan, ware: Ware, alive: np.ndarray, items: list[str]
) -> tuple[np.ndarray, pl.DataFrame]:
    """The pallet of each container (-1: none, or a pallet still open at the end) and the pallets."""
    last = plan.plant.stations_of(line_plan.line)[-1].after_minutes + line_plan.pack_after
    time, palletiser = to_palletisers(plan, line_plan, ware.arrives + last, alive)
    pallet_of = np.full(len(time), -1, np.int64)
    item_of = np.array(items)[ware.mould]
    rows: list[dict[str, object]] = []
    for item, at in product(dict.fromkeys(items), range(plan.rough.strength.palletisers)):
        good = np.flatnonzero(alive & (item_of == item) & (palletiser == at))
        good = good[np.argsort(time[good], kind="stable")]
        size = plan.plant.items[item].units_per_pallet or 1000
        done = item not in _running(line_plan, items)  # the last pallet of an ended job is closed as it stands
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


def _running(plan: LinePlan, items: list[str]) -> set[str]:
    """The items that are still made when the plan ends."""
    last = {fitting.cavity: items[number] for number, fitting in enumerate(plan.fittings)}
    return set(last.values())


def _truth(
    plan: Plan,
    line_plan: LinePlan,
    ware: Ware,
    moulds: list[str],
    container: np.ndarray,
    defect: np.ndarray,
    calls: pl.DataFrame,
    pallet_of: np.ndarray,
) -> pl.DataFrame:
    """One row a true defect: where and when it was formed, which station called it, or which pallet it escaped to."""
    codes = list(plan.plant.defects)
    sections = np.array([s for s, _ in line_plan.cavities])[ware.cavity[container]]
    gobs = np.array([g for _, g in line_plan.cavities])[ware.cavity[container]]
    caught = calls.filter(pl.col("real") & ~pl.lit(pallet_of >= 0).gather(pl.col("container")))
    caught = caught.unique(["container", "defect"], keep="last", maintain_order=True).select(
        "container", "defect", "station"
    )
    frame = pl.DataFrame(
        {
            "container": container,
            "defect": defect,
            "line": [line_plan.line] * len(container),
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
