"""The whole works: every line run, the forming and melting logs, weighings, challenges, complaints; feeds and truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, timedelta

import numpy as np
import polars as pl
from stdnum import ean

from sample_feeds.simulator.acted import acted_feeds, acted_truth
from sample_feeds.simulator.laboratory import capacity_checks, density_checks, hot_weights, temper_checks, visual_checks
from sample_feeds.simulator.line import LineRun, run_line
from sample_feeds.simulator.logs import (
    UNSEEN_LOSS,
    challenges,
    complaints,
    counter_reads,
    gob_mass_g,
    job_log,
    melt_log,
    mould_log,
    stoppages,
    weights,
)
from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.rough import kind_of
from sample_feeds.simulator.rough_truth import rough_truth

COMPANY = "590123400"  # invented, not a licensed GS1 company prefix


@dataclass
class Simulated:
    """feeds: by name, one frame each, times in UTC.  truth: what really happened.

    truth["defects"]: one row a true defect (line, section, gob, mould, defect, formed_at, station or pallet).
    truth["calls"]: every call sent, with the container's true cavity.  truth["lehr"]: true minutes by forming time.
    truth["flow"]: by line and forming minute, gobs cut, hot rejected, packed, and kg.  truth["faults"]: what was
    planned.
    truth["good"]: by line and minute of arrival at the first station, good containers and their kg, and the kg of all
    gobs cut for them.
    truth["detection"]: the chance with which each station finds each defect.  truth["expected"]: by defect of
    plan.rates_of, cavity, pallet and ten minutes of forming, the expected containers with the defect on the pallet by
    the true rates. truth["calls"] has `real` (a false call is not) and `called_at`, to the second; `kind` is that of
    its code. truth["false_rates"], ["windows"], ["wander"] and others of a rough works: see
    sample_feeds.simulator.rough_truth. truth["melt"]: by furnace and hour, the glass melted and drawn, and the share of
    it that no counter sees.
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
        "counter_reads": counter_reads(plan, runs),
        "forming_counts": pl.concat([_forming_counts(plan, run) for run in runs.values()]),
        "pallets": pallets.drop("line_no"),
        "mould_log": mould_log(plan, runs),
        "job_log": job_log(plan),
        "stoppages": stoppages(plan),
        "melt_log": melt_log(plan, runs, rng),
        "weight_checks": _weighings(plan, runs, rng),
        "capacity_checks": capacity_checks(plan, runs),
        "density_checks": density_checks(plan),
        "temper_checks": temper_checks(plan, runs),
        "visual_checks": visual_checks(plan, runs),
        "challenge_checks": challenges(plan, runs, rng),
        "complaints": complaints(plan, defects, pallets, rng),
    }
    truth = {
        "defects": defects,
        "calls": pl.concat([_calls_truth(plan, run) for run in runs.values()]),
        "lehr": pl.concat([_lehr_truth(plan, run) for run in runs.values()]),
        "flow": pl.concat([_flow_truth(plan, run) for run in runs.values()]),
        "good": pl.concat([_good_truth(plan, run) for run in runs.values()]),
        "melt": pl.DataFrame(
            [{"furnace": f.id, "unseen": plan.unseen.get(f.id, UNSEEN_LOSS)} for f in plan.plant.furnace]
        ),
        "faults": _faults_truth(plan),
        "detection": _detection_truth(plan, runs),
        "expected": pl.concat([_expected_truth(plan, run, number) for number, run in enumerate(runs.values())]),
        **rough_truth(plan, runs),
    }
    return Simulated(plan, {**feeds, **acted_feeds(plan)}, {**truth, **acted_truth(plan)})


def _weighings(plan: Plan, runs: dict[str, LineRun], rng: np.random.Generator) -> pl.DataFrame:
    cold = [weights(plan, run, rng) for run in runs.values()]
    return pl.concat([*cold, *(hot_weights(plan, run, number) for number, run in enumerate(runs.values()))])


def _at(plan: Plan, minutes: pl.Expr) -> pl.Expr:
    """Moments in UTC from minutes since the plan's start, to the second."""
    start = pl.lit(plan.start.astimezone(UTC).replace(tzinfo=None)).cast(pl.Datetime("us"))
    return (start + (minutes * 60).floor().cast(pl.Int64) * timedelta(seconds=1)).dt.replace_time_zone("UTC")


def _windows(plan: Plan, frame: pl.DataFrame, run: LineRun) -> pl.DataFrame:
    """Only windows that begin within the cold end's days, with their start and their mould's number."""
    seconds = {s.id: plan.rough.window_s(s.id, plan.window_s) for s in plan.plant.stations_of(run.plan.line)}
    frame = frame.with_columns(window_s=pl.col("station").replace_strict(seconds, return_dtype=pl.Int64))
    per, begins = pl.col("window_s") / 60, pl.col("window") * pl.col("window_s") / 60
    lo = (plan.cold_from - plan.start).total_seconds() / 60
    names = pl.DataFrame({"mould": np.arange(-1, len(run.moulds)), "number": [None, *run.moulds]})
    answer = frame.filter((begins >= lo) & (begins + per <= plan.minutes)).join(
        names, on="mould", maintain_order="left"
    )
    return answer.with_columns(window_start=_at(plan, begins), line=pl.lit(run.plan.line))


def _station_counts(plan: Plan, run: LineRun) -> pl.DataFrame:
    frame = _windows(plan, _by_number(run, run.counts), run).sort("window", "station", "mould")
    again = ["refed"] if plan.rough.strength.refed else []
    named = pl.col("number").alias("mould")
    return frame.select("window_start", "line", "station", named, "window_s", "inspected", "rejected", *again)


def _by_number(run: LineRun, frame: pl.DataFrame) -> pl.DataFrame:
    """Counts or calls by mould number where a number is fitted a second time: a station reads the number, and not which
    fitting it is.
    """
    first = {number: index for index, number in reversed(list(enumerate(run.moulds)))}
    if len(first) == len(run.moulds):
        return frame
    same = {-1: -1} | {index: first[number] for index, number in enumerate(run.moulds)}
    mould = pl.col("mould").replace_strict(same, return_dtype=frame.schema["mould"])
    numbered = frame.with_columns(mould=mould)
    if "inspected" not in frame.columns:
        return numbered
    counts = [name for name in ("inspected", "rejected", "refed") if name in frame.columns]
    sums = numbered.group_by("window", "mould", "station", maintain_order=True).agg(pl.col(counts).sum())
    return sums.select(frame.columns)


def _reject_counts(plan: Plan, run: LineRun) -> pl.DataFrame:
    codes = list(plan.plant.defects)
    frame = (
        _by_number(run, run.calls)
        .group_by("window", "station", "mould", "defect")
        .agg(pl.len().cast(pl.Int64).alias("rejected"))
    )
    frame = _windows(plan, frame, run).sort("window", "station", "mould", "defect")
    names = pl.DataFrame({"defect": np.arange(len(codes)), "code": codes})
    frame = frame.join(names, on="defect", maintain_order="left")
    named = frame.drop("mould", "defect").rename({"number": "mould", "code": "defect"})
    return named.select("window_start", "line", "station", "mould", "defect", "window_s", "rejected")


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
    answer = frame.with_columns(
        window_start=_at(plan, pl.col("minute")), line=pl.lit(run.plan.line), window_s=pl.lit(per * 60)
    )
    return answer.select("window_start", "line", "section", "gob", "window_s", "gobs_cut", "hot_rejected")


def sscc(line_no: int, serial: int) -> str:
    """A pallet's SSCC: extension digit, company prefix, serial and the GS1 check digit."""
    body = f"3{COMPANY}{line_no % 10}{serial:06d}"
    return body + ean.calc_check_digit(body)


def _pallets(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    parts = []
    lo = (plan.cold_from - plan.start).total_seconds() / 60
    for number, (line, run) in enumerate(runs.items()):
        frame = run.pallets.with_row_index("pallet_no").with_columns(line_no=pl.lit(number))
        ids = [sscc(number, int(n)) for n in frame["pallet_no"]]
        frame = frame.with_columns(pallet=pl.Series(ids, dtype=pl.String), line=pl.lit(line), state=pl.lit("packed"))
        frame = frame.filter((pl.col("to_min") >= lo) & (pl.col("to_min") < plan.minutes))
        parts.append(
            frame.with_columns(packed_from=_at(plan, pl.col("from_min")), packed_to=_at(plan, pl.col("to_min")))
        )
    columns = ("pallet", "line", "item", "packed_from", "packed_to", "units", "state", "line_no")
    return pl.concat(parts).select(columns).sort("packed_to", "pallet")


def _defects_truth(plan: Plan, runs: dict[str, LineRun], pallets: pl.DataFrame) -> pl.DataFrame:
    parts = []
    for number, run in enumerate(runs.values()):
        names = {n: sscc(number, n) for n in range(run.pallets.height)}
        frame = run.defects.with_columns(
            formed_at=_at(plan, pl.col("formed_min")),
            arrives_at=_at(plan, pl.col("arrives_min")),
            pallet=pl.col("pallet_no").replace_strict(names, default=None, return_dtype=pl.String),
        )
        parts.append(frame)
    columns = ("line", "section", "gob", "mould", "defect", "formed_at", "arrives_at", "station", "pallet")
    return pl.concat(parts).select(columns).sort("formed_at", "line")


def _calls_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    codes = list(plan.plant.defects)
    cavity = run.ware.cavity[run.calls["container"].to_numpy()]
    frame = run.calls.with_columns(
        section=pl.Series([run.plan.cavities[c][0] for c in cavity], dtype=pl.Int64),
        gob=pl.Series([run.plan.cavities[c][1] for c in cavity], dtype=pl.String),
        formed_min=pl.Series(run.ware.formed[run.calls["container"].to_numpy()]),
        called_at=_at(plan, pl.col("called_min")),
        defect=pl.Series([codes[d] for d in run.calls["defect"]], dtype=pl.String),
    )
    frame = _windows(plan, frame, run).with_columns(formed_at=_at(plan, pl.col("formed_min")))
    return frame.select(
        "line",
        "station",
        "window_start",
        pl.col("number").alias("mould_read"),
        "section",
        "gob",
        "defect",
        "formed_at",
        "real",
        "called_at",
        kind=pl.col("defect").replace_strict(
            {code: kind_of(plan.plant, code) for code in codes}, return_dtype=pl.String
        ),
    )


def _lehr_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    frame = pl.DataFrame({"minute": np.arange(len(run.ware.lag)), "lehr_minutes": run.ware.lag})
    return frame.select(
        pl.lit(run.plan.line).alias("line"), _at(plan, pl.col("minute")).alias("formed_at"), "lehr_minutes"
    )


def _flow_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    minutes = len(run.ware.cut)
    mass = gob_mass_g(plan, run) / 1000
    packed = np.bincount(run.ware.formed[run.packed >= 0].astype(np.int64), minlength=minutes)[:minutes]
    columns = {
        "gobs_cut": run.ware.cut.sum(axis=1),
        "hot_rejected": run.ware.hot.sum(axis=1),
        "packed": packed,
    }
    frame = pl.DataFrame(
        {
            "minute": np.arange(minutes),
            **columns,
            "formed_kg": (run.ware.cut * mass).sum(axis=1),
            "lehr_minutes": run.ware.lag,
        }
    )
    return frame.select(
        pl.lit(run.plan.line).alias("line"),
        _at(plan, pl.col("minute")).alias("formed_at"),
        pl.exclude("minute"),
    )


def _good_truth(plan: Plan, run: LineRun) -> pl.DataFrame:
    """What became good of the ware that met the first station in each minute, and the glass of the gobs it was cut
    from.
    """
    minutes = len(run.ware.cut)
    mass = gob_mass_g(plan, run) / 1000
    arrival = np.floor(run.ware.arrives).astype(np.int64)
    inside = run.good & (arrival < minutes) & (arrival >= 0)
    formed, cavity = run.ware.formed[inside].astype(np.int64), run.ware.cavity[inside]
    good = np.bincount(arrival[inside], minlength=minutes)
    good_kg = np.bincount(arrival[inside], weights=mass[formed, cavity], minlength=minutes)
    due = np.floor(np.arange(minutes) + 0.5 + run.ware.lag).astype(
        np.int64
    )  # when the gobs of a minute meet the first station
    seen = due < minutes
    cut_kg = np.bincount(due[seen], weights=(run.ware.cut * mass).sum(axis=1)[seen], minlength=minutes)
    frame = pl.DataFrame({"minute": np.arange(minutes), "good": good, "good_kg": good_kg, "cut_kg": cut_kg})
    return frame.select(
        pl.lit(run.plan.line).alias("line"), _at(plan, pl.col("minute")).alias("arrived_at"), pl.exclude("minute")
    )


def _detection_truth(plan: Plan, runs: dict[str, LineRun]) -> pl.DataFrame:
    codes = list(plan.plant.defects)
    rows = [
        {"line": line, "station": station, "defect": code, "chance": float(chance)}
        for line, run in runs.items()
        for station, chances in run.chance.items()
        for code, chance in zip(codes, chances, strict=True)
        if chance > 0
    ]
    return pl.DataFrame(rows)


def _expected_truth(plan: Plan, run: LineRun, number: int) -> pl.DataFrame:
    """Expected defective containers by pallet, cavity and ten minutes of forming: true rate x true share missed, over
    the ware on the pallet.
    """
    schema = {
        "line": pl.String,
        "defect": pl.String,
        "section": pl.Int64,
        "gob": pl.String,
        "pallet": pl.String,
        "ten": pl.Int64,
        "expected": pl.Float64,
    }
    packed = np.flatnonzero(run.packed >= 0)
    minute, cavity = run.ware.formed[packed].astype(np.int64), run.ware.cavity[packed]
    codes, parts = list(plan.plant.defects), [pl.DataFrame(schema=schema)]
    stations = plan.plant.stations_of(run.plan.line)
    for code, rates in run.rates.items():
        missed = 1.0
        for order in sorted({s.order for s in stations}):
            lanes = [1 - run.chance[s.id][codes.index(code)] for s in stations if s.order == order]
            missed *= float(np.mean(lanes))
        frame = pl.DataFrame(
            {
                "pallet_no": run.packed[packed],
                "cavity": cavity,
                "ten": minute // 10,
                "expected": rates[minute, cavity] * missed,
            }
        )
        sums = frame.group_by("pallet_no", "cavity", "ten").agg(pl.col("expected").sum())
        places = [run.plan.cavities[c] for c in sums["cavity"]]
        parts.append(
            sums.select(
                line=pl.lit(run.plan.line),
                defect=pl.lit(code),
                section=pl.Series([s for s, _ in places], dtype=pl.Int64),
                gob=pl.Series([g for _, g in places], dtype=pl.String),
                pallet=pl.Series([sscc(number, int(n)) for n in sums["pallet_no"]], dtype=pl.String),
                ten=pl.col("ten").cast(pl.Int64),
                expected="expected",
            )
        )
    return pl.concat(parts)


def _faults_truth(plan: Plan) -> pl.DataFrame:
    rows = [
        {**vars(f), "members": ",".join(f.members), "start": plan.at(f.start), "end": plan.at(f.end)}
        for f in plan.faults
    ]
    return pl.DataFrame(rows) if rows else pl.DataFrame(schema={"scope": pl.String, "line": pl.String})


__all__ = ["Simulated", "simulate", "sscc"]
