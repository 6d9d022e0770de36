"""Meters that do not read the truth: each off by its own error every day, and some lying."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import polars as pl

from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.works import Simulated


@dataclass(frozen=True)
class PlannedLie:
    """A meter that is off by `sigmas` of its standard uncertainties from `first` to `last`, instead of by an honest
    error.

    meter: "K1 gobs cut", "K1-mouth inspected", "K1 packed", "K1 weight" or "F1 melt log".
    percent: what it is off by instead of `sigmas`.  now_and_then: chance of a day in that time on which it lies; else
    it errs honestly.
    """

    meter: str
    sigmas: float
    first: date
    last: date
    percent: float | None = None
    now_and_then: float = 1.0


def misread(simulated: Simulated, seed: int, lies: Sequence[PlannedLie] = (), lasting: str = "") -> Simulated:
    """The feeds as imperfect meters would have sent them: every meter's daily total is off by a normal error of the
    uncertainty that works.toml states, drawn anew each production day; once for all days for meters of the kind
    `lasting`. Calls and rejects stay as they were. truth["meters"]: meter, day_start, off (relative).
    """
    plan = simulated.plan
    errors = _errors(plan, seed, lies, lasting)
    rng = np.random.default_rng([seed, 12])
    feeds = dict(simulated.feeds)
    feeds["forming_counts"] = _miscounted(
        plan,
        feeds["forming_counts"],
        "window_start",
        pl.format("{} gobs cut", "line"),
        "gobs_cut",
        "hot_rejected",
        errors,
        rng,
    )
    feeds["station_counts"] = _miscounted(
        plan,
        feeds["station_counts"],
        "window_start",
        pl.format("{} inspected", "station"),
        "inspected",
        "rejected",
        errors,
        rng,
    )
    feeds["pallets"] = _miscounted(
        plan, feeds["pallets"], "packed_to", pl.format("{} packed", "line"), "units", None, errors, rng
    )
    feeds["weight_checks"] = _scaled(
        plan, feeds["weight_checks"], "sampled_at", pl.format("{} weight", "line"), ["weight_g"], errors
    )
    feeds["melt_log"] = _scaled(
        plan, feeds["melt_log"], "window_start", pl.format("{} melt log", "furnace"), ["batch_kg", "cullet_kg"], errors
    )
    return replace(simulated, feeds=feeds, truth={**simulated.truth, "meters": errors})


def with_states(simulated: Simulated, seed: int) -> Simulated:
    """The pallets feed with what became of some pallets: a few held, re-sorted or scrapped, most released after a day.
    A later row for a pallet is its new state.
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 13])
    pallets = simulated.feeds["pallets"]
    drawn, end = pl.Series(rng.random(pallets.height)), plan.at(plan.minutes)
    fate = (
        pl.when(pl.lit(drawn) < 0.006)
        .then(pl.lit("held"))
        .when(pl.lit(drawn) < 0.014)
        .then(pl.lit("resort"))
        .when(pl.lit(drawn) < 0.017)
        .then(pl.lit("scrapped"))
        .when(pl.col("packed_to") < end - timedelta(days=1))
        .then(pl.lit("released"))
    )
    later = pallets.with_columns(state=fate).filter(pl.col("state").is_not_null())
    return replace(simulated, feeds={**simulated.feeds, "pallets": pl.concat([pallets, later.select(pallets.columns)])})


def meters_of(plan: Plan) -> dict[str, float]:
    """Every meter of the works with its relative standard uncertainty in percent."""
    plant, sure = plan.plant, plan.plant.uncertainty
    found = {f"{furnace} melt log": sure.melt for furnace in plant.furnaces}
    for line in plant.lines:
        found |= {f"{line} gobs cut": sure.gobs_cut, f"{line} packed": sure.packed, f"{line} weight": sure.weight}
    return found | {f"{station} inspected": sure.station_counts for station in plant.stations}


def _errors(plan: Plan, seed: int, lies: Sequence[PlannedLie], lasting: str) -> pl.DataFrame:
    """meter, day_start, off (relative)."""
    rng = np.random.default_rng([seed, 11])
    clock, rows = plan.plant.clock, []
    first = clock.day_of(plan.start)
    days = [first + timedelta(days=n) for n in range(plan.minutes // 1380 + 3)]
    for meter, pct in meters_of(plan).items():
        drawn = [float(rng.normal()) for _ in days]
        for day, honest in zip(
            days, [drawn[0]] * len(days) if meter.split(" ", 1)[1] == lasting else drawn, strict=True
        ):
            lie = next((lie for lie in lies if lie.meter == meter and _lies_on(lie, day, seed)), None)
            off = honest * pct if lie is None else lie.sigmas * pct if lie.percent is None else lie.percent
            rows.append({"meter": meter, "day_start": clock.day(day).start, "off": off / 100})
    return pl.DataFrame(rows).sort("day_start")


def _lies_on(lie: PlannedLie, day: date, seed: int) -> bool:
    if not lie.first <= day <= lie.last:
        return False
    return (
        lie.now_and_then >= 1 or float(np.random.default_rng([seed, 54, day.toordinal()]).random()) < lie.now_and_then
    )


def _with_errors(plan: Plan, frame: pl.DataFrame, when: str, meter: pl.Expr, errors: pl.DataFrame) -> pl.DataFrame:
    keyed = (
        frame.with_row_index("row")
        .with_columns(meter=meter, moment=pl.col(when).dt.cast_time_unit("us"))
        .sort("moment")
    )
    answer = errors.with_columns(pl.col("day_start").dt.cast_time_unit("us"))
    joined = keyed.join_asof(answer, left_on="moment", right_on="day_start", by="meter", check_sortedness=False)
    return joined.sort("row").drop("row", "moment", "meter", "day_start").with_columns(pl.col("off").fill_null(0.0))


def _miscounted(
    plan: Plan,
    frame: pl.DataFrame,
    when: str,
    meter: pl.Expr,
    count: str,
    within: str | None,
    errors: pl.DataFrame,
    rng: np.random.Generator,
) -> pl.DataFrame:
    """Single containers counted twice or not at all; never fewer than the `within` of them."""
    answer = _with_errors(plan, frame, when, meter, errors)
    off, counts = answer["off"].to_numpy(), answer[count].to_numpy()
    kept = [name for name in (within, "refed") if name in answer.columns]
    spare = counts - (answer.select(pl.max_horizontal(kept)).to_series().to_numpy() if within else 0)
    wanted = np.abs(off) * counts
    if within:
        changed = rng.binomial(
            spare, np.clip(np.divide(wanted, spare, out=np.zeros(len(spare)), where=spare > 0), 0, 1)
        )
    else:
        changed = np.floor(wanted + rng.random(len(wanted))).astype(np.int64)
    return answer.with_columns(pl.Series(count, counts + np.sign(off).astype(np.int64) * changed)).drop("off")


def _scaled(
    plan: Plan, frame: pl.DataFrame, when: str, meter: pl.Expr, columns: list[str], errors: pl.DataFrame
) -> pl.DataFrame:
    answer = _with_errors(plan, frame, when, meter, errors)
    return answer.with_columns((pl.col(name) * (1 + pl.col("off"))).round(1) for name in columns).drop("off")
