"""The whole works: every line run, the forming and melting logs, weighings, challenges, complaints; feeds and truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta

import numpy as np
import polars as pl
from stdnum import ean

from sample_feeds.simulator.line import LineRun, run_line
from sample_feeds.simulator.plan import Plan

COMPANY = "590123400"  # invented, not a licensed GS1 company prefix
UNSEEN_LOSS = 0.004  # glass melted that no counter ever sees: drained, dropped before the shears


@dataclass
class Simulated:
    """feeds: by name, one frame each, times in UTC.  truth: what really happened.

    truth["defects"]: one row a true defect (line, section, gob, mould, defect, formed_at, station or pallet).
    truth["calls"]: every call sent, with the container's true cavity.  truth["lehr"]: true minutes by forming time.
    truth["flow"]: by line and forming minute, gobs cut, hot rejected, packed, and kg.  truth["faults"]: what was planned.
    """

    plan: Plan
    feeds: dict[str, pl.DataFrame]
    truth: dict[str, pl.DataFrame]


def simulate(plan: Plan) -> Simulated:
    """Run the plan."""
    runs = {line: run_line(plan, line) for line in plan.lines}
    rng = np.random.default_rng([plan.seed, 3])
    pallets = _pallets(plan, runs)
    defects = _defects_truth(plan, runs, pallets)
    feeds = {
        "station_counts": pl.concat([_station_counts(plan, run) for run in runs.values()]),
        "reject_counts": pl.concat([_reject_counts(plan, run) for run in runs.values()]),
        "forming_counts": pl.concat([_forming_counts(plan, run) for run in runs.values()]),
        "pallets": pallets.drop("line_no"),
        "mould_log": _mould_log(plan, runs),
        "job_log": _job_log(plan),
        "stoppages": _stoppages(plan),
        "melt_log": _melt_log(plan, runs, rng),
        "weight_checks": pl.concat([_weights(plan, run, rng) for run in runs.values()]),
        "challenge_checks": _challenges(plan, rng),
        "complaints": _complaints(plan, defects, pallets, rng),
    }
    truth = {
        "defects": defects,
        "calls": pl.concat([_calls_truth(plan, run) for run in runs.values()]),
        "lehr": pl.concat([_lehr_truth(plan, run) for run in runs.values()]),
        "flow": pl.concat([_flow_truth(plan, run) for run in runs.values()]),
        "faults": _faults_truth(plan),
    }
    return Simulated(plan, feeds, truth)


def _at(plan: Plan, minutes: pl.Expr) -> pl.Expr:
    """Moments in UTC from minutes since the plan's start, to the second."""
    start = pl.lit(plan.start.astimezone(UTC).replace(tzinfo=None)).cast(pl.Datetime("us"))
    return (start + (minutes * 60).floor().cast(pl.Int64) * timedelta(seconds=1)).dt.replace_time_zone("UTC")


def _windows(plan: Plan, frame: pl.DataFrame, run: LineRun) -> pl.DataFrame:
    """Only windows that begin within the cold end's days, with their start and their mould's number."""
    per = plan.window_s / 60
    lo, hi = (plan.cold_from - plan.start).total_seconds() / 60 / per, plan.minutes / per
    names = pl.DataFrame({"mould": np.arange(-1, len(run.moulds)), "number": [None, *run.moulds]})
    told = frame.filter((pl.col("window") >= lo) & (pl.col("window") < hi)).join(names, on="mould", maintain_order="left")
    return told.with_columns(
        window_start=_at(plan, pl.col("window") * per), line=pl.lit(run.plan.line), window_s=pl.lit(plan.window_s)
    )


def _station_counts(plan: Plan, run: LineRun) -> pl.DataFrame:
    told = _windows(plan, run.counts, run).sort("window", "station", "mould")
    return told.select("window_start", "line", "station", pl.col("number").alias("mould"), "window_s", "inspected", "rejected")


def _reject_counts(plan: Plan, run: LineRun) -> pl.DataFrame:
    codes = list(plan.plant.defects)
    told = run.calls.group_by("window", "station", "mould", "defect").agg(pl.len().cast(pl.Int64).alias("rejected"))
    told = _windows(plan, told, run).sort("window", "station", "mould", "defect")
    names = pl.DataFrame({"defect": np.arange(len(codes)), "code": codes})
    told = told.join(names, on="defect", maintain_order="left")
    columns = ["window_start", "line", "station", pl.col("number").alias("mould"), pl.col("code").alias("defect")]
    return told.select(*columns, "window_s", "rejected")


def _forming_counts(plan: Plan, run: LineRun) -> pl.DataFrame:
    per = max(1, plan.window_s // 60)
    minutes, width = run.ware.cut.shape
    blocks = minutes // per
    shape = (blocks, per, width)
    cut, hot = (counts[: blocks * per].reshape(shape).sum(axis=1).ravel() for counts in (run.ware.cut, run.ware.hot))
    frame = pl.DataFrame(
        {
            "minute": np.repeat(np.arange(blocks) * per, width),
            "section": np.tile([s for s, _ in run.plan.cavities], blocks),
            "gob": np.tile([g for _, g in run.plan.cavities], blocks),
            "gobs_cut": cut,
            "hot_rejected": hot,
        }
    )
    told = frame.with_columns(window_start=_at(plan, pl.col("minute")), line=pl.lit(run.plan.line), window_s=pl.lit(per * 60))
    return told.select("window_start", "line", "section", "gob", "window_s", "gobs_cut", "hot_rejected")


def sscc(line_no: int, serial: int) -> str:
    """A pallet's SSCC: extension digit, company prefix, serial and the GS1 check digit."""
    body = f"3{COMPANY}{line_no % 10}{serial:06d}"
    return body + ean.calc_check_digit(body)


def _pallets(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    parts = []
    lo = (plan.cold_from - plan.start).total_seconds() / 60
    for number, (line, run) in enumerate(runs.items()):
        told = run.pallets.with_row_index("pallet_no").with_columns(line_no=pl.lit(number))
        ids = [sscc(number, int(n)) for n in told["pallet_no"]]
        told = told.with_columns(pallet=pl.Series(ids, dtype=pl.String), line=pl.lit(line), state=pl.lit("packed"))
        told = told.filter((pl.col("to_min") >= lo) & (pl.col("to_min") < plan.minutes))
        parts.append(told.with_columns(packed_from=_at(plan, pl.col("from_min")), packed_to=_at(plan, pl.col("to_min"))))
    columns = ("pallet", "line", "item", "packed_from", "packed_to", "units", "state", "line_no")
    return pl.concat(parts).select(columns).sort("packed_to", "pallet")


def _mould_log(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    rows = []
    for line, run in runs.items():
        several = any(not item for _, _, item in run.plan.jobs)
        for fitting in run.plan.fittings:
            section, gob = run.plan.cavities[fitting.cavity]
            place = {"fitted_at": plan.at(fitting.minute), "line": line, "section": section, "gob": gob}
            rows.append({**place, "part": "mould", "number": fitting.number, "item": fitting.item if several else None})
            if fitting.minute < 0:
                rows.append({**place, "part": "blank", "number": f"B{fitting.number}", "item": None})
                rows.append({**place, "part": "neck_ring", "number": f"R{fitting.number}", "item": None})
    return pl.DataFrame(rows, infer_schema_length=None).sort("fitted_at", "line", "section", "gob", "part")


def _job_log(plan: Plan) -> pl.DataFrame:
    rows = [
        {"started_at": plan.at(minute), "line": line, "job": job, "item": item or None}
        for line, told in plan.lines.items()
        for minute, job, item in told.jobs
    ]
    return pl.DataFrame(rows, infer_schema_length=None).sort("started_at", "line")


def _stoppages(plan: Plan) -> pl.DataFrame:
    rows = [
        {"stopped_at": plan.at(s.start), "line": line, "section": s.section or None, "restarted_at": plan.at(s.end), "cause": s.cause}
        for line, told in plan.lines.items()
        for s in told.stops
    ]
    schema = {"stopped_at": pl.Datetime("us", "UTC"), "line": pl.String, "section": pl.Int64, "restarted_at": pl.Datetime("us", "UTC"), "cause": pl.String}
    return pl.DataFrame(rows, schema=schema).unique(["stopped_at", "line", "section"], keep="first").sort("stopped_at", "line", "section")


def _gob_mass_g(plan: Plan, run: LineRun) -> np.ndarray:
    """True mean mass of a gob at [minute, cavity]: nominal, the mould's own offset, the feeder's drift."""
    weights = {i.id: i.weight_g for i in plan.plant.item}
    offsets = np.random.default_rng([plan.seed, 4, list(plan.lines).index(run.plan.line)]).normal(0, 0.004, len(run.moulds))
    index = np.zeros(run.ware.cut.shape, np.int64)
    for number, fitting in enumerate(run.plan.fittings):
        index[max(0, fitting.minute) :, fitting.cavity] = number
    nominal = np.array([weights[item] for item in run.items]) * (1 + offsets)
    drifting = np.array([gob == run.plan.drift_gob for _, gob in run.plan.cavities])
    days = np.arange(len(index))[:, None] / 1440
    return nominal[index] + run.plan.drift_g_per_day * days * drifting[None, :]


def _melt_log(plan: Plan, runs: dict[str, LineRun], rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    hours = plan.minutes // 60
    for furnace in plan.plant.furnace:
        mine = [run for line, run in runs.items() if plan.plant.lines[line].furnace == furnace.id]
        pulled = sum((run.ware.cut * _gob_mass_g(plan, run) / 1000).sum(axis=1) for run in mine)
        per_hour = np.asarray(pulled)[: hours * 60].reshape(hours, 60).sum(axis=1) / (1 - UNSEEN_LOSS)
        bias = 1 + rng.normal(0, plan.plant.uncertainty.melt / 100 / 3)
        for hour in range(hours):
            level = float(rng.normal(0, 0.15))
            melted = (per_hour[hour] + level / 1000 * furnace.surface_m2 * furnace.density_g_cm3 * 1000) * bias
            batch = max(melted, 0) * 0.55 / (1 - 0.031) / (1 - 0.172)
            values = {"batch_kg": round(batch, 1), "moisture_pct": 3.1, "loss_pct": 17.2, "cullet_kg": round(max(melted, 0) * 0.45, 1)}
            rows.append({"window_start": plan.at(hour * 60), "furnace": furnace.id, "window_s": 3600, **values, "level_change_mm": round(level, 2)})
    return pl.DataFrame(rows)


def _weights(plan: Plan, run: LineRun, rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    mass = _gob_mass_g(plan, run)
    for minute in range(300, plan.minutes, 30):
        formed = int(minute - run.ware.lag[max(0, minute - 100)])
        for cavity in range(len(run.plan.cavities)):
            if formed < 0 or not run.ware.cut[formed, cavity]:
                continue
            number = max(n for n, f in enumerate(run.plan.fittings) if f.cavity == cavity and f.minute <= formed)
            told = {"sampled_at": plan.at(minute), "line": run.plan.line, "point": "cold", "mould": run.moulds[number], "sample": 1}
            rows.append({**told, "weight_g": round(float(mass[formed, cavity] + rng.normal(0, 0.5)), 1), "by": None})
    return pl.DataFrame(rows, infer_schema_length=None, schema_overrides={"by": pl.String})


def _challenges(plan: Plan, rng: np.random.Generator) -> pl.DataFrame:
    rows = []
    for station in plan.plant.station:
        codes = [c for c in (station.sees or tuple(plan.plant.defects)) if plan.plant.defects[c].severity != "minor"]
        for minute in range(310, plan.minutes, 480):
            for code in codes:
                told = {"checked_at": plan.at(minute), "line": station.line, "station": station.id, "defect": code, "passes": 10}
                rows.append({**told, "caught": int(rng.binomial(10, 0.97)), "by": "shift"})
    return pl.DataFrame(rows)


def _defects_truth(plan: Plan, runs: dict[str, LineRun], pallets: pl.DataFrame) -> pl.DataFrame:
    parts = []
    for number, run in enumerate(runs.values()):
        names = {n: sscc(number, n) for n in range(run.pallets.height)}
        told = run.defects.with_columns(
            formed_at=_at(plan, pl.col("formed_min")),
            arrives_at=_at(plan, pl.col("arrives_min")),
            pallet=pl.col("pallet_no").replace_strict(names, default=None, return_dtype=pl.String),
        )
        parts.append(told)
    columns = ("line", "section", "gob", "mould", "defect", "formed_at", "arrives_at", "station", "pallet")
    return pl.concat(parts).select(columns).sort("formed_at", "line")


def _calls_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    codes = list(plan.plant.defects)
    cavity = run.ware.cavity[run.calls["container"].to_numpy()]
    told = run.calls.with_columns(
        section=pl.Series([run.plan.cavities[c][0] for c in cavity], dtype=pl.Int64),
        gob=pl.Series([run.plan.cavities[c][1] for c in cavity], dtype=pl.String),
        formed_min=pl.Series(run.ware.formed[run.calls["container"].to_numpy()]),
        defect=pl.Series([codes[d] for d in run.calls["defect"]], dtype=pl.String),
    )
    told = _windows(plan, told, run).with_columns(formed_at=_at(plan, pl.col("formed_min")))
    return told.select("line", "station", "window_start", pl.col("number").alias("mould_read"), "section", "gob", "defect", "formed_at", "real")


def _lehr_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    frame = pl.DataFrame({"minute": np.arange(len(run.ware.lag)), "lehr_minutes": run.ware.lag})
    return frame.select(pl.lit(run.plan.line).alias("line"), _at(plan, pl.col("minute")).alias("formed_at"), "lehr_minutes")


def _flow_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    minutes = len(run.ware.cut)
    mass = _gob_mass_g(plan, run) / 1000
    packed = np.bincount(run.ware.formed[run.packed >= 0].astype(np.int64), minlength=minutes)[:minutes]
    columns = {"gobs_cut": run.ware.cut.sum(axis=1), "hot_rejected": run.ware.hot.sum(axis=1), "packed": packed}
    frame = pl.DataFrame({"minute": np.arange(minutes), **columns, "formed_kg": (run.ware.cut * mass).sum(axis=1)})
    return frame.select(pl.lit(run.plan.line).alias("line"), _at(plan, pl.col("minute")).alias("formed_at"), pl.exclude("minute"))


def _faults_truth(plan: Plan) -> pl.DataFrame:
    rows = [
        {**vars(f), "members": ",".join(f.members), "start": plan.at(f.start), "end": plan.at(f.end)} for f in plan.faults
    ]
    return pl.DataFrame(rows) if rows else pl.DataFrame(schema={"scope": pl.String, "line": pl.String})


def _complaints(plan: Plan, defects: pl.DataFrame, pallets: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    """Customers complain of some of what escaped: of critical defects first."""
    known = pallets.select("pallet", "item", "packed_to")
    worst = {d.code: ("critical", "major", "minor").index(d.severity) for d in plan.plant.defect}
    escaped = defects.filter(pl.col("pallet").is_not_null() & pl.col("station").is_null()).join(known, on="pallet")
    escaped = escaped.sort(pl.col("defect").replace_strict(worst), maintain_order=True).head(12)
    rows = []
    for number in sorted(rng.choice(escaped.height, min(3, escaped.height), replace=False).tolist()) if escaped.height else []:
        told = escaped.row(number, named=True)
        rows.append(_complaint(plan, len(rows) + 1, told))
    schema = {"complaint": pl.String, "received_on": pl.Date, "item": pl.String, "defect": pl.String, "units": pl.Int64, "mould": pl.String}
    times = {"made_from": pl.Datetime("us", "UTC"), "made_to": pl.Datetime("us", "UTC")}
    return pl.DataFrame(rows, schema={**schema, "pallet": pl.String, **times, "note": pl.String})


def _complaint(plan: Plan, number: int, told: dict[str, object]) -> dict[str, object]:
    formed = told["formed_at"]
    hour = timedelta(hours=1)
    window = {1: (None, None), 2: (formed - hour, formed + hour)}.get(number, (formed - 2 * hour, formed + 2 * hour))  # type: ignore[operator]
    return {
        "complaint": f"C-{plan.cold_from:%y}-{number:03d}",
        "received_on": plan.at(plan.minutes).date() - timedelta(days=1 if number > 1 else 0),
        "item": told["item"],
        "defect": told["defect"],
        "units": 1,
        "mould": told["mould"] if number != 2 else None,
        "pallet": told["pallet"] if number == 1 else None,
        "made_from": window[0],
        "made_to": window[1],
        "note": "invented complaint: found when the pallet was opened",
    }


__all__ = ["Simulated", "simulate", "sscc"]
