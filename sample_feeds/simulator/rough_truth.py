"""What the switches of a rough works really did, as frames."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator.line import LineRun
from sample_feeds.simulator.logs import spread_g
from sample_feeds.simulator.palletising import stops_of
from sample_feeds.simulator.plan import Plan
from sample_feeds.simulator.rough import (
    STEP_MIN,
    false_truth,
    is_fault,
    reads_moulds,
    swabs_of,
    wandering,
    window_truth,
)

MOMENT = pl.Datetime("us", "UTC")


def rough_truth(plan: Plan, runs: dict[str, LineRun]) -> dict[str, pl.DataFrame]:
    """false_rates: line, station, defect, rate (share of the ware at the station).  windows: line, station, window_s.

    wander: line, defect, at, factor (the part common to the line, in steps of ten minutes).  swabs: line, section, at.
    restarts: line, section (0: all), at.  asides: line, stations, code, kind, start, end, mould (ware rejected for no
    fault).
    look_alikes: line, mould, read_as, share, start, end (by forming time).  unread: station, share.
    palletiser_stops: line, palletiser, start, end.  weight_sd: line, mould, sd_g (of single containers, of each
    fitting).
    refed: line, refed_at (the first station's clock), mould, passed (whether it was packed the second time).
    """
    return {
        "false_rates": false_truth(plan.plant, plan.rough),
        "windows": window_truth(plan.plant, plan.rough, plan.window_s),
        "wander": _wander(plan),
        "swabs": _swabs(plan),
        "restarts": _restarts(plan),
        "asides": _asides(plan),
        "look_alikes": _look_alikes(plan),
        "unread": _unread(plan),
        "palletiser_stops": _palletiser_stops(plan),
        "weight_sd": pl.concat([_weight_sd(plan, line) for line in plan.lines]),
        "refed": pl.concat([_refed(plan, run) for run in runs.values()]),
    }


def _wander(plan: Plan) -> pl.DataFrame:
    schema: dict[str, Any] = {"line": pl.String, "defect": pl.String, "at": MOMENT, "factor": pl.Float64}
    parts = [pl.DataFrame(schema=schema)]
    if plan.rough.strength.wander:
        steps = [plan.at(n * STEP_MIN) for n in range(-(-plan.minutes // STEP_MIN))]
        for number, (line, line_plan) in enumerate(plan.lines.items()):
            for kind, code in enumerate(plan.plant.defects):
                if not is_fault(plan.plant, code):
                    continue
                common, _ = wandering(plan.rough, number, kind, plan.minutes, len(line_plan.cavities))
                frame = pl.DataFrame({"at": pl.Series(steps, dtype=MOMENT), "factor": common})
                parts.append(frame.select(pl.lit(line).alias("line"), pl.lit(code).alias("defect"), "at", "factor"))
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


def _restarts(plan: Plan) -> pl.DataFrame:
    rows = [
        {"line": line, "section": stop.section, "at": plan.at(stop.end)}
        for line, line_plan in plan.lines.items()
        for stop in line_plan.stops
    ]
    schema: dict[str, Any] = {"line": pl.String, "section": pl.Int64, "at": MOMENT}
    return pl.DataFrame(rows, schema=schema)


def _asides(plan: Plan) -> pl.DataFrame:
    rows = [
        {
            "line": aside.line,
            "stations": ",".join(aside.stations),
            "code": aside.code,
            "kind": aside.kind,
            "start": plan.at(aside.start),
            "end": plan.at(aside.end),
            "mould": plan.lines[aside.line].fittings[aside.mould].number if aside.mould >= 0 else None,
        }
        for aside in plan.asides
    ]
    text = dict.fromkeys(("line", "stations", "code", "kind"), pl.String)
    schema: dict[str, Any] = {**text, "start": MOMENT, "end": MOMENT, "mould": pl.String}
    return pl.DataFrame(rows, schema=schema)


def _look_alikes(plan: Plan) -> pl.DataFrame:
    rows = [
        {
            "line": look_alike.line,
            "mould": plan.lines[look_alike.line].fittings[look_alike.mould].number,
            "read_as": plan.lines[look_alike.line].fittings[look_alike.read_as].number,
            "share": look_alike.share,
            "start": plan.at(look_alike.start),
            "end": plan.at(look_alike.end),
        }
        for look_alike in plan.look_alikes
    ]
    text = dict.fromkeys(("line", "mould", "read_as"), pl.String)
    schema: dict[str, Any] = {**text, "share": pl.Float64, "start": MOMENT, "end": MOMENT}
    return pl.DataFrame(rows, schema=schema)


def _unread(plan: Plan) -> pl.DataFrame:
    values = {
        s.id: plan.rough.unread.get(s.id, plan.lines[s.line].unread) for s in plan.plant.station if reads_moulds(s.id)
    }
    return pl.DataFrame({"station": list(values), "share": list(values.values())})


def _refed(plan: Plan, run: LineRun) -> pl.DataFrame:
    at, moulds = run.ware.arrives[run.refed], np.array(run.moulds)[run.ware.mould[run.refed]]
    rows = {
        "line": [run.plan.line] * len(at),
        "refed_at": [plan.at(float(minute)) for minute in at],
        "mould": moulds.tolist(),
        "passed": run.good[run.refed].tolist(),
    }
    schema: dict[str, Any] = {"line": pl.String, "refed_at": MOMENT, "mould": pl.String, "passed": pl.Boolean}
    return pl.DataFrame(rows, schema=schema)


def _palletiser_stops(plan: Plan) -> pl.DataFrame:
    rows = [
        {"line": line, "palletiser": number, "start": plan.at(start), "end": plan.at(end)}
        for line in plan.lines
        for number in range(plan.rough.strength.palletisers)
        for start, end in stops_of(plan, line, number)
    ]
    schema: dict[str, Any] = {"line": pl.String, "palletiser": pl.Int64, "start": MOMENT, "end": MOMENT}
    return pl.DataFrame(rows, schema=schema)


def _weight_sd(plan: Plan, line: str) -> pl.DataFrame:
    texts = [fitting.number for fitting in plan.lines[line].fittings]
    return pl.DataFrame({"line": [line] * len(texts), "mould": texts, "sd_g": spread_g(plan, line)})
