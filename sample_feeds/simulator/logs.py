"""The logs and checks around the lines: melt, moulds, jobs, stops, weighings, challenges, complaints."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.plant.tables import Station
from sample_feeds.simulator.line import LineRun
from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.rough import STEP_MIN, ar1

READ_EVERY_MIN = 10
CORRECTED_DAYS = 4.0  # how long a gob weight drifts before somebody corrects the feeder
SPREAD_G = 0.5  # standard deviation of single containers about their mould's mean, in a tidy works
UNSEEN_LOSS = 0.004  # glass melted that no counter ever sees: drained, dropped before the shears


def gob_mass_g(plan: Plan, run: LineRun) -> np.ndarray:
    """True mean mass of a gob at [minute, cavity]: nominal, the mould's own offset, the feeder's drift."""
    weights = {i.id: i.weight_g for i in plan.plant.item}
    offsets = np.random.default_rng([plan.seed, 4, list(plan.lines).index(run.plan.line)]).normal(
        0, 0.004, len(run.moulds)
    )
    index = np.zeros(run.ware.cut.shape, np.int64)
    for number, fitting in enumerate(run.plan.fittings):
        index[max(0, fitting.minute) :, fitting.cavity] = number
    nominal = np.array([weights[item] for item in run.items]) * (1 + offsets)
    drifting = np.array([gob == run.plan.drift_gob for _, gob in run.plan.cavities])
    days = np.arange(len(index))[:, None] / 1440 % CORRECTED_DAYS
    return (
        nominal[index]
        + run.plan.drift_g_per_day * days * drifting[None, :]
        + _planned_drift(plan, run)
        + _wander_g(plan, run)
    )


def _planned_drift(plan: Plan, run: LineRun) -> np.ndarray:
    """Grams that the plan's drifts add at [minute, cavity]."""
    minute, added = np.arange(len(run.ware.cut)), np.zeros(run.ware.cut.shape)
    for drift in (gob_drift for gob_drift in plan.gob_drifts if gob_drift.line == run.plan.line):
        grown = np.clip((minute - drift.start) / max(1, drift.end - drift.start), 0, 1) * (minute < drift.until)
        mine = np.array([gob == drift.gob for _, gob in run.plan.cavities])
        added += drift.grams * grown[:, None] * mine[None, :]
    return added


def _wander_g(plan: Plan, run: LineRun) -> np.ndarray | float:
    """Grams by which the gobs of each cavity wander, at [minute, cavity]."""
    strength, (minutes, width) = plan.rough.strength, run.ware.cut.shape
    if not strength.weight_wander_g:
        return 0.0
    rng = np.random.default_rng([plan.seed, 52, list(plan.lines).index(run.plan.line)])
    constant = float(rng.uniform(*strength.wander_hours)) * 60 / STEP_MIN
    steps = ar1(rng, -(-minutes // STEP_MIN), width, strength.weight_wander_g, constant)
    values: np.ndarray = np.repeat(steps, STEP_MIN, axis=0)[:minutes]
    return values


def spread_g(plan: Plan, line: str) -> np.ndarray:
    """Standard deviation of single containers about their mould's mean [g], by fitting."""
    strength, fittings = plan.rough.strength, plan.lines[line].fittings
    if strength.weight_sd_g is None:
        return np.full(len(fittings), SPREAD_G)
    rng = np.random.default_rng([plan.seed, 53, list(plan.lines).index(line)])
    return rng.uniform(*strength.weight_sd_g, len(fittings))


def melt_log(plan: Plan, runs: dict[str, LineRun], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    hours = plan.minutes // 60
    for furnace in plan.plant.furnace:
        mine = [run for line, run in runs.items() if plan.plant.lines[line].furnace == furnace.id]
        pulled = sum((run.ware.cut * gob_mass_g(plan, run) / 1000).sum(axis=1) for run in mine)
        per_hour = np.asarray(pulled)[: hours * 60].reshape(hours, 60).sum(axis=1) / (
            1 - plan.unseen.get(furnace.id, UNSEEN_LOSS)
        )
        for hour in range(hours):
            level = float(rng.normal(0, 0.15))
            melted = per_hour[hour] + level / 1000 * furnace.surface_m2 * furnace.density_g_cm3 * 1000
            batch = max(melted, 0) * 0.55 / (1 - 0.031) / (1 - 0.172)
            values = {
                "batch_kg": round(batch, 1),
                "moisture_pct": 3.1,
                "loss_pct": 17.2,
                "cullet_kg": round(max(melted, 0) * 0.45, 1),
            }
            rows.append(
                {
                    "window_start": plan.at(hour * 60),
                    "furnace": furnace.id,
                    "window_s": 3600,
                    **values,
                    "level_change_mm": round(level, 2),
                }
            )
    return pl.DataFrame(rows)


def mould_log(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    rows = []
    for line, run in runs.items():
        several = any(not item for _, _, item in run.plan.jobs)
        starts = {minute for minute, _, _ in run.plan.jobs}
        for fitting in run.plan.fittings:
            section, gob = run.plan.cavities[fitting.cavity]
            place = {"fitted_at": plan.at(fitting.minute), "line": line, "section": section, "gob": gob}
            rows.append(
                {
                    **place,
                    "part": "mould",
                    "number": fitting.number,
                    "item": fitting.item if several else None,
                }
            )
            if fitting.minute in starts:
                rows.append({**place, "part": "blank", "number": f"B{fitting.number}", "item": None})
                rows.append({**place, "part": "neck_ring", "number": f"R{fitting.number}", "item": None})
    return pl.DataFrame(rows, infer_schema_length=None).sort("fitted_at", "line", "section", "gob", "part")


def job_log(plan: Plan) -> pl.DataFrame:
    rows = [
        {"started_at": plan.at(minute), "line": line, "job": job, "item": item or None}
        for line, line_plan in plan.lines.items()
        for minute, job, item in line_plan.jobs
    ]
    return pl.DataFrame(rows, infer_schema_length=None).sort("started_at", "line")


def stoppages(plan: Plan) -> pl.DataFrame:
    rows = [
        {
            "stopped_at": plan.at(s.start),
            "line": line,
            "section": s.section or None,
            "restarted_at": plan.at(s.end),
            "cause": s.cause,
        }
        for line, line_plan in plan.lines.items()
        for s in line_plan.stops
    ]
    schema: dict[str, Any] = {
        "stopped_at": pl.Datetime("us", "UTC"),
        "line": pl.String,
        "section": pl.Int64,
        "restarted_at": pl.Datetime("us", "UTC"),
        "cause": pl.String,
    }
    return (
        pl.DataFrame(rows, schema=schema)
        .unique(["stopped_at", "line", "section"], keep="first")
        .sort("stopped_at", "line", "section")
    )


def weights(plan: Plan, run: LineRun, rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    mass, spread = gob_mass_g(plan, run), spread_g(plan, run.plan.line)
    for minute in range(300, plan.minutes, 30):
        formed = int(minute - run.ware.lag[max(0, minute - 100)])
        for cavity in range(len(run.plan.cavities)):
            if formed < 0 or not run.ware.cut[formed, cavity]:
                continue
            number = max(n for n, f in enumerate(run.plan.fittings) if f.cavity == cavity and f.minute <= formed)
            row = {
                "sampled_at": plan.at(minute),
                "line": run.plan.line,
                "point": "cold",
                "mould": run.moulds[number],
                "sample": 1,
            }
            rows.append(
                {**row, "weight_g": round(float(mass[formed, cavity] + rng.normal(0, spread[number])), 1), "by": None}
            )
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"by": pl.String})


def challenges(plan: Plan, runs: dict[str, LineRun], rng: np.random.Generator) -> pl.DataFrame:
    """Ten passes of a marked sample of every defect that is not minor, three times a day, found with the station's own
    chance.
    """
    rows = []
    numbers = {code: number for number, code in enumerate(plan.plant.defects)}
    for station in plan.plant.station:
        codes = [c for c in (station.sees or tuple(plan.plant.defects)) if plan.plant.defects[c].severity != "minor"]
        for minute in range(310, plan.minutes, 480):
            for code in codes:
                row = {
                    "checked_at": plan.at(minute),
                    "line": station.line,
                    "station": station.id,
                    "defect": code,
                    "passes": 10,
                }
                chance = float(runs[station.line].chance[station.id][numbers[code]])
                for dim in plan.dimmed:
                    if (dim.station, dim.defect) == (station.id, code) and dim.start <= minute < dim.end:
                        chance = dim.chance
                rows.append({**row, "caught": int(rng.binomial(10, chance)), "by": "shift"})
    return pl.DataFrame(rows)


def complaints(plan: Plan, defects: pl.DataFrame, pallets: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Customers complain of some of what escaped: of critical defects first."""
    known = pallets.select("pallet", "item", "packed_to")
    worst = {d.code: ("critical", "major", "minor").index(d.severity) for d in plan.plant.defect}
    escaped = defects.filter(pl.col("pallet").is_not_null() & pl.col("station").is_null()).join(known, on="pallet")
    escaped = escaped.sort(pl.col("defect").replace_strict(worst), maintain_order=True).head(12)
    rows: list[dict[str, object]] = []
    for number in (
        sorted(rng.choice(escaped.height, min(3, escaped.height), replace=False).tolist()) if escaped.height else []
    ):
        row = escaped.row(number, named=True)
        rows.append(_complaint(plan, len(rows) + 1, row))
    schema = {
        "complaint": pl.String,
        "received_on": pl.Date,
        "item": pl.String,
        "defect": pl.String,
        "units": pl.Int64,
        "mould": pl.String,
    }
    times = {"made_from": pl.Datetime("us", "UTC"), "made_to": pl.Datetime("us", "UTC")}
    return pl.DataFrame(rows, schema={**schema, "pallet": pl.String, **times, "note": pl.String})


def _complaint(plan: Plan, number: int, row: dict[str, Any]) -> dict[str, object]:
    formed: datetime = row["formed_at"]
    hour = timedelta(hours=1)
    window = {1: (None, None), 2: (formed - hour, formed + hour)}.get(number, (formed - 2 * hour, formed + 2 * hour))
    return {
        "complaint": f"C-{plan.cold_from:%y}-{number:03d}",
        "received_on": plan.at(plan.minutes).date() - timedelta(days=1 if number > 1 else 0),
        "item": row["item"],
        "defect": row["defect"],
        "units": 1,
        "mould": row["mould"] if number != 2 else None,
        "pallet": row["pallet"] if number == 1 else None,
        "made_from": window[0],
        "made_to": window[1],
        "note": "invented complaint: found when the pallet was opened",
    }


def counter_reads(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    """Running totals of every station that has a counter_modulus, read every READ_EVERY_MIN; set to zero when a new
    job's ware comes.
    """
    rows: list[dict[str, Any]] = []
    for line, run in runs.items():
        change = [minute + plan.plant.lines[line].lehr_minutes for minute, _, _ in run.plan.jobs if minute > 0]
        for station in plan.plant.stations_of(line):
            if station.counter_modulus is None:
                continue
            per = plan.rough.window_s(station.id, plan.window_s) / 60
            every = max(1, round(READ_EVERY_MIN / per))
            first = int((plan.cold_from - plan.start).total_seconds() / 60 / per)
            here = run.counts.filter((pl.col("station") == station.id) & (pl.col("window") >= first))
            sums = here.group_by("window").agg(pl.col("inspected", "rejected").sum()).sort("window")
            for counter in ("inspected", "rejected"):
                rows += _totals(
                    plan, sums["window"].to_list(), sums[counter].to_list(), every, change, station, counter
                )
    schema = dict.fromkeys(("line", "station", "counter", "mould", "defect"), pl.String)
    frame = (
        pl.DataFrame(rows, schema_overrides=schema)
        if rows
        else pl.DataFrame(schema={"read_at": pl.Datetime("us", "UTC"), **schema, "total": pl.Int64})
    )
    return frame.select("read_at", "line", "station", "counter", "mould", "defect", "total").sort(
        "read_at", "station", "counter"
    )


def _totals(
    plan: Plan, windows: list[int], counts: list[int], every: int, change: list[float], station: Station, counter: str
) -> list[dict[str, Any]]:
    per, modulus = plan.rough.window_s(station.id, plan.window_s) / 60, station.counter_modulus or 1
    total, rows = modulus // 2, []
    for number, (window, count) in enumerate(zip(windows, counts, strict=True), start=1):
        if any(window * per <= minute < (window + 1) * per for minute in change):
            total = 0
        total = (total + count) % modulus
        if number % every == 0:
            numbers = {
                "line": station.line,
                "station": station.id,
                "counter": counter,
                "mould": None,
                "defect": None,
                "total": total,
            }
            rows.append({"read_at": plan.at((window + 1) * per), **numbers})
    return rows
