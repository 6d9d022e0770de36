"""Stations with any window, several ways on one line: what can be judged is, and what cannot is said."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl
import pytest

from pipelines.measures.signals import line_counts
from pipelines.plant.works import Plant
from sample_feeds.simulator import Simulated, make_plan, simulate
from sample_feeds.simulator.plan import RUN_IN_MIN, PlannedFault
from tests.benchmarks.signal_truth import frames_of
from tests.measures.signals.coarser import coarser
from tests.measures.signals.test_odd_data import run

LATE = RUN_IN_MIN + 15 * 60 + 20  # the fault begins in the middle of an hour


@pytest.fixture(scope="module")
def simulated(plant: Plant) -> Simulated:
    """A mould at ten times its rate for four hours, a heavy fault of a section, and nothing else."""
    plan = make_plan(plant, date(2026, 8, 4), 1, seed=81_717, lag_offset=0.0, faults=0)
    plan.faults.append(PlannedFault("mould", "K3", "CHS", ("K3/6A",), LATE, LATE + 240, 10.0))
    plan.faults.append(PlannedFault("section", "K3", "SCF", ("K3/2A", "K3/2B"), LATE, LATE + 240, 30.0))
    return simulate(plan)


def onset(plant: Plant, simulated: Simulated) -> datetime:
    return simulated.plan.at(LATE) + timedelta(minutes=plant.lines["K3"].lehr_minutes)


@pytest.mark.parametrize("window_s", [60, 300, 900, 1800, 3600])
def test_a_mould_at_ten_times_its_rate_for_four_hours_is_named(
    window_s: int, plant: Plant, simulated: Simulated
) -> None:
    frames = coarser(frames_of(simulated, "K3"), window_s)
    tracker, signals, _ = run(plant, "K3", frames, simulated.plan.cold_from, 24)
    code, truth = tracker.counts.defects.index("CHS"), onset(plant, simulated)
    found = [signal for hour in signals for signal in hour if signal.defect == code]
    mould = {c.mould for c in tracker.counts.columns if (c.section, c.gob) == (6, "A")}
    assert found and found[-1].place.scope == "mould" and set(found[-1].place.members) & mould
    assert tracker.counts.moment(found[-1].onset.low) <= truth + timedelta(minutes=10)
    assert tracker.counts.moment(found[-1].onset.high) >= truth - timedelta(minutes=10)


def test_a_coarse_station_blinds_no_fine_one(plant: Plant, simulated: Simulated) -> None:
    """One lane sends hours, the other stations minutes: found no later than without that lane, and as precisely."""
    frames = frames_of(simulated, "K3")
    mixed = coarser(frames, 3600, ("K3-side-b",))
    without = tuple(f.filter(pl.col("station") != "K3-side-b") if "station" in f.columns else f for f in frames)
    raised, onsets = [], []
    for these_frames in (mixed, frames, without):
        tracker, signals, _ = run(plant, "K3", these_frames, simulated.plan.cold_from, 24)  # type: ignore[arg-type]
        code = tracker.counts.defects.index("SCF")
        mine = [signal for hour in signals for signal in hour if signal.defect == code]
        raised.append(mine[0].raised)
        onsets.append(mine[-1].onset)
    assert raised[0] <= raised[2] + 15
    assert onsets[0].high - onsets[0].low <= onsets[2].high - onsets[2].low + 15
    print(raised, onsets)


def test_a_long_window_stands_where_it_ends_with_ware_and_calls_together(plant: Plant, simulated: Simulated) -> None:
    frames = coarser(frames_of(simulated, "K3"), 3600)
    span = (simulated.plan.cold_from, simulated.plan.cold_from + timedelta(hours=24))
    counts = line_counts(plant, "K3", span, *frames, plant.lines["K3"].lehr_minutes)
    assert set(counts.window.tolist()) == {60} and not counts.unjudged.any()
    answer = counts.ware.sum(axis=(1, 2))
    whole = frames[1].group_by("station").agg(pl.col("inspected").sum())
    for number, station in enumerate(counts.stations):
        inside = frames[1].filter((pl.col("station") == station) & (pl.col("window_start") < span[1]))
        assert answer[number] == inside["inspected"].sum() == whole.filter(station=station)["inspected"][0]
    first = counts.stations.index("K3-wall") if "K3-wall" in counts.stations else 0
    filled = sorted(set((counts.ware[first].sum(axis=0).nonzero()[0] % 60).tolist()))
    assert len(filled) == 1 and counts.sent[first].mean() > 0.95


def test_windows_too_long_to_judge_are_left_out_and_said(plant: Plant, simulated: Simulated) -> None:
    frames = coarser(frames_of(simulated, "K3"), 8 * 3600, ("K3-side-a",))
    tracker, _, doubts = run(plant, "K3", frames, simulated.plan.cold_from, 24)
    at = tracker.counts.stations.index("K3-side-a")
    assert tracker.counts.ware[at].sum() == 0 and tracker.counts.unjudged[at].any()
    assert all(any("K3-side-a sends one count for 480 min: too long" in text for text in hour) for hour in doubts)


def test_hourly_windows_are_said_to_come_late(plant: Plant, simulated: Simulated) -> None:
    frames = coarser(frames_of(simulated, "K3"), 3600, ("K3-side-a",))
    _, _, doubts = run(plant, "K3", frames, simulated.plan.cold_from, 24)
    assert all(any("K3-side-a sends one count for 60 min" in text for text in hour) for hour in doubts[1:])
    assert not any("K3-side-a sent no counts" in text for hour in doubts for text in hour)


def test_a_job_that_begins_inside_a_long_window_is_not_judged_there(plant: Plant, simulated: Simulated) -> None:
    """Its hour mixes two items: left out and said; the next hour is judged by its own job."""
    calls, ware, spans, _ = coarser(frames_of(simulated, "K3"), 3600)
    start, lehr = simulated.plan.cold_from, timedelta(minutes=plant.lines["K3"].lehr_minutes)
    begins = start + timedelta(hours=12, minutes=30) - lehr
    jobs = pl.DataFrame({"started_at": [start - timedelta(days=20), begins], "job": ["A", "B"], "item": ["X", "Y"]})
    tracker, _, doubts = run(plant, "K3", (calls, ware, spans, jobs), start, 24)
    mixed = tracker.counts.unjudged[:, 12 * 60 : 13 * 60]
    assert mixed.any() and tracker.counts.ware[:, :, 12 * 60 + 10 : 13 * 60 - 10].sum() == 0
    assert any("A job began inside a window" in text for text in doubts[12 - 1])
    assert tracker.counts.ware[:, :, 13 * 60 + 10 : 14 * 60].sum() > 0


def test_an_hour_in_which_a_job_begins_is_expected_in_two_parts(plant: Plant, simulated: Simulated) -> None:
    """Minutes before the change are judged by the old job's rates, those after it by the new one's, never across it."""
    calls, ware, spans, _ = frames_of(simulated, "K3")
    start, lehr = simulated.plan.cold_from, timedelta(minutes=plant.lines["K3"].lehr_minutes)
    begins = start + timedelta(hours=12, minutes=40) - lehr
    jobs = pl.DataFrame({"started_at": [start - timedelta(days=20), begins], "job": ["A", "B"], "item": ["X", "Y"]})
    tracker, _, _ = run(plant, "K3", (calls, ware, spans, jobs), start, 24)
    old, new = tracker.parts[12]
    assert (old.start, old.stop, new.stop) == (720, 760, 780)
    assert not old.expected.borrowed and new.expected.hours == 0 and new.expected.borrowed
    first = tracker.scan.first
    assert tracker.scan.floor_of(770 - first) == 760 - first and tracker.scan.floor_of(750 - first) == 0


def test_calls_without_ware_are_not_judged(plant: Plant, simulated: Simulated) -> None:
    """A station that sends rejects only: no signal of its own, no other station's or mould's, and it is said."""
    calls, ware, spans, jobs = frames_of(simulated, "K3")
    frame = ware.filter(pl.col("station") != "K3-side-a")
    _, signals, doubts = run(plant, "K3", (calls, frame, spans, jobs), simulated.plan.cold_from, 24)
    without = (calls.filter(pl.col("station") != "K3-side-a"), frame, spans, jobs)
    _, expected, _ = run(plant, "K3", without, simulated.plan.cold_from, 24)
    assert [[signal.name for signal in hour] for hour in signals] == [[each.name for each in hour] for hour in expected]
    assert all(any("K3-side-a sent no counts" in text for text in hour) for hour in doubts)
