"""Each switch of the rough simulator does what it says, by its own written truth; switched off, the tidy works stay as
they were.
"""

from __future__ import annotations

import hashlib
from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom, poisson

from pipelines.plant.works import Plant
from sample_feeds.simulator import ROUGH, Roughness, Simulated, make_plan, rough_plant, simulate
from sample_feeds.simulator.line import run_line
from sample_feeds.simulator.write import encode

DAY = date(2026, 4, 14)
# SHA-256 of all feeds as CSV, made from the commit before there was any roughness: what was measured on the tidy works
# stays comparable.
TIDY = "5318b0e6989363ee7542b24431d5f0fdbb5adb113438fc65bcf4d48c20d7d588"


@pytest.fixture(scope="module")
def rough() -> Simulated:
    return simulate(make_plan(rough_plant(8), DAY, 1, 8, faults=0, roughness=ROUGH))


def test_the_tidy_works_are_what_they_were(plant: Plant) -> None:
    feeds = simulate(make_plan(plant, date(2026, 3, 2), 1, 4711, faults=6)).feeds
    known = (
        "station_counts",
        "reject_counts",
        "counter_reads",
        "forming_counts",
        "pallets",
        "mould_log",
        "job_log",
        "stoppages",
        "melt_log",
    )
    known += (
        "weight_checks",
        "capacity_checks",
        "density_checks",
        "temper_checks",
        "visual_checks",
        "challenge_checks",
        "complaints",
    )
    digest = hashlib.sha256()
    for name in sorted(known):
        digest.update(name.encode())
        digest.update(encode(feeds[name], "csv", "UTC"))
    assert digest.hexdigest() == TIDY


def test_false_calls_are_as_many_as_the_truth_says(rough: Simulated) -> None:
    calls, ware = rough.truth["calls"], rough.feeds["station_counts"]
    rates = rough.truth["false_rates"]
    totals = rates.group_by("station").agg(pl.col("rate").sum())["rate"]
    assert (totals >= 0.0005).all() and (totals <= 0.003).all() and totals.n_unique() == totals.len()
    seen = dict(ware.group_by("station").agg(pl.col("inspected").sum()).iter_rows())
    false = calls.filter(~pl.col("real")).group_by("station", "defect").len()
    for row in rates.join(false, on=["station", "defect"], how="left").fill_null(0).iter_rows(named=True):
        expected = row["rate"] * seen[row["station"]]
        # A container that is called for a true defect and falsely for the same counts as true: a few fewer.
        assert poisson.cdf(row["len"], expected) > 1e-5 and poisson.sf(row["len"] - 1, expected) > 1e-5


def test_stations_find_what_their_detection_says(rough: Simulated) -> None:
    plant, defects = rough.plan.plant, rough.truth["defects"]
    found = rough.truth["detection"]
    assert found["chance"].is_between(0.75, 0.99).all()
    start = rough.plan.at(600)
    for line in ("T2", "T3"):  # their first order has one lane: all ware meets it
        first = plant.stations_of(line)[0].id
        for row in found.filter(pl.col("station") == first).iter_rows(named=True):
            met = defects.filter(
                (pl.col("line") == line) & (pl.col("defect") == row["defect"]) & (pl.col("formed_at") > start)
            )
            caught = met.filter(pl.col("station") == first).height
            assert binom.cdf(caught, met.height, row["chance"]) > 1e-5
            # Some were called by this station for a second defect that they had: none of the more can come from
            # elsewhere.
            assert binom.sf(caught - 1, met.height, row["chance"]) > 1e-5


def test_stations_in_a_row_see_what_those_before_let_pass(rough: Simulated) -> None:
    seen = rough.truth["detection"].group_by("line", "defect").agg(pl.col("station").n_unique())
    assert set(seen["station"]) >= {1, 2, 3}
    real = rough.truth["calls"].filter(pl.col("real") & (pl.col("line") == "T2"))
    for code in ("F11", "W51"):
        able = [s.id for s in rough.plan.plant.stations_of("T2") if s.can_call(code)]
        counts = [real.filter((pl.col("defect") == code) & (pl.col("station") == s)).height for s in able]
        assert counts == sorted(counts, reverse=True)


@pytest.mark.parametrize("windows", [(3600,), (60, 900, 1800)])
def test_windows_change_the_grid_and_nothing_else(windows: tuple[int, ...]) -> None:
    plant = rough_plant(3)
    fine = simulate(make_plan(plant, DAY, 1, 3, roughness=Roughness()))
    coarse = simulate(make_plan(plant, DAY, 1, 3, roughness=Roughness(windows=windows)))
    row = dict(coarse.truth["windows"].select("station", "window_s").iter_rows())
    assert set(row.values()) <= set(windows)
    if len(windows) > 1:
        assert all(len({row[s.id] for s in plant.stations_of(line)}) > 1 for line in plant.lines)
    start = coarse.plan.cold_from
    for feed in ("station_counts", "reject_counts"):
        keys = ["station", "mould", *(["defect"] if feed == "reject_counts" else [])]
        sums = [
            s.feeds[feed].group_by(keys).agg(pl.col("rejected").sum()).filter(pl.col("rejected") > 0).sort(keys)
            for s in (fine, coarse)
        ]
        assert sums[0].equals(sums[1])
        for (station, seconds), part in coarse.feeds[feed].group_by(["station", "window_s"]):
            assert seconds == row[str(station)]
            off = (part["window_start"] - start).dt.total_seconds() % seconds
            assert (off == 0).all()


@pytest.mark.parametrize("strength", [0.08, 0.25])
def test_rates_wander_by_their_strength(strength: float) -> None:
    plant = rough_plant(5)
    moved = make_plan(plant, DAY, 4, 5, faults=0, roughness=Roughness(mood=0.0, wander=strength, wander_hours=(1, 2)))
    moved.rates_of = frozenset(plant.defects)
    rates = run_line(moved, "T2").rates
    factors = np.stack([rates[code] / rates[code].mean(axis=0) for code in rates])
    assert factors.std() == pytest.approx(strength, rel=0.1)
    assert factors[:, :60].std() == pytest.approx(strength, rel=0.4)  # from the first hour on
    truth = simulate(moved).truth["wander"].filter((pl.col("line") == "T2") & (pl.col("defect") == "S31"))
    common = factors[list(rates).index("S31"), ::10].mean(axis=1)
    assert np.corrcoef(np.log(common), np.log(truth["factor"].to_numpy()))[0, 1] > 0.9


def test_rates_jump_when_a_section_is_swabbed_and_only_then() -> None:
    plant = rough_plant(6)
    plan = make_plan(plant, DAY, 1, 6, faults=0, roughness=Roughness(mood=0.0, swab=0.2))
    plan.rates_of = frozenset({"S31", "W51"})
    rates = run_line(plan, "T2").rates
    swabs = simulate(plan).truth["swabs"].filter(pl.col("line") == "T2")
    sections = np.array([section for section, _ in plan.lines["T2"].cavities])
    for section in range(1, int(sections.max()) + 1):
        at = swabs.filter(pl.col("section") == section)["at"]
        minutes = ((at - plan.start).dt.total_seconds() // 60).to_numpy() + 1
        gaps = np.diff(minutes)
        assert gaps.min() >= 19 and gaps.max() <= 31
        jumped = np.flatnonzero(np.diff(rates["S31"][:, sections == section][:, 0])) + 1
        assert set(jumped) <= set(minutes) and len(jumped) > 0.95 * len(minutes) - 1
    assert (np.diff(rates["W51"], axis=0) == 0).all()  # stones do not care about swabbing
