"""Faults of every scope in a simulated works with known truth: found, placed, dated; quiet works stay quiet."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipelines.measures.signals import Found, Tracker, follow_lines, line_counts
from pipelines.plant.works import Plant
from sample_feeds.simulator import make_plan, simulate
from sample_feeds.simulator.plan import RUN_IN_MIN, Plan, PlannedFault
from tests.benchmarks.signal_truth import frames_of

START = RUN_IN_MIN + 14 * 60
FAULTS = (
    PlannedFault("mould", "K3", "CHF", ("K3/4B",), START, START + 300, 60.0),
    PlannedFault("section", "K1", "THN", ("K1/5A", "K1/5B"), START, START + 300, 25.0),
    PlannedFault("gob", "K4", "LAP", tuple(f"K4/{s}C" for s in range(1, 7)), START, START + 300, 14.0),
    PlannedFault("line", "K3", "BLI", tuple(f"K3/{s}{g}" for s in range(1, 11) for g in "AB"), START, START + 300, 7.0),
    PlannedFault(
        "furnace",
        "K1",
        "STN",
        tuple(f"K1/{s}{g}" for s in range(1, 9) for g in "AB") + tuple(f"K2/{s}A" for s in range(1, 7)),
        START,
        START + 300,
        9.0,
    ),
    PlannedFault("station", "K3", "SCF", ("K3-side-b",), START, START + 300, 15.0),
    PlannedFault("mould", "K4", "DRT", ("K4/2A",), START, START + 420, 60.0, drift=True),
)


def followed(plan: Plan, plant: Plant) -> tuple[dict[tuple[str, str], list[Found]], dict[str, Tracker]]:
    """Every signal by (line, name), as it stood hour by hour; and the trackers."""
    simulated = simulate(plan)
    span = (plan.cold_from, plan.cold_from + timedelta(hours=24))
    rows: dict[tuple[str, str], list[Found]] = {}
    every: dict[str, Tracker] = {}
    for furnace in plant.furnace:
        lehr = {line.id: line.lehr_minutes for line in plant.lines_of(furnace.id)}
        counts = {
            line: line_counts(plant, line, span, *frames_of(simulated, line), minutes) for line, minutes in lehr.items()
        }
        for _, trackers, states in follow_lines(plant, counts, 1, lehr):
            every |= trackers
            for line, signals in states.items():
                for signal in signals:
                    rows.setdefault((line, signal.name), []).append(signal)
    return rows, every


@pytest.fixture(scope="module")
def faulty(plant: Plant) -> tuple[dict[tuple[str, str], list[Found]], dict[str, Tracker], Plan]:
    plan = make_plan(plant, date(2026, 7, 7), 1, seed=660_021, lag_offset=0.0, faults=0)
    plan.faults.extend(FAULTS)
    return (*followed(plan, plant), plan)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: f"{fault.scope}-{fault.defect}")
def test_a_fault_is_found_placed_and_dated(
    fault: PlannedFault, faulty: tuple[dict[tuple[str, str], list[Found]], dict[str, Tracker], Plan], plant: Plant
) -> None:
    rows, trackers, plan = faulty
    tracker = trackers[fault.line]
    counts = tracker.counts
    code = counts.defects.index(fault.defect)
    arrives = plan.at(fault.start)
    if fault.scope != "station":
        arrives += timedelta(minutes=plant.lines[fault.line].lehr_minutes)
    mine = [states for (line, _), states in rows.items() if line == fault.line and states[0].defect == code]
    shown = [
        states
        for states in mine
        if arrives - timedelta(minutes=8) <= counts.moment(states[0].raised) <= arrives + timedelta(hours=4)
    ]
    assert shown, mine
    first, last = shown[0][0], shown[0][-1]
    assert last.place.scope == fault.scope and last.placing.scopes[fault.scope] > 0.5
    if fault.scope in ("mould", "section", "gob"):
        cavities = {f"{fault.line}/{counts.columns[n].section}{counts.columns[n].gob}" for n in last.place.columns}
        assert cavities == set(fault.members)
    if fault.scope == "station":
        assert last.place.members == fault.members
    if not fault.drift:
        assert counts.moment(first.raised) <= arrives + timedelta(minutes=45)
        assert abs(counts.moment(last.onset.at) - arrives) <= timedelta(minutes=12)
    assert last.ended is not None
    ended = plan.at(fault.end) + (arrives - plan.at(fault.start))
    assert abs(counts.moment(last.ended) - ended) <= timedelta(minutes=90)


def test_the_furnace_signal_names_both_lines(
    faulty: tuple[dict[tuple[str, str], list[Found]], dict[str, Tracker], Plan],
) -> None:
    rows, trackers, _ = faulty
    code = trackers["K2"].counts.defects.index("STN")
    on_k2 = [states[-1] for (line, _), states in rows.items() if line == "K2" and states[0].defect == code]
    assert any(signal.place.scope == "furnace" and set(signal.place.members) == {"K1", "K2"} for signal in on_k2)


def test_a_signal_keeps_its_name_from_hour_to_hour(
    faulty: tuple[dict[tuple[str, str], list[Found]], dict[str, Tracker], Plan],
) -> None:
    rows, trackers, _ = faulty
    code = trackers["K3"].counts.defects.index("BLI")
    hours = [states for (line, _), states in rows.items() if line == "K3" and states[0].defect == code]
    assert max(len(states) for states in hours) >= 4
    assert all(state.raised == states[0].raised for states in hours for state in states)


def test_an_hour_that_has_only_begun_loses_as_much_an_hour(plant: Plant) -> None:
    """Five minutes into an hour the loss is of the last hour of counts, not of five minutes and 55 empty ones."""
    plan = make_plan(plant, date(2026, 7, 7), 1, seed=660_021, lag_offset=0.0, faults=0)
    plan.faults.extend(FAULTS)
    simulated, line = simulate(plan), "K3"
    cut = plan.at(START + 240).replace(minute=5)
    span = (plan.cold_from, cut.replace(minute=0) + timedelta(hours=1))
    calls, ware, *logs = frames_of(simulated, line)
    came = pl.col("window_start") < cut
    lehr = plant.lines[line].lehr_minutes
    counts = line_counts(plant, line, span, calls.filter(came), ware.filter(came), *logs, lehr)
    hours = [states[line] for _, _, states in follow_lines(plant, {line: counts}, 1, {line: lehr})]
    before, now = (next(s for s in states if s.defect == counts.defects.index("BLI")) for states in hours[-2:])
    assert now.recent == pytest.approx(before.recent, rel=0.25) and before.recent > 50


@pytest.mark.parametrize("seed", [660_101, 660_102])
def test_quiet_works_raise_few_alarms(seed: int, plant: Plant) -> None:
    """At most one a line and day is the aim over many days; two quiet days of four lines may hold a few."""
    rows, _ = followed(make_plan(plant, date(2026, 7, 7), 1, seed=seed, lag_offset=0.0, faults=0), plant)
    assert len(rows) <= 8


def test_drifting_means_growing(plant: Plant) -> None:
    """A defect whose rate creeps up is shown before it is many times its old rate."""
    plan = make_plan(plant, date(2026, 7, 7), 1, seed=660_201, lag_offset=0.0, faults=0)
    everywhere = tuple(f"K1/{s}{g}" for s in range(1, 9) for g in "AB")
    plan.faults.append(
        PlannedFault("line", "K1", "SCF", everywhere, RUN_IN_MIN + 420, RUN_IN_MIN + 1380, 4.0, drift=True)
    )
    rows, trackers = followed(plan, plant)
    counts = trackers["K1"].counts
    mine = [
        states[0] for (line, _), states in rows.items() if line == "K1" and counts.defects[states[0].defect] == "SCF"
    ]
    assert mine and min(signal.raised for signal in mine) < 16 * 60 + 92
