"""Sparse and odd data: no crash, no false certainty, and a sentence about what could not be judged."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from pipelines.measures.signals import Found, Tracker, follow_lines, line_counts
from pipelines.measures.signals.expected import hour_doubts, hour_expectations
from pipelines.plant.works import Plant
from sample_feeds.simulator import Simulated, make_plan, simulate
from sample_feeds.simulator.plan import RUN_IN_MIN, PlannedFault
from tests.benchmarks.signal_truth import frames_of

DAY = date(2026, 8, 4)
Frames = tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]


@pytest.fixture(scope="module")
def simulated(plant: Plant) -> Simulated:
    plan = make_plan(plant, DAY, 1, seed=71_717, lag_offset=0.0, faults=0)
    late = RUN_IN_MIN + 15 * 60
    plan.faults.append(PlannedFault("mould", "K3", "CHS", ("K3/6A",), late, late + 300, 70.0))
    plan.faults.append(PlannedFault("station", "K3", "SCF", ("K3-side-a",), late, late + 300, 15.0))
    return simulate(plan)


def run(
    plant: Plant, line: str, frames: Frames, start: datetime, hours: int
) -> tuple[Tracker, list[list[Found]], list[list[str]]]:
    """Follow one line; its tracker, the signals and the doubts of every hour."""
    span = (start, start + timedelta(hours=hours))
    counts = line_counts(plant, line, span, *frames, plant.lines[line].lehr_minutes)
    tracker, signals, doubts = None, [], []
    for hour, trackers, states in follow_lines(plant, {line: counts}, 1, {line: plant.lines[line].lehr_minutes}):
        tracker = trackers[line]
        signals.append(states[line])
        doubts.append(hour_doubts(tracker, hour))
        hour_expectations(tracker, hour)
    assert tracker is not None
    return tracker, signals, doubts


def unread(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(mould=pl.lit(None, pl.String))


def test_no_mould_numbers_at_all(plant: Plant, simulated: Simulated) -> None:
    """Only line and stations are judged, and it is said; the station's fault is still found."""
    calls, ware, spans, jobs = frames_of(simulated, "K3")
    tracker, signals, doubts = run(
        plant, "K3", (unread(calls), unread(ware), spans, jobs), simulated.plan.cold_from, 24
    )
    scopes = {signal.place.scope for hour in signals for signal in hour}
    assert "station" in scopes and scopes <= {"line", "furnace", "station"}
    assert all(not signal.placing.inside for hour in signals for signal in hour)
    assert all(any("mould numbers" in text for text in hour) for hour in doubts)
    assert not tracker.counts.columns


def test_one_mould_only(plant: Plant, simulated: Simulated) -> None:
    calls, ware, spans, jobs = frames_of(simulated, "K3")
    stays = spans.filter((pl.col("section") == 6) & (pl.col("gob") == "A"))
    number = stays["number"][0]
    only = pl.col("mould") == number
    tracker, signals, _ = run(
        plant, "K3", (calls.filter(only), ware.filter(only), stays, jobs), simulated.plan.cold_from, 24
    )
    assert [column.mould for column in tracker.counts.columns] == [number]
    code = tracker.counts.defects.index("CHS")
    assert any(signal.defect == code for hour in signals for signal in hour)


def test_a_silent_station_is_said_and_is_no_end_of_its_signals(plant: Plant, simulated: Simulated) -> None:
    """The station that shows a fault falls silent in mid-fault: what it alone can call was not judged, nothing is
    closed.
    """
    calls, ware, spans, jobs = frames_of(simulated, "K3")
    start = simulated.plan.cold_from
    silent = (pl.col("station") == "K3-side-a") & pl.col("window_start").is_between(
        start + timedelta(hours=17), start + timedelta(hours=18), closed="left"
    )
    _, signals, doubts = run(plant, "K3", (calls.filter(~silent), ware.filter(~silent), spans, jobs), start, 24)
    at_17 = doubts[17 - 1]
    assert any("K3-side-a sent no counts for 60 min" in text for text in at_17)
    open_then = [signal for signal in signals[17 - 1] if signal.place.members == ("K3-side-a",)]
    assert open_then and all(signal.ended is None for signal in open_then)


def test_a_job_of_forty_minutes(plant: Plant, simulated: Simulated) -> None:
    """A short job between two others: judged against a former job's past or not at all, and it says which."""
    calls, ware, spans, _ = frames_of(simulated, "K1")
    start = simulated.plan.cold_from
    begins = start + timedelta(hours=12) - timedelta(minutes=plant.lines["K1"].lehr_minutes)
    jobs = pl.DataFrame(
        {
            "started_at": [start - timedelta(days=20), begins, begins + timedelta(minutes=40)],
            "job": ["A", "B", "C"],
            "item": ["J370", "O250", "J370"],
        }
    )
    _, signals, doubts = run(plant, "K1", (calls, ware, spans, jobs), start, 24)
    assert any("leans on the last job" in text for hour in doubts[11:14] for text in hour)
    assert sum(len(hour) for hour in signals[11:15]) <= 4


def test_nothing_was_counted(plant: Plant, simulated: Simulated) -> None:
    calls, ware, spans, jobs = frames_of(simulated, "K2")
    tracker, signals, doubts = run(plant, "K2", (calls.head(0), ware.head(0), spans, jobs), simulated.plan.cold_from, 6)
    assert not any(signals) and all(any("No ware was counted" in text for text in hour) for hour in doubts)
    assert tracker.counts.ware.sum() == 0


def test_ware_without_a_single_call(plant: Plant, simulated: Simulated) -> None:
    calls, ware, spans, jobs = frames_of(simulated, "K2")
    _, signals, _ = run(plant, "K2", (calls.head(0), ware, spans, jobs), simulated.plan.cold_from, 24)
    assert not any(signals)


def test_the_first_hours_have_no_past(plant: Plant, simulated: Simulated) -> None:
    _, signals, doubts = run(plant, "K1", frames_of(simulated, "K1"), simulated.plan.cold_from, 3)
    assert not signals[0]
    tracker, _, _ = run(plant, "K1", frames_of(simulated, "K1"), simulated.plan.cold_from - timedelta(hours=1), 2)
    assert any("no past to compare with" in text for text in hour_doubts(tracker, 1))
    assert doubts


@pytest.mark.parametrize("window_s", [120, 600])
def test_longer_windows(window_s: int, plant: Plant, simulated: Simulated) -> None:
    """Stations that send every ten minutes: the same faults, dated as finely as the windows allow."""

    def coarser(frame: pl.DataFrame, keys: list[str], sums: list[str]) -> pl.DataFrame:
        at = pl.col("window_start").dt.truncate(f"{window_s}s")
        summed = frame.group_by(at, *keys).agg(pl.col(sums).sum()).sort("window_start")
        return summed.with_columns(window_s=pl.lit(window_s))

    calls, ware, spans, jobs = frames_of(simulated, "K3")
    calls = coarser(calls, ["station", "mould", "defect"], ["calls"])
    ware = coarser(ware, ["station", "mould"], ["inspected", "rejected"])
    tracker, signals, _ = run(plant, "K3", (calls, ware, spans, jobs), simulated.plan.cold_from, 24)
    code = tracker.counts.defects.index("CHS")
    onset = simulated.plan.at(RUN_IN_MIN + 15 * 60) + timedelta(minutes=plant.lines["K3"].lehr_minutes)
    found = [signal for hour in signals for signal in hour if signal.defect == code]
    assert any(abs((tracker.counts.moment(signal.onset.at) - onset).total_seconds()) <= 25 * 60 for signal in found)


def test_a_number_read_wrongly_is_unread_and_one_without_a_log_is_a_mould(plant: Plant) -> None:
    start = datetime(2026, 8, 4, 4, tzinfo=UTC)
    rows = [
        (start + timedelta(minutes=n), "K2-side", mould, 60, count)
        for n in range(60)
        for mould, count in (("7", 50), ("9", 40))
    ]
    rows.append((start, "K2-side", "99", 60, 1))
    schema = {
        "window_start": pl.Datetime("us", "UTC"),
        "station": pl.String,
        "mould": pl.String,
        "window_s": pl.Int64,
        "inspected": pl.Int64,
    }
    ware = pl.DataFrame(rows, schema=schema, orient="row")
    calls = pl.DataFrame(
        schema={
            "window_start": pl.Datetime("us", "UTC"),
            "station": pl.String,
            "mould": pl.String,
            "defect": pl.String,
            "window_s": pl.Int64,
            "calls": pl.Int64,
        }
    )
    spans = pl.DataFrame(
        [(1, "A", "7", start - timedelta(days=3), None)],
        schema={
            "section": pl.Int64,
            "gob": pl.String,
            "number": pl.String,
            "fitted_at": pl.Datetime("us", "UTC"),
            "ended_at": pl.Datetime("us", "UTC"),
        },
        orient="row",
    )
    jobs = pl.DataFrame(schema={"started_at": pl.Datetime("us", "UTC"), "item": pl.String})
    counts = line_counts(plant, "K2", (start, start + timedelta(hours=1)), calls, ware, spans, jobs, 118.0)
    assert [(c.mould, c.section) for c in counts.columns] == [("7", 1), ("9", None)]
    assert counts.ware[0].sum(axis=1).tolist() == [3000.0, 2400.0, 1.0]
