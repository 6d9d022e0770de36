"""What people and instruments of the invented works say besides: verdicts on single containers, measured properties of
ware, readings of the process. Each is added to a works that has lived already, so that nothing of it changes.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.works import Simulated

MOMENT = pl.Datetime("us", "UTC")
LOOKS_EVERY_H, PASSED_UNITS = 4, 50
TEST_EVERY_H, MOULDS_A_TEST = 8, 6
READ_EVERY_MIN, HOLDS_H = 30, 6.0  # of a reading's AR(1) course, its time constant
MOULD_SHARE, SINGLE_SHARE = 0.12, 0.08  # standard deviations of a measured property, of the width of its limits
WANDER_SHARE = 0.1  # standard deviation of a reading, of the width of its limits

VERDICTS: dict[str, Any] = {
    "looked_at": MOMENT,
    "line": pl.String,
    "stream": pl.String,
    "station": pl.String,
    "called": pl.String,
    "mould": pl.String,
    "found": pl.String,
    "units": pl.Int64,
    "by": pl.String,
}


def judged(simulated: Simulated, seed: int, *, blind: float = 0.02, most: int = 40) -> Simulated:
    """Every few hours somebody looks at what each station rejected in the hour before (at most so many containers), and
    at good ware behind the last station. blind: the share of faulty containers that the person takes for good.

    truth["verdicts"]: looked_at, station, called, real, false (calls in the sample, as they really were).
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 70])
    rows: list[dict[str, Any]] = []
    true: list[dict[str, Any]] = []
    every = simulated.truth["calls"].filter(pl.col("kind") == "fault")
    every = every.sort("called_at", "line", "station", "section", "gob", "formed_at", "defect")
    for at in _turns(plan, LOOKS_EVERY_H):
        calls = every.filter(pl.col("called_at").is_between(at - timedelta(hours=1), at, closed="left"))
        for (line, station), some in calls.group_by(["line", "station"], maintain_order=True):
            seen = some[np.sort(rng.permutation(some.height)[:most])]
            verdicts, really = _of_calls(seen, at, str(line), str(station), blind, rng)
            rows += verdicts
            true += really
        rows += [row for line in plan.lines for row in _of_passed(simulated, line, at, blind, rng)]
    frame = pl.DataFrame(rows, schema=VERDICTS)
    schema: dict[str, Any] = {"looked_at": MOMENT, "station": pl.String, "called": pl.String}
    truth = pl.DataFrame(true, schema={**schema, "real": pl.Int64, "false": pl.Int64})
    return replace(
        simulated, feeds={**simulated.feeds, "verdicts": frame}, truth={**simulated.truth, "verdicts": truth}
    )


def _turns(plan: Plan, hours: int) -> list[datetime]:
    span = int((plan.at(plan.minutes) - plan.cold_from).total_seconds() // 3600)
    return [plan.cold_from + timedelta(hours=n) for n in range(hours, span, hours)]


def _of_calls(
    seen: pl.DataFrame, at: datetime, line: str, station: str, blind: float, rng: np.random.Generator
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Verdicts on rejected ware, and what it really was."""
    rows, true = [], []
    for (called, mould), part in seen.group_by(["defect", "mould_read"], maintain_order=True):
        real = int(part["real"].sum())
        found = real - int(rng.binomial(real, blind))
        key = {"looked_at": at, "line": line, "stream": "rejected", "station": station, "called": called}
        for what, units in ((called, found), (None, part.height - found)):
            if units:
                rows.append({**key, "mould": mould, "found": what, "units": units, "by": "shift"})
        true.append({"looked_at": at, "station": station, "called": called, "real": real, "false": part.height - real})
    return rows, true


def _of_passed(
    simulated: Simulated, line: str, at: datetime, blind: float, rng: np.random.Generator
) -> list[dict[str, Any]]:
    """Verdicts on good ware behind the last station: each defect as often as the line let it get past."""
    packed = max(1, int(simulated.feeds["pallets"].filter(pl.col("line") == line)["units"].sum()))
    escaped = pl.col("station").is_null() & pl.col("pallet").is_not_null()
    past = simulated.truth["defects"].filter((pl.col("line") == line) & escaped)
    row = {"looked_at": at, "line": line, "stream": "passed", "station": None, "called": None, "mould": None}
    rows, left = [], PASSED_UNITS
    for code, count in sorted(past.group_by("defect").len().iter_rows()):
        found = min(left, int(rng.binomial(PASSED_UNITS, min(1.0, count / packed) * (1 - blind))))
        left -= found
        if found:
            rows.append({**row, "found": code, "units": found, "by": "shift"})
    return [*rows, {**row, "found": None, "units": left, "by": "shift"}] if left else rows


def measured(simulated: Simulated, seed: int) -> Simulated:
    """Every shift some moulds of each line measured by every [[test]] that has limits for what they make.

    truth["test_moulds"]: line, mould, test, mean (of the mould's containers, in the test's unit).
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 71])
    rows: list[dict[str, Any]] = []
    means: dict[tuple[str, str, str], float] = {}
    for at in _turns(plan, TEST_EVERY_H):
        for line in plan.lines:
            items = _moulds_at(plan, line, at)
            for number in sorted(rng.permutation(sorted(items))[:MOULDS_A_TEST].tolist()):
                for test in plan.plant.test:
                    if items[number] not in test.limits:
                        continue
                    middle, width = _middle(test.limits[items[number]])
                    key = (line, number, test.id)
                    mean = means.setdefault(key, middle + width * MOULD_SHARE * float(rng.normal()))
                    value = round(mean + width * SINGLE_SHARE * float(rng.normal()), 2)
                    row = {"sampled_at": at, "line": line, "test": test.id, "mould": number, "sample": 1}
                    rows.append({**row, "place": None, "value": value, "by": "lab"})
    text = dict.fromkeys(("line", "test", "mould"), pl.String)
    schema: dict[str, Any] = {"sampled_at": MOMENT, **text, "sample": pl.Int64, "place": pl.String}
    frame = pl.DataFrame(rows, schema={**schema, "value": pl.Float64, "by": pl.String})
    true = [(*key, mean) for key, mean in means.items()]
    truth = pl.DataFrame(true, schema=["line", "mould", "test", "mean"], orient="row")
    return replace(
        simulated, feeds={**simulated.feeds, "test_checks": frame}, truth={**simulated.truth, "test_moulds": truth}
    )


def _moulds_at(plan: Plan, line: str, at: datetime) -> dict[str, str]:
    """Mould numbers whose ware comes out of the lehr at a moment, each with its item."""
    minute = (at - plan.start).total_seconds() / 60 - plan.plant.lines[line].lehr_minutes
    there = {fitting.cavity: fitting for fitting in plan.lines[line].fittings if fitting.minute <= minute}
    return {fitting.number: fitting.item for fitting in there.values()}


def _middle(limits: tuple[float, float]) -> tuple[float, float]:
    """Where values lie usually, and how wide their limits are; well inside where there is one limit only."""
    low, high = limits
    if np.isfinite(low) and np.isfinite(high):
        return (low + high) / 2, high - low
    bound = low if np.isfinite(low) else high if np.isfinite(high) else 1.0
    width = abs(bound) * 0.5 or 1.0
    return (bound + width / 2 if np.isfinite(low) or not np.isfinite(high) else bound - width / 2), width


def read_out(simulated: Simulated, seed: int) -> Simulated:
    """Every [[quantity]] read at each of its places, wandering about the middle of its limits.

    truth["readings"]: at, quantity, read_at, value (before it was rounded).
    """
    plan, rng = simulated.plan, np.random.default_rng([seed, 72])
    count = int((plan.at(plan.minutes) - plan.cold_from).total_seconds() // 60 // READ_EVERY_MIN)
    times = [plan.cold_from + timedelta(minutes=n * READ_EVERY_MIN) for n in range(count)]
    keep, parts = float(np.exp(-READ_EVERY_MIN / 60 / HOLDS_H)), []
    for quantity in plan.plant.quantity:
        middle, width = _middle(quantity.limits or (0.0, 10.0))
        for place in plan.plant.ids(quantity.where):
            steps = rng.normal(0, 1, count)
            course = np.zeros(count)
            for n in range(count):
                course[n] = steps[n] if n == 0 else keep * course[n - 1] + np.sqrt(1 - keep**2) * steps[n]
            values = middle + width * WANDER_SHARE * course
            at = {"read_at": pl.Series(times, dtype=MOMENT), "at": [place] * count}
            parts.append(pl.DataFrame({**at, "quantity": [quantity.id] * count, "value": values}))
    empty = pl.DataFrame(schema={"read_at": MOMENT, "at": pl.String, "quantity": pl.String, "value": pl.Float64})
    truth = pl.concat([empty, *parts]).sort("read_at", "quantity", "at")
    frame = truth.with_columns(pl.col("value").round(1), by=pl.lit(None, dtype=pl.String))
    return replace(
        simulated, feeds={**simulated.feeds, "process_reads": frame}, truth={**simulated.truth, "readings": truth}
    )
