"""What the signals told of a simulated works, fault by fault, against what really happened; beside a p chart of 3
sigma.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.measures.signals import Found, Tracker, follow_lines, line_counts
from pipelines.plant.works import Plant
from sample_feeds.simulator import Plan, PlannedFault, Simulated, make_plan, simulate
from sample_feeds.simulator.plan import RUN_IN_MIN
from sample_feeds.simulator.rough import reads_moulds
from tests.benchmarks.signal_truth import (
    LEARN_H,
    Case,
    cases_of,
    draw_faults,
    frames_of,
    lehr_minutes_of,
    p_chart_alarms,
)
from tests.benchmarks.worlds import WORLDS

FIRST = date(2026, 5, 4)
DAYS = 2
CHART_CALLS = 3  # the p chart calls nothing with fewer


@dataclass(frozen=True)
class Hit:
    """A fault with what was said of it; None where it was not found. chart, chart3: minutes until the p chart shows it;
    with at least 3 calls.

    signals: how many told of it at the end; one closed as part of another is not counted.
    """

    case: Case
    kind: str
    delay: float | None = None
    scope: bool | None = None
    members: bool | None = None
    probability: float | None = None
    onset_off: float | None = None
    covered: bool | None = None
    chart: float | None = None
    chart3: float | None = None
    signals: int = 0


@dataclass
class Told:
    """Everything measured on some works. places: probability told and whether right, of every signal that was a
    fault's.
    """

    hits: list[Hit] = field(default_factory=list)
    places: list[tuple[float, bool]] = field(default_factory=list)
    false: int = 0
    false_chart: int = 0
    false_chart3: int = 0
    line_days: float = 0.0
    lehr_off: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Said:
    """One signal at the moment it was raised and at the end."""

    line: str
    first: Found
    last: Found
    tracker: Tracker

    @property
    def after(self) -> timedelta:
        return timedelta(minutes=self.tracker.after_minutes(self.last))

    @property
    def raised(self) -> datetime:
        return self.tracker.counts.moment(self.last.raised) + self.after

    @property
    def probability(self) -> float:
        return self.last.placing.scopes.get(self.last.place.scope, 0.0)

    @property
    def cavities(self) -> set[str]:
        columns = self.tracker.counts.columns
        return {f"{self.line}/{columns[n].section}{columns[n].gob}" for n in self.last.place.columns}


def followed(works: Plant, simulated: Simulated, lehr: dict[str, float]) -> list[Said]:
    """Every signal of the works' lines, hour by hour as they would have been shown; what only passed is told to
    nobody.
    """
    span = (simulated.plan.cold_from, simulated.plan.cold_from + timedelta(days=DAYS))
    saids: list[Said] = []
    for furnace in works.furnace:
        counts = {
            line.id: line_counts(works, line.id, span, *frames_of(simulated, line.id), lehr[line.id])
            for line in works.lines_of(furnace.id)
        }
        firsts: dict[tuple[str, str], Found] = {}
        lasts: dict[tuple[str, str], Found] = {}
        trackers: dict[str, Tracker] = {}
        for _, now, states in follow_lines(works, counts, 1, lehr):
            trackers = now
            for line, signals in states.items():
                for signal in signals:
                    firsts.setdefault((line, signal.name), signal)
                    lasts[line, signal.name] = signal
        saids += [Said(line, firsts[line, name], last, trackers[line]) for (line, name), last in lasts.items()]
    return [seen for seen in saids if not getattr(seen.last, "passed", False)]


def works_told(seed: int, faults: int, kind: str, off: float, world: str) -> Told:
    """One simulated works: followed, and compared with its truth. kind: of draw_faults, `quiet`, or `quiet 25 %` (rates
    wander by 25 %).
    """
    works, rough = WORLDS[world].plant(seed), WORLDS[world].roughness
    if kind == "quiet 25 %":
        rough = replace(rough, wander=0.25)
    plan = make_plan(works, FIRST, DAYS, seed, lag_offset=off, faults=0, roughness=rough)
    plan.faults.extend(draw_faults(plan, faults, np.random.default_rng([seed, 9]), kind))
    simulated = simulate(plan)
    lehr, off_by = lehr_minutes_of(simulated)
    said = followed(works, simulated, lehr)
    cases = cases_of(simulated, plan.faults)
    judged = plan.cold_from + timedelta(hours=LEARN_H)
    seen = Told(line_days=len(works.line) * (DAYS - LEARN_H / 24), lehr_off=off_by)
    seen.hits = [_hit(case, kind, said, simulated) for case in cases]
    seen.places = [
        (answer.probability, any(_right(answer, case) for case in mine))
        for answer in said
        if (mine := [case for case in cases if _touches(answer, case) and _shares(answer, case)])
    ]
    seen.false = sum(answer.raised >= judged and not any(_touches(answer, case) for case in cases) for answer in said)
    if not cases:
        for line in works.line:
            alarms = p_chart_alarms(simulated, line.id)
            seen.false_chart += alarms.height
            seen.false_chart3 += alarms.filter(pl.col("y") >= CHART_CALLS).height
    return seen


def hourly_told(seed: int, off: float) -> Told:
    """A rough works whose stations all report by the hour: on each line one mould makes ten times its rate of a defect
    for four hours.
    """
    works = WORLDS["rough"].plant(seed)
    rough = replace(WORLDS["rough"].roughness, windows=(3600,))
    plan = make_plan(works, FIRST, DAYS, seed, lag_offset=off, faults=0, roughness=rough)
    plan.faults.extend(_ten_times(plan, np.random.default_rng([seed, 9])))
    simulated = simulate(plan)
    said = followed(works, simulated, lehr_minutes_of(simulated)[0])
    cases = cases_of(simulated, plan.faults)
    seen = Told(line_days=len(works.line) * (DAYS - LEARN_H / 24))
    seen.hits = [_hit(case, "hourly", said, simulated) for case in cases]
    return seen


def _ten_times(plan: Plan, rng: np.random.Generator) -> list[PlannedFault]:
    found, plant = [], plan.plant
    for line, lined in plan.lines.items():
        readers = [s for s in plant.stations_of(line) if reads_moulds(s.id)]
        codes = sorted({c for s in readers for c in s.sees or () if c in plant.faults and _often(plant, c)})
        section, gob = lined.cavities[int(rng.integers(len(lined.cavities)))]
        start = int(rng.integers(RUN_IN_MIN + LEARN_H * 60 + 600, plan.minutes - 500))
        members = (f"{line}/{section}{gob}",)
        found.append(PlannedFault("mould", line, str(rng.choice(codes)), members, start, start + 240, 10.0))
    return found


def _often(plant: Plant, code: str) -> bool:
    return plant.defects[code].severity != "critical" and plant.defects[code].origin == "mould"


def mixed_told(seed: int, off: float) -> tuple[Told, Told, Told]:
    """Lines whose last station reports by the hour and the others by the minute; the same feeds without the hourly
    station's; all by the minute.
    """
    works = WORLDS["rough"].plant(seed)
    lasts = [works.stations_of(line)[-1].id for line in works.lines]
    found = []
    for hourly, heard in ((True, True), (True, False), (False, True)):
        plan = make_plan(works, FIRST, DAYS, seed, lag_offset=off, faults=0, roughness=WORLDS["rough"].roughness)
        windows = {s: 3600 if hourly and s in lasts else 60 for s in works.stations}
        plan.rough = replace(plan.rough, windows=windows)
        plan.faults.extend(draw_faults(plan, 12, np.random.default_rng([seed, 9]), "large"))
        simulated = simulate(plan)
        lehr = lehr_minutes_of(simulated)[0]
        if not heard:
            for feed in ("station_counts", "reject_counts"):
                simulated.feeds[feed] = simulated.feeds[feed].filter(~pl.col("station").is_in(lasts))
        said = followed(works, simulated, lehr)
        able = [c for c in cases_of(simulated, plan.faults) if _seen_without(works, c, lasts)]
        found.append(Told(hits=[_hit(case, "mixed", said, simulated) for case in able]))
    return found[0], found[1], found[2]


def _seen_without(works: Plant, case: Case, lasts: Sequence[str]) -> bool:
    """Whether the fault can be seen without the last stations."""
    if case.fault.scope == "station":
        return case.fault.members[0] not in lasts
    return any(s.can_call(case.fault.defect) and s.id not in lasts for s in works.stations_of(case.line))


def _touches(seen: Said, case: Case) -> bool:
    same = seen.line == case.line and seen.tracker.counts.defects[seen.last.defect] == case.fault.defect
    return same and case.onset - timedelta(minutes=5) <= seen.raised <= case.ended + timedelta(minutes=30)


def _shares(seen: Said, case: Case) -> bool:
    return case.fault.scope == "station" or bool(seen.cavities & set(case.places))


def _right(seen: Said, case: Case) -> bool:
    return _scope_right(seen, case) and _members_right(seen, case)


def _hit(case: Case, kind: str, said: Sequence[Said], simulated: Simulated) -> Hit:
    chart, chart3 = (_chart_delay(case, simulated, calls) for calls in (0, CHART_CALLS))
    mine = [answer for answer in said if _touches(answer, case) and _shares(answer, case)]
    if not mine:
        return Hit(case, kind, chart=chart, chart3=chart3)
    seen = min(mine, key=lambda s: s.raised)
    minutes: Callable[[datetime], float] = lambda moment: (moment - case.onset).total_seconds() / 60  # noqa: E731
    low, at, high = (
        seen.tracker.counts.moment(x) + seen.after
        for x in (seen.last.onset.low, seen.last.onset.at, seen.last.onset.high)
    )
    scope = _scope_right(seen, case)
    return Hit(
        case,
        kind,
        minutes(seen.raised),
        scope,
        scope and _members_right(seen, case),
        seen.probability,
        minutes(at),
        low <= case.onset <= high + timedelta(minutes=1),
        chart,
        chart3,
        sum(not s.last.part_of for s in mine),
    )


def _scope_right(seen: Said, case: Case) -> bool:
    """Whether the scope is the true one, or one that is the same set of cavities on this machine."""
    line = seen.tracker.plant.lines[seen.line]
    said, true = seen.last.place.scope, case.fault.scope
    same = (
        {("section", "mould"), ("mould", "section"), ("gob", "line"), ("line", "gob"), ("gob", "furnace")}
        if line.gobs == 1
        else set()
    )
    if len(seen.tracker.plant.lines_of(line.furnace)) == 1:
        same |= {("furnace", "line"), ("line", "furnace")}
    return said == true or (said, true) in same


def _members_right(seen: Said, case: Case) -> bool:
    if case.fault.scope == "station":
        return seen.last.place.members == case.fault.members
    return seen.cavities == set(case.places)


def _chart_delay(case: Case, simulated: Simulated, least: int) -> float | None:
    """Minutes until the p chart of any mould concerned shows the defect, with at least so many calls, while the fault
    lasts.
    """
    alarms = p_chart_alarms(simulated, case.line).filter(
        (pl.col("defect") == case.fault.defect)
        & (pl.col("y") >= least)
        & (pl.col("at") > case.onset)
        & (pl.col("at") <= case.ended + timedelta(hours=1))
    )
    first = alarms["at"].min()
    return (first - case.onset).total_seconds() / 60 if isinstance(first, datetime) else None


def joined(parts: Sequence[Told]) -> Told:
    seen = Told()
    for part in parts:
        seen.hits += part.hits
        seen.places += part.places
        seen.false += part.false
        seen.false_chart += part.false_chart
        seen.false_chart3 += part.false_chart3
        seen.line_days += part.line_days
        seen.lehr_off += part.lehr_off
    return seen
