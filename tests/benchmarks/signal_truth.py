"""Faults for the benchmark of signals, what really became of them, and the feeds as frames."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from sample_feeds.simulator import Simulated
from sample_feeds.simulator.plan import RUN_IN_MIN, SCOPES, Plan, PlannedFault
from sample_feeds.simulator.rough import reads_moulds

LEARN_H = 10  # hours of the cold end before the first fault's ware arrives
ORIGINS = {"mould": ("mould",), "section": ("timing",), "gob": ("gob",), "line": ("gob", "lehr"), "furnace": ("glass",)}


@dataclass(frozen=True)
class Case:
    """One fault as it really showed. tellable: the place can be told from the feeds at all, because a station that
    reads moulds or more than one station can call the defect. onset, ended: first and last faulty ware at the calling
    station's
    clock: of a fault that begins while its places stand, what they make then.

    extra: rejects an hour beyond the base rate, as they were really called while it lasted; total: all of them.
    """

    fault: PlannedFault
    line: str
    onset: datetime
    ended: datetime
    formed: datetime
    extra: float
    places: tuple[str, ...]
    tellable: bool = True
    total: float = 0.0


def draw_faults(plan: Plan, number: int, rng: np.random.Generator, kind: str) -> list[PlannedFault]:
    """Faults that do not share a line and defect. kind: small has factor 2.5; large 5 to 60, with fewer cavities the
    larger;
    drift the same, reached in a straight line over the whole time."""
    planned_faults: list[PlannedFault] = []
    taken: set[tuple[str, str]] = set()
    for n in range(number * 6):
        if len(planned_faults) == number:
            break
        fault = _drawn(plan, SCOPES[n % len(SCOPES)], rng, kind)
        lines = {fault.line} if fault.scope != "furnace" else {m.split("/")[0] for m in fault.members}
        if kind == "drift":
            fault = replace(fault, drift=fault.scope != "station", end=min(plan.minutes, fault.start + 600))
        if any((line, fault.defect) in taken for line in lines):
            continue
        taken |= {(line, fault.defect) for line in lines}
        planned_faults.append(fault)
    return planned_faults


def _drawn(plan: Plan, scope: str, rng: np.random.Generator, kind: str) -> PlannedFault:
    small = kind == "small"
    plant = plan.plant
    line = str(rng.choice(list(plant.lines)))
    lehr = plan.lines[line].lag_offset + plant.lines[line].lehr_minutes
    start = int(rng.integers(RUN_IN_MIN + LEARN_H * 60 - int(lehr), plan.minutes - 360 - int(lehr)))
    end = min(plan.minutes, start + int(rng.integers(200, 900)))
    if scope == "station":
        station = plant.stations_of(line)[int(rng.integers(len(plant.stations_of(line))))]
        codes = [code for code in station.sees or plant.defects if code in plant.faults]
        factor = float(rng.uniform(2.0, 4.0)) if small else float(rng.uniform(5, 20))
        return PlannedFault(scope, line, str(rng.choice(codes)), (station.id,), start, end, factor)
    readers = [s for s in plant.stations_of(line) if reads_moulds(s.id)]
    inside = scope in ("mould", "section", "gob")
    seen = {c for s in (readers if inside else plant.stations_of(line)) for c in (s.sees or plant.defects)}
    codes = sorted(c for c in seen if c in plant.faults and plant.defects[c].origin in ORIGINS[scope])
    low, high = {"mould": (10, 60), "section": (6, 40), "gob": (5, 15)}.get(scope, (5, 12))
    factor = 2.5 if small else float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return PlannedFault(scope, line, str(rng.choice(codes)), members_of(plan, scope, line, rng), start, end, factor)


def members_of(plan: Plan, scope: str, line: str, rng: np.random.Generator) -> tuple[str, ...]:
    from sample_feeds.simulator.plan import _members

    return _members(plan, scope, line, rng)


def cases_of(simulated: Simulated, faults: list[PlannedFault]) -> list[Case]:
    """What each fault really did, once for every line it touches."""
    cases = []
    for fault in faults:
        lines = [fault.line] if fault.scope != "furnace" else sorted({m.split("/")[0] for m in fault.members})
        cases += [_case(simulated, fault, line) for line in lines]
    return cases


def _case(simulated: Simulated, fault: PlannedFault, line: str) -> Case:
    plan, plant = simulated.plan, simulated.plan.plant
    able = [s for s in plant.stations_of(line) if s.can_call(fault.defect)]
    lehr = simulated.truth["lehr"].filter(pl.col("line") == line)["lehr_minutes"]
    first, last = (lehr[min(at, lehr.len() - 1)] for at in (fault.start, fault.end))
    sections = {int(m.split("/")[1][:-1]) for m in fault.members if m.startswith(f"{line}/")}
    if fault.scope == "station":
        after = plant.stations[fault.members[0]].after_minutes
        formed = plan.at(fault.start)
        onset = _ware_from(simulated, line, sections, plan.at(fault.start - first)) + timedelta(minutes=first + after)
        ended = plan.at(fault.end + after)
    else:
        after = able[0].after_minutes
        formed = _ware_from(simulated, line, sections, plan.at(fault.start))
        onset, ended = formed + timedelta(minutes=first + after), plan.at(fault.end + last + after)
    calls = simulated.truth["calls"].filter(
        (pl.col("line") == line) & (pl.col("defect") == fault.defect) & pl.col("called_at").is_between(onset, ended)
    )
    until = min(ended, plan.at(plan.minutes))
    hours = max((until - onset).total_seconds() / 3600, 0.1)
    if fault.scope == "station":
        mine = calls.filter((pl.col("station") == fault.members[0]) & ~pl.col("real"))
        extra = mine.height / hours
    else:
        here = [m for m in fault.members if m.startswith(f"{line}/")]
        cavity = pl.format("{}/{}{}", pl.lit(line), "section", "gob").is_in(here)
        extra = calls.filter(cavity & pl.col("real")).height * (1 - 1 / fault.factor) / hours
    readers = [s for s in able if reads_moulds(s.id)]
    places = tuple(m for m in fault.members if m.startswith(f"{line}/"))
    tellable = bool(readers) or len(able) > 1
    return Case(fault, line, onset, ended, formed, extra, places, tellable, extra * hours)


def _ware_from(simulated: Simulated, line: str, sections: set[int], moment: datetime) -> datetime:
    """The first moment from `moment` on at which a section of those named (of all, where none is) makes ware, by the
    forming clock.
    """
    stops = (
        simulated.feeds["stoppages"]
        .filter((pl.col("line") == line) & (pl.col("restarted_at") > moment))
        .sort("restarted_at")
    )
    asked = sections or {section for section, _ in simulated.plan.lines[line].cavities}
    while True:
        now = stops.filter((pl.col("stopped_at") <= moment) & (pl.col("restarted_at") > moment))
        whole = now.filter(pl.col("section").is_null())
        mine = now.filter(pl.col("section").is_in(list(asked)))
        if whole.height:
            moment = whole["restarted_at"].max()  # type: ignore[assignment]
        elif set(mine["section"]) == asked:
            moment = mine["restarted_at"].min()  # type: ignore[assignment]
        else:
            return moment


def frames_of(simulated: Simulated, line: str) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Calls, ware, mould stays and jobs of a line, as the ledger's queries would give them."""
    feeds, mine = simulated.feeds, pl.col("line") == line
    calls = feeds["reject_counts"].filter(mine).rename({"rejected": "calls"})
    ware = feeds["station_counts"].filter(mine)
    log = feeds["mould_log"].filter(mine & (pl.col("part") == "mould")).sort("fitted_at")
    spans = log.with_columns(ended_at=pl.col("fitted_at").shift(-1).over("section", "gob"))
    return calls, ware, spans, feeds["job_log"].filter(mine).sort("started_at")


def p_chart_alarms(simulated: Simulated, line: str, hours_back: int = 24) -> pl.DataFrame:
    """Alarms of a p chart per mould and defect: hour, mould, defect where the share exceeds p + 3 sqrt(p (1 - p) / n).

    p: the pooled share of the hours before, at least six of them, in this job's moulds; n: the mould's ware in the
    hour.
    References: [1] Montgomery, Introduction to Statistical Quality Control, control chart for fraction nonconforming.
    """
    calls, ware, _, _ = frames_of(simulated, line)
    first = {s.id for s in simulated.plan.plant.stations_of(line) if reads_moulds(s.id)}
    start = simulated.plan.cold_from
    hour = ((pl.col("window_start") - start).dt.total_seconds() // 3600).alias("hour")
    orders = {s.id: s.order for s in simulated.plan.plant.stations_of(line)}
    lowest = min(orders[s] for s in first)
    n = ware.filter(pl.col("station").is_in([s for s in first if orders[s] == lowest]) & pl.col("mould").is_not_null())
    n = n.group_by(hour, "mould").agg(n=pl.col("inspected").sum()).sort("mould", "hour")
    y = calls.filter(pl.col("mould").is_not_null()).group_by(hour, "mould", "defect").agg(y=pl.col("calls").sum())
    codes = pl.DataFrame({"defect": list(simulated.plan.plant.faults)})
    grid = (
        n.join(codes, how="cross")
        .join(y, on=["hour", "mould", "defect"], how="left")
        .with_columns(pl.col("y").fill_null(0))
    )
    grid = grid.sort("mould", "defect", "hour")
    past = [
        pl.col(x).rolling_sum(hours_back, min_samples=6).shift(1).over("mould", "defect").alias(f"past_{x}")
        for x in ("y", "n")
    ]
    frame = grid.with_columns(past).with_columns(p=pl.col("past_y") / pl.col("past_n"))
    limit = pl.col("p") + 3 * (pl.col("p") * (1 - pl.col("p")) / pl.col("n")).sqrt()
    return frame.filter(pl.col("y") / pl.col("n") > limit).with_columns(
        at=pl.lit(start) + (pl.col("hour") + 1) * timedelta(hours=1)
    )


def lehr_minutes_of(simulated: Simulated) -> tuple[dict[str, float], list[float]]:
    """Each line's lehr time as estimated from the feeds, and how far each hour after the first shift is from the truth
    [min].
    """
    from pipelines.measures.lehr.lehr_time import lehr_by_hour

    plant = simulated.plan.plant
    row, off = {}, []
    for line in plant.line:
        crossing = crossing_of(simulated, line.id)
        hours, _ = lehr_by_hour(crossing, line.lehr_minutes)
        row[line.id] = float(np.median([h.minutes for h in hours]))
        truth = simulated.truth["lehr"].filter(pl.col("line") == line.id)["lehr_minutes"].to_numpy()
        for number, hour in enumerate(hours):
            if number >= 8:
                formed = int(RUN_IN_MIN + number * 60 + 30 - hour.minutes)
                off.append(hour.minutes - float(truth[formed]))
    return row, off


def crossing_of(simulated: Simulated, line: str) -> Any:
    from pipelines.measures.lehr.lehr_time import crossing

    _, ware, spans, _ = frames_of(simulated, line)
    plan = simulated.plan
    forming = simulated.feeds["forming_counts"].filter(pl.col("line") == line)
    until = plan.at(plan.minutes)
    return crossing(plan.plant, line, (plan.cold_from, until), forming, ware, spans)
