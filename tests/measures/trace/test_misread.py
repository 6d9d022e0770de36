"""Meters of the invented works err as works.toml says, and lie as they are told; what is said of a liar."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipelines.measures.yields.meter_sentences import suspect_sentences
from pipelines.plant.works import Plant
from sample_feeds.simulator import PlannedLie, Simulated, meters_of, misread, with_states
from schemas.answers.meters import SuspectMeter

DAY = date(2026, 3, 10)


def sums(simulated: Simulated, feed: str, who: str, name: str, count: str, plant: Plant) -> float:
    span = plant.clock.day(DAY)
    when = "packed_to" if feed == "pallets" else "window_start"
    here = simulated.feeds[feed].filter(
        (pl.col(who) == name) & (pl.col(when) >= span.start) & (pl.col(when) < span.end)
    )
    return float(here[count].sum())


def test_a_lie_is_as_large_as_it_was_told_and_rows_stay_possible(day_of_truth: Simulated, plant: Plant) -> None:
    """Ten uncertainties of 0.3 % are 3 % of the station's day; of 0.1 %, 1 % of the packed."""
    lies = [PlannedLie("K3-mouth inspected", -10.0, DAY, DAY), PlannedLie("K1 packed", 10.0, DAY, DAY)]
    answer = misread(day_of_truth, 3, lies)
    before, after = (
        sums(simulated, "station_counts", "station", "K3-mouth", "inspected", plant)
        for simulated in (day_of_truth, answer)
    )
    assert after / before == pytest.approx(0.97, abs=0.002)
    before, after = (sums(simulated, "pallets", "line", "K1", "units", plant) for simulated in (day_of_truth, answer))
    assert after / before == pytest.approx(1.01, abs=0.002)
    counts = answer.feeds["station_counts"]
    assert counts.filter(pl.col("rejected") > pl.col("inspected")).is_empty() and counts["inspected"].min() == 0
    assert answer.feeds["reject_counts"].equals(day_of_truth.feeds["reject_counts"])


def test_honest_meters_stay_near_the_truth_and_the_same_seed_errs_the_same(
    day_of_truth: Simulated, plant: Plant
) -> None:
    simulated, again = misread(day_of_truth, 4), misread(day_of_truth, 4)
    assert all(simulated.feeds[name].equals(again.feeds[name]) for name in simulated.feeds)
    for meter, pct in meters_of(day_of_truth.plan).items():
        if meter.endswith("inspected") and meter != "K2-foot inspected":
            before, after = (
                sums(this_simulated, "station_counts", "station", meter.split()[0], "inspected", plant)
                for this_simulated in (day_of_truth, simulated)
            )
            assert abs(after / before - 1) < 5 * pct / 100


def test_a_pallets_later_row_is_its_new_state(day_of_truth: Simulated) -> None:
    frame = with_states(day_of_truth, 5).feeds["pallets"]
    last = frame.group_by("pallet", maintain_order=True).agg(pl.col("state").last(), pl.len())
    assert last.height == day_of_truth.feeds["pallets"].height and frame.height > last.height
    assert set(last["state"]) <= {"packed", "held", "resort", "scrapped", "released"}


def test_what_is_said_of_a_meter_names_by_how_much_since_when_and_what_to_do() -> None:
    suspect = SuspectMeter(
        meter="F1 melt log",
        reading=103_000.0,
        reconciled=100_000.0,
        z=3.4,
        unit="kg",
        furnace="F1",
        since=DAY,
        since_low=DAY - timedelta(days=1),
        since_high=DAY,
        days=3,
        off_pct=3.0,
        off_low=2.0,
        off_high=4.0,
    )
    (said,) = suspect_sentences([suspect])
    assert (
        "F1 melt log reads 103 000 kg; all explanations together make it 100 000" in said
        and "+3.00 % off, 95 % +2.00 to +4.00 %" in said
    )
    assert "since 2026-03-10 (3 days" in said and "Have it checked; glass that left unseen can look the same." in said
    (alone,) = suspect_sentences([suspect.model_copy(update={"meter": "K1 packed", "days": 1})])
    assert "this day alone" in alone and alone.endswith("Have it checked.")
    (either,) = suspect_sentences(
        [suspect.model_copy(update={"meter": "K1-side-a inspected", "rivals": ("K1-side-b inspected", "K1, lehr")})]
    )
    assert either.endswith("it may as well be K1-side-b inspected or more than usual lost at K1, lehr.")
