"""Signals against known truth: what is found, how soon, placed and dated how well; beside a plain p chart.

    python -m tests.benchmarks.signals [--works 10] [--quiet 10] [--seed 1] [--off 12] [--jobs 2] [--speed]

Simulated works of two days whose faults are drawn here: each multiplies a defect's rate at a mould, section, gob position, line or
furnace, or is called falsely by a station, for some hours. Every line is followed hour by hour as in a running works, with
lehr times estimated from the feeds while works.toml is `--off` minutes wrong. A plain p chart per mould and defect with
3-sigma limits reads the same hours. `--speed` times 12 lines of 24 moulds and 30 defects instead.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from importlib.resources import files
from itertools import repeat

import numpy as np

from pipelines.measures.signals import Found, Tracker, follow_lines, line_counts
from pipelines.plant import Plant, read_plant
from sample_feeds.simulator import Simulated, make_plan, simulate
from tests.benchmarks.signal_truth import (
    LEARN_H,
    Case,
    cases_of,
    draw_faults,
    frames_of,
    lehr_minutes_of,
    p_chart_alarms,
)

FIRST = date(2026, 5, 4)
DAYS = 2


@dataclass(frozen=True)
class Hit:
    """A fault with what was said of it; None where it was not found."""

    case: Case
    kind: str
    delay: float | None = None
    scope: bool | None = None
    members: bool | None = None
    onset_off: float | None = None
    covered: bool | None = None
    chart_delay: float | None = None


@dataclass
class Told:
    """Everything measured on some works."""

    hits: list[Hit] = field(default_factory=list)
    false: int = 0
    false_chart: int = 0
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
    def cavities(self) -> set[str]:
        columns = self.tracker.counts.columns
        return {f"{self.line}/{columns[n].section}{columns[n].gob}" for n in self.last.place.columns}


def plant() -> Plant:
    return read_plant(files("sample_feeds").joinpath("works.toml").read_text(encoding="utf-8"))


def followed(works: Plant, simulated: Simulated, lehr: dict[str, float]) -> list[Said]:
    """Every signal of the works' lines, hour by hour as they would have been shown."""
    span = (simulated.plan.cold_from, simulated.plan.cold_from + timedelta(days=DAYS))
    told: list[Said] = []
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
        told += [Said(line, firsts[line, name], last, trackers[line]) for (line, name), last in lasts.items()]
    return told


def works_told(seed: int, faults: int, kind: str, off: float) -> Told:
    """One simulated works: followed, and compared with its truth."""
    works = plant()
    plan = make_plan(works, FIRST, DAYS, seed, lag_offset=off, faults=0)
    plan.faults.extend(draw_faults(plan, faults, np.random.default_rng([seed, 9]), kind))
    simulated = simulate(plan)
    lehr, off_by = lehr_minutes_of(simulated)
    said = followed(works, simulated, lehr)
    cases = cases_of(simulated, plan.faults)
    judged = plan.cold_from + timedelta(hours=LEARN_H)
    told = Told(line_days=len(works.line) * (DAYS - LEARN_H / 24), lehr_off=off_by)
    told.hits = [_hit(case, kind, said, simulated) for case in cases]
    mine = [one for one in said if one.raised >= judged]
    told.false = sum(not any(_touches(one, case) for case in cases) for one in mine)
    if not cases:
        told.false_chart = sum(p_chart_alarms(simulated, line.id).height for line in works.line)
    return told


def _touches(one: Said, case: Case) -> bool:
    same = one.line == case.line and one.tracker.counts.defects[one.last.defect] == case.fault.defect
    return same and case.onset - timedelta(minutes=5) <= one.raised <= case.ended + timedelta(minutes=30)


def _hit(case: Case, kind: str, said: Sequence[Said], simulated: Simulated) -> Hit:
    charted = _chart_delay(case, simulated)
    mine = [
        one
        for one in said
        if _touches(one, case) and (case.fault.scope == "station" or one.cavities & set(case.places))
    ]
    if not mine:
        return Hit(case, kind, chart_delay=charted)
    one = min(mine, key=lambda s: s.raised)
    minutes: Callable[[datetime], float] = lambda moment: (moment - case.onset).total_seconds() / 60  # noqa: E731
    low, at, high = (
        one.tracker.counts.moment(x) + one.after for x in (one.last.onset.low, one.last.onset.at, one.last.onset.high)
    )
    scope = _scope_right(one, case)
    return Hit(
        case, kind, minutes(one.raised), scope, scope and _members_right(one, case), minutes(at),
        low <= case.onset <= high + timedelta(minutes=1), charted,
    )  # fmt: skip


def _scope_right(one: Said, case: Case) -> bool:
    """Whether the scope is the true one, or one that is the same set of cavities on this machine."""
    line = one.tracker.plant.lines[one.line]
    said, true = one.last.place.scope, case.fault.scope
    same = (
        {("section", "mould"), ("mould", "section"), ("gob", "line"), ("line", "gob"), ("gob", "furnace")}
        if line.gobs == 1
        else set()
    )
    return said == true or (said, true) in same


def _members_right(one: Said, case: Case) -> bool:
    if case.fault.scope == "station":
        return one.last.place.members == case.fault.members
    return one.cavities == set(case.places)


def _chart_delay(case: Case, simulated: Simulated) -> float | None:
    """Minutes until the p chart of any mould concerned shows the defect, while the fault lasts."""
    import polars as pl

    alarms = p_chart_alarms(simulated, case.line).filter(
        (pl.col("defect") == case.fault.defect)
        & (pl.col("at") > case.onset)
        & (pl.col("at") <= case.ended + timedelta(hours=1))
    )
    first = alarms["at"].min()
    return (first - case.onset).total_seconds() / 60 if isinstance(first, datetime) else None


def joined(parts: Sequence[Told]) -> Told:
    told = Told()
    for part in parts:
        told.hits += part.hits
        told.false += part.false
        told.false_chart += part.false_chart
        told.line_days += part.line_days
        told.lehr_off += part.lehr_off
    return told


def show(name: str, hits: Sequence[Hit], within: float | None = None) -> None:
    """One row of the table: hits of a class."""
    if not hits:
        return
    found = [h for h in hits if h.delay is not None and (within is None or h.delay <= within)]
    chart = [h.chart_delay for h in hits if h.chart_delay is not None and (within is None or h.chart_delay <= within)]
    delays = np.array([h.delay for h in found if h.delay is not None] or [np.nan])
    off = np.abs(np.array([h.onset_off for h in found if h.onset_off is not None] or [np.nan]))

    def share(values: Sequence[bool | None]) -> str:
        return f"{100 * float(np.mean([bool(v) for v in values])):5.1f}" if values else "    -"

    print(
        f"{name:<30}{len(hits):5d}  {100 * len(found) / len(hits):6.1f} {np.median(delays):7.1f} {np.quantile(delays, 0.9):7.1f}  "
        f"{share([h.scope for h in found])}  {share([h.members for h in found if h.scope])}   {share([bool(x <= 10) for x in off])}    "
        f"{share([h.covered for h in found])}   {100 * len(chart) / len(hits):6.1f} {np.median(chart) if chart else float('nan'):7.1f}"
    )


def table(faulty: Told, small: Told, drift: Told, quiet: Told) -> None:
    print(f"{'faults':<30}    n found, %  median    90 %  scope members  onset<10  covered  p chart  median")
    big = [h for h in faulty.hits if h.case.fault.factor >= 5 and h.case.extra >= 10]
    show("x5 and more, 10/h and more", big)
    show("  whose place the feeds can tell", [h for h in big if h.case.tellable])
    for scope in ("mould", "section", "gob", "line", "furnace", "station"):
        show(f"  {scope}", [h for h in big if h.case.fault.scope == scope])
    show("x5 and more, under 10/h", [h for h in faulty.hits if h.case.extra < 10])
    some = [h for h in small.hits if h.case.extra >= 10]
    show("x2.5, 10/h and more, in 3 h", some, 180)
    show("x2.5, under 10/h, in 3 h", [h for h in small.hits if h.case.extra < 10], 180)
    show("slow drifts to x5 and more", [h for h in drift.hits if h.case.fault.drift and h.case.extra >= 10])
    print(f"\nfalse alarms a line and day: quiet works {quiet.false / max(quiet.line_days, 1e-9):.2f} in {quiet.line_days:.0f} line-days;"
          f" beside faults {faulty.false / max(faulty.line_days, 1e-9):.2f}; p chart on quiet works {quiet.false_chart / max(quiet.line_days, 1e-9):.0f}")  # fmt: skip
    off = np.abs(faulty.lehr_off + small.lehr_off + quiet.lehr_off)
    if len(off):
        print(
            f"lehr time after the first shift: median error {np.median(off):.2f} min, 95 % {np.quantile(off, 0.95):.2f} ({len(off)} line-hours)"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--works", type=int, default=10, help="works with large faults; as many with x2.5")
    parser.add_argument("--quiet", type=int, default=10, help="works without faults")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--off", type=float, default=12.0, help="minutes by which works.toml is wrong about the lehr")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    kinds = {
        "large": (asked.works, 14),
        "small": (asked.works, 14),
        "drift": (-(-asked.works // 2), 14),
        "quiet": (asked.quiet, 0),
    }
    tasks = [
        (asked.seed * 10_000 + 1000 * part + n, faults, kind)
        for part, (kind, (works, faults)) in enumerate(kinds.items())
        for n in range(works)
    ]
    with ProcessPoolExecutor(asked.jobs) as pool:
        told = list(pool.map(works_told, *zip(*tasks, strict=True), repeat(asked.off)))
    of_kind = {kind: joined([t for t, task in zip(told, tasks, strict=True) if task[2] == kind]) for kind in kinds}
    table(*of_kind.values())


if __name__ == "__main__":
    main()
