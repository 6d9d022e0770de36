"""What the switches of a rough works really did, as frames."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.rough import STEP_MIN, false_truth, swabs_of, wandering, window_truth

MOMENT = pl.Datetime("us", "UTC")


def rough_truth(plan: Plan) -> dict[str, pl.DataFrame]:
    """false_rates: line, station, defect, rate (share of the ware at the station).  windows: line, station, window_s.

    wander: line, defect, at, factor (the part common to the line, in steps of ten minutes).  swabs: line, section, at.
    """
    return {
        "false_rates": false_truth(plan.plant, plan.rough),
        "windows": window_truth(plan.plant, plan.rough, plan.window_s),
        "wander": _wander(plan),
        "swabs": _swabs(plan),
    }


def _wander(plan: Plan) -> pl.DataFrame:
    schema: dict[str, Any] = {"line": pl.String, "defect": pl.String, "at": MOMENT, "factor": pl.Float64}
    parts = [pl.DataFrame(schema=schema)]
    if plan.rough.strength.wander:
        steps = [plan.at(n * STEP_MIN) for n in range(-(-plan.minutes // STEP_MIN))]
        for number, (line, told) in enumerate(plan.lines.items()):
            for kind, code in enumerate(plan.plant.defects):
                common, _ = wandering(plan.rough, number, kind, plan.minutes, len(told.cavities))
                one = pl.DataFrame({"at": pl.Series(steps, dtype=MOMENT), "factor": common})
                parts.append(one.select(pl.lit(line).alias("line"), pl.lit(code).alias("defect"), "at", "factor"))
    return pl.concat(parts)


def _swabs(plan: Plan) -> pl.DataFrame:
    rows = [
        {"line": line, "section": section, "at": plan.at(float(minute))}
        for number, line in enumerate(plan.lines)
        for section, minutes in enumerate(
            swabs_of(plan.rough, number, plan.plant.lines[line].sections, plan.minutes), start=1
        )
        for minute in np.floor(minutes)
    ]
    schema: dict[str, Any] = {"line": pl.String, "section": pl.Int64, "at": MOMENT}
    return pl.DataFrame(rows, schema=schema)
