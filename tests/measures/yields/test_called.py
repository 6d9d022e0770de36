"""Stations that send calls and no counts: their rejects in the balance, and by name where a count is without them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipelines.measures.pareto.kinds_of_call import uncounted, uncounted_words
from pipelines.measures.yields.balance import balanced
from pipelines.measures.yields.called_only import rejected_by_calls
from pipelines.measures.yields.line_yield import _steps
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.measures.yields.network import reading_of
from pipelines.plant.works import Plant
from tests.benchmarks.yield_readings import day_of, read, works_state

WARE = {"part": pl.Int64, "station": pl.String, "inspected": pl.Float64, "rejected": pl.Float64, "refed": pl.Float64}
CALLS = {"part": pl.Int64, "station": pl.String, "defect": pl.String, "calls": pl.Int64}


def test_a_station_with_calls_alone_rejected_between_its_commonest_defect_and_all_its_calls() -> None:
    """By hand: 60 to 100 in the first part, 30 in the second: 110 with (130 - 90) / sqrt 12 = 11.5."""
    ware = pl.DataFrame([(1, "side", 1_000.0, 10.0, 0.0)], WARE, orient="row")
    rows = [(1, "foot", "CHS", 60), (1, "foot", "STN", 40), (2, "foot", "CHS", 30), (1, "side", "CHS", 12)]
    frame, sure, notes = rejected_by_calls(ware, pl.DataFrame(rows, CALLS, orient="row"))
    foot = frame.filter(pl.col("station") == "foot")
    assert foot.rows() == [(1, "foot", 0.0, 80.0, 0.0), (2, "foot", 0.0, 30.0, 0.0)]
    assert sure == {"foot": pytest.approx(11.547, abs=1e-3)}
    assert notes[0].startswith("foot: sends calls and no counts; by its calls it rejected 90 to 130 containers")
    assert frame.filter(pl.col("station") == "side").rows() == ware.rows()


def test_where_every_station_counts_nothing_changes() -> None:
    ware = pl.DataFrame([(1, "side", 1_000.0, 10.0, 0.0)], WARE, orient="row")
    calls = pl.DataFrame([(1, "side", "CHS", 12)], CALLS, orient="row")
    assert rejected_by_calls(ware, calls) == (ware, {}, [])
    assert uncounted(calls, ware) == [] and uncounted_words([]) == ""


def test_its_rejects_close_the_balance_of_the_whole_line(plant: Plant) -> None:
    """K1-foot sends calls alone and rejects 3 % of the ware: known by its calls it is no loss, and packed over cut
    keeps its interval.
    """
    rng = np.random.default_rng([20_262, 4])
    truth = day_of(rng, plant, "F1", works_state(rng, plant, "F1"))
    reading = read(rng, plant, truth)
    line = reading.lines[0]
    assert line.packed is not None and line.cut is not None
    away = 0.03 * line.cut
    foot = replace(line.stations[-1], inspected=0.0, rejected=away, cover=0.0, called=20.0)
    less = line.packed - (away - line.stations[-1].rejected)
    solved, guessed = (
        balanced(plant, day, usual_of(plant, day, []))
        for day in (
            replace(
                reading, lines=(replace(line, packed=less, stations=(*line.stations[:-1], station)), *reading.lines[1:])
            )
            for station in (foot, replace(foot, rejected=0.0, called=None))
        )
    )
    assert solved.value("K1-foot rejected") == pytest.approx(away, abs=60) and solved.misfit is None
    assert (
        solved.reconciled.high[solved.at("K1-foot rejected")] - solved.reconciled.low[solved.at("K1-foot rejected")]
        < 200
    )
    share, loose = solved.line_pack_to_melt("K1"), guessed.line_pack_to_melt("K1")
    true = less / line.packed * truth.lines[0].good / truth.lines[0].cut
    assert share is not None and share.low is not None and share.high is not None and share.low < true < share.high
    assert loose is not None and loose.low is not None and loose.high is not None
    assert share.high - share.low <= loose.high - loose.low
    assert f"rejects of {foot.station}" in {
        step.step for step in _steps(replace(line, stations=(*line.stations[:-1], foot)))
    }


def test_a_reading_kept_before_stations_told_of_calls_still_comes_back(plant: Plant) -> None:
    rng = np.random.default_rng(3)
    kept = read(rng, plant, day_of(rng, plant, "F1", works_state(rng, plant, "F1"))).kept()
    for line in kept["lines"]:
        for station in line["stations"]:
            del station["called"]
    assert reading_of(kept).lines[0].stations[0].called is None
