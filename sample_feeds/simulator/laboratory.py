"""The laboratory of the invented works: capacity by weighing water, glass density, temper numbers, a person's samples,
hot weighings.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.line import LineRun
from sample_feeds.simulator.logs import gob_mass_g
from sample_feeds.simulator.plan import Plan

AIR_G_ML, WEIGHTS_G_ML = 0.0012, 8.0
DENSITY_SD = 0.00015  # g/cm3, of one reading
MOULD_SHARE = 0.0012  # standard deviation of the moulds' volumes, of the capacity
PAST_DAYS = 20
EVERY_MIN = 480
LANES = ("left", "middle", "right")
SETTLES_C, STANDARD_G_CM3 = 34.20, 2.4980


def density_g_cm3(plan: Plan, furnace: str, minute: float) -> float:
    """True density of a furnace's glass at a minute of the plan."""
    steps = [s.by_g_cm3 for s in plan.density_steps if s.furnace == furnace and s.minute <= minute]
    return plan.plant.furnaces[furnace].density_g_cm3 + sum(steps)


def density_checks(plan: Plan) -> pl.DataFrame:
    """One reading a day and furnace, also of the weeks before: the first furnace by sink-float, the others direct."""
    rng = np.random.default_rng([plan.seed, 11])
    rows = []
    first = int((plan.cold_from - plan.start).total_seconds() / 60) + 120
    for minute in range(first - PAST_DAYS * 1440, plan.minutes, 1440):
        for number, furnace in enumerate(plan.plant.furnaces):
            read = density_g_cm3(plan, furnace, minute) + float(rng.normal(0, DENSITY_SD))
            rows.append(
                {"sampled_at": plan.at(minute), "furnace": furnace, **_read_as(plan, read, number == 0), "by": "lab"}
            )
    names = ("density_g_cm3", "standard_g_cm3", "standard_settles_c", "sample_settles_c")
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides=dict.fromkeys(names, pl.Float64))


def _read_as(plan: Plan, density: float, compared: bool) -> dict[str, float | None]:
    per_c = plan.plant.laboratory.sink_float_g_cm3_per_c
    if not compared or per_c is None:
        return {
            "density_g_cm3": round(density, 4),
            "standard_g_cm3": None,
            "standard_settles_c": None,
            "sample_settles_c": None,
        }
    settles = round(SETTLES_C + (STANDARD_G_CM3 - density) / per_c, 2)
    return {
        "density_g_cm3": None,
        "standard_g_cm3": STANDARD_G_CM3,
        "standard_settles_c": SETTLES_C,
        "sample_settles_c": settles,
    }


def water_g_ml(water_c: float) -> float:
    """Density of water, 0 to 100 degrees: Kell, Journal of Chemical and Engineering Data 20 (1975) 97, another formula
    than the one that is tested.
    """
    t = water_c
    above = (
        999.83952
        + 16.945176 * t
        - 7.9870401e-3 * t**2
        - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    )
    return above / (1 + 16.879850e-3 * t) / 1000


def capacity_checks(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    """Every eight hours some moulds of each line, one container each; twelve where the item is a measuring
    container.
    """
    parts = [_capacities(plan, run, number) for number, run in enumerate(runs.values())]
    return pl.concat(parts)


def _capacities(plan: Plan, run: LineRun, number: int) -> pl.DataFrame:
    rng = np.random.default_rng([plan.seed, 12, number])
    mass, rows, seen = gob_mass_g(plan, run), [], 0
    furnace = plan.plant.lines[run.plan.line].furnace
    off = rng.normal(0, MOULD_SHARE, len(run.moulds))
    for minute in range(330, plan.minutes, EVERY_MIN):
        formed = int(minute - run.ware.lag[max(0, minute - 100)])
        moulds = _fitted(run, formed)
        some = (
            min(len(moulds), 12 if plan.plant.items[run.items[moulds[0][1]]].measuring_container else 6)
            if moulds
            else 0
        )
        for cavity, mould in [moulds[(seen + n) % len(moulds)] for n in range(some)]:
            empty = float(mass[formed, cavity] + rng.normal(0, 0.5))
            row = _filled(plan, run, mould, empty, off[mould], density_g_cm3(plan, furnace, formed), rng)
            where = {"sampled_at": plan.at(minute), "line": run.plan.line, "mould": run.moulds[mould], "sample": 1}
            rows.append({**where, **row, "by": "lab"})
        seen += some
    return pl.DataFrame(rows, infer_schema_length=None)


def _filled(
    plan: Plan, run: LineRun, mould: int, empty: float, off: float, density: float, rng: np.random.Generator
) -> dict[str, Any]:
    """One container weighed empty and with water: the mould's volume less the glass, as two readings of a balance."""
    item = plan.plant.items[run.items[mould]]
    nominal = item.capacity_ml or item.weight_g
    glass = item.weight_g / plan.plant.furnaces[plan.plant.lines[run.plan.line].furnace].density_g_cm3
    holds = nominal * (1 + off) + glass - empty / density
    water_c = round(float(rng.normal(21.0, 0.6)), 1)
    water = holds * (water_g_ml(water_c) - AIR_G_ML) / (1 - AIR_G_ML / WEIGHTS_G_ML) + float(rng.normal(0, 0.1))
    return {"empty_g": round(empty, 1), "filled_g": round(empty + water, 1), "water_c": water_c, "fill": item.fill}


def _fitted(run: LineRun, formed: int) -> list[tuple[int, int]]:
    """(cavity, number of its mould) of the cavities that cut gobs at a minute."""
    if formed < 0:
        return []
    found = []
    for cavity in np.flatnonzero(run.ware.cut[formed]):
        mould = max(n for n, f in enumerate(run.plan.fittings) if f.cavity == cavity and f.minute <= formed)
        found.append((int(cavity), mould))
    return found


def temper_checks(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    """Every eight hours a container of each lane of each lehr. The last line forgets one; the second's right lane cools
    too fast at the end.
    """
    rng = np.random.default_rng([plan.seed, 13])
    rows = []
    lines = list(runs)
    for number, line in enumerate(lines):
        for turn, minute in enumerate(range(345, plan.minutes, EVERY_MIN)):
            if line == lines[-1] and turn == 1:
                continue
            hot = number == 1 and minute > plan.minutes - 2 * EVERY_MIN
            moulds = _fitted(runs[line], int(minute - runs[line].ware.lag[max(0, minute - 100)]))
            for lane in LANES:
                strain = float(rng.normal(2.2, 0.3)) + (2.6 if hot and lane == LANES[-1] else 0)
                mould = runs[line].moulds[moulds[int(rng.integers(len(moulds)))][1]] if moulds else None
                rows.append(
                    {
                        "sampled_at": plan.at(minute),
                        "line": line,
                        "mould": mould,
                        "lane": lane,
                        "temper": round(strain * 2) / 2,
                        "by": "lab",
                    }
                )
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"mould": pl.String})


def visual_checks(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    """Every two hours somebody looks at packed ware of each line; finds each defect as often as the line let it get
    past.
    """
    rng = np.random.default_rng([plan.seed, 14])
    rows: list[dict[str, Any]] = []
    for line, run in runs.items():
        packed = max(1, int((run.packed >= 0).sum()))
        past = run.defects.filter((pl.col("pallet_no") >= 0) & pl.col("station").is_null())
        shares = {code: past.filter(pl.col("defect") == code).height / packed for code in plan.plant.defects}
        for minute in range(360, plan.minutes, 120):
            moulds = _fitted(run, int(minute - run.ware.lag[max(0, minute - 100)]))
            for item in dict.fromkeys(run.items[mould] for _, mould in moulds):
                row = {"sampled_at": plan.at(minute), "line": line, "item": item}
                found = [(code, int(rng.binomial(125, share))) for code, share in shares.items()]
                rows += [
                    {**row, "defect": code, "sample_units": 125, "found": n, "by": "shift"} for code, n in found if n
                ]
                if not any(n for _, n in found):
                    rows.append({**row, "defect": None, "sample_units": 125, "found": 0, "by": "shift"})
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"defect": pl.String})


def hot_weights(plan: Plan, run: LineRun, number: int) -> pl.DataFrame:
    """Every hour each mould of every other line, weighed right after forming; the first line's scale there reads a
    little high.
    """
    rng = np.random.default_rng([plan.seed, 15, number])
    mass, rows = gob_mass_g(plan, run), []
    bias = 0.4 if number == 0 else 0.0
    for minute in range(310, plan.minutes, 60) if number % 2 == 0 else ():
        for cavity, mould in _fitted(run, minute):
            grams = round(float(mass[minute, cavity] + bias + rng.normal(0, 0.5)), 1)
            rows.append(
                {
                    "sampled_at": plan.at(minute),
                    "line": run.plan.line,
                    "point": "hot",
                    "mould": run.moulds[mould],
                    "sample": 1,
                    "weight_g": grams,
                    "by": None,
                }
            )
    schema: dict[str, Any] = {
        "sampled_at": pl.Datetime("us", "UTC"),
        "line": pl.String,
        "point": pl.String,
        "mould": pl.String,
        "sample": pl.Int64,
        "weight_g": pl.Float64,
        "by": pl.String,
    }
    return pl.DataFrame(rows, schema=schema)
