"""Readings that no explanation fits are refused with what is off; errors of any size are told in one percent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from pipelines.measures.yields.balance import Balanced, balanced, window_days
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.measures.yields.meter_sentences import could_be_sentences, suspect_sentences
from pipelines.measures.yields.misfit import NOTHING, line_range, off_sentences
from pipelines.measures.yields.network import FurnaceReading, LineReading, StationReading
from pipelines.measures.yields.suspects import could_be, off_pct, suspects_of
from pipelines.plant.works import Plant
from schemas.answers.meters import SuspectMeter
from tests.benchmarks.yield_readings import TrueDay, day_of, read, works_state

DAY = date(2026, 5, 1)
THREE = {"K1-mouth inspected": 1.05, "K1 packed": 1.1, "K2-foot inspected": 0.9}


@pytest.fixture(scope="module")
def works(plant: Plant) -> tuple[list[FurnaceReading], TrueDay, FurnaceReading]:
    """F1 with 31 days behind it, the truth of one day more, and what honest meters read of it."""
    rng = np.random.default_rng([20_261, 5])
    state = works_state(rng, plant, "F1")
    past = [read(rng, plant, day_of(rng, plant, "F1", state)) for _ in range(31)]
    truth = day_of(rng, plant, "F1", state)
    return past, truth, read(rng, plant, truth)


def lied(day: FurnaceReading, factors: Mapping[str, float]) -> FurnaceReading:
    """Readings times factors, by the names of the meters."""

    def line(reading: LineReading) -> LineReading:
        stations = tuple(
            replace(s, inspected=s.inspected * factors.get(f"{s.station} inspected", 1.0)) for s in reading.stations
        )
        assert reading.cut is not None and reading.packed is not None
        cut, packed = (
            reading.cut * factors.get(f"{reading.line} gobs cut", 1.0),
            reading.packed * factors.get(f"{reading.line} packed", 1.0),
        )
        return replace(reading, stations=stations, cut=cut, packed=packed)

    return replace(day, lines=tuple(line(reading) for reading in day.lines))


def made(plant: Plant, reading: FurnaceReading, past: list[FurnaceReading]) -> Balanced:
    return balanced(plant, reading, usual_of(plant, reading, past), past)


@pytest.mark.parametrize("days", [0, 31])
def test_three_lies_at_once_are_refused_with_the_range_of_what_the_meters_say(plant: Plant, works, days: int) -> None:  # type: ignore[no-untyped-def]
    past, truth, reading = works
    solved = made(plant, lied(reading, THREE), past[len(past) - days :])
    assert solved.misfit is not None and solved.misfit.p < 1e-6
    value, line = solved.pack_to_melt(), solved.line_pack_to_melt("K1")
    true = truth.lines[0].good / truth.lines[0].cut
    assert value is not None and value.value is None and value.why == NOTHING
    assert value.low is not None and value.high is not None and value.low < truth.pack_to_melt < value.high
    assert line is not None and line.value is None and line.low is not None and line.high is not None
    assert line.low < true < line.high and line.high - line.low > 0.05
    window = window_days([DAY - timedelta(days=n) for n in range(days, 0, -1)], DAY, solved.days)
    assert suspects_of(solved, window) == ([], []) and could_be(solved, window) == []
    said = "\n".join(off_sentences(solved.misfit))
    assert all(name in said for name in ("K1: packing", "K1: before K1-mouth", "K2: before K2-foot"))
    assert "K1: lehr" not in said and "containers in" in said
    packing = next(off_balance for off_balance in solved.misfit.off if off_balance.name == "K1: packing")
    lost = packing.usual / packing.into
    assert 0.0005 < lost < 0.01, "what is lost at packing on a usual day, as yield_readings draws it"


def test_meters_that_contradict_one_another_for_weeks_are_no_custom(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    past, _, reading = works
    solved = made(plant, lied(reading, THREE), [lied(each, THREE) for each in past[-20:]])
    assert solved.misfit is not None and "K1" in solved.misfit.lines


@pytest.mark.parametrize("meter", ["K1 gobs cut", "K1-mouth inspected", "K1 packed"])
@pytest.mark.parametrize("factor", [0.5, 0.97, 2.0])
def test_one_liar_of_any_size_is_explained(plant: Plant, works, meter: str, factor: float) -> None:  # type: ignore[no-untyped-def]
    """Explained, and named or told beside the loss that nothing tells it from; the yield's interval keeps the truth."""
    past, truth, reading = works
    solved = made(plant, lied(reading, {meter: factor}), past)
    value = solved.pack_to_melt()
    assert solved.misfit is None and value is not None and value.low is not None and value.high is not None
    assert value.low < truth.pack_to_melt < value.high
    mine = next(
        explanation
        for explanation in solved.explanations
        if [solved.causes[n].name for n in explanation.causes] == [meter]
    )
    off = off_pct("cut", mine.size)
    assert off == pytest.approx(100 * (factor - 1), rel=0.05, abs=0.6)


def test_one_lane_that_counts_double_is_the_only_one_named(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    past, _, reading = works
    for factor in (0.5, 2.0):
        assert made(plant, lied(reading, {"K1-side-a inspected": factor}), past).accused == ["K1-side-a inspected"]


def test_honest_days_are_explained(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    rng, (past, truth, _) = np.random.default_rng(8), works
    assert [made(plant, read(rng, plant, truth), past[-8:]).misfit for _ in range(20)] == [None] * 20


def test_percent_off_is_of_what_was_there() -> None:
    """By hand: 50 where 100 were is -50 %, relative to the reading -1; 200 is +100 %, relative to the reading one
    half.
    """
    assert off_pct("cut", (50 - 100) / 50) == pytest.approx(-50.0)
    assert off_pct("melt", (200 - 100) / 200) == pytest.approx(100.0)
    assert off_pct("packed", 1.2) is None and off_pct("loss", 0.5) == 50.0


def test_each_of_two_liars_has_its_size(plant: Plant, works) -> None:  # type: ignore[no-untyped-def]
    """By as much as they read beside the truth of the day, each; the one that nothing dates says so."""
    past, truth, reading = works
    reading = lied(reading, {"K1-mouth inspected": 1.06, "K2-foot inspected": 0.9})
    solved = made(plant, reading, past)
    read_ = {s.station: s.inspected for line in reading.lines for s in line.stations}
    true = {station: seen for line in truth.lines for station, _, seen, _ in line.stations}
    window = window_days([DAY - timedelta(days=n) for n in range(len(past), 0, -1)], DAY, solved.days)
    named, _ = suspects_of(solved, window)
    sizes = {this_suspect.meter: this_suspect for this_suspect in named}
    assert set(sizes) == {"K1-mouth inspected", "K2-foot inspected"}
    for station in ("K1-mouth", "K2-foot"):
        suspect, off = sizes[f"{station} inspected"], 100 * (read_[station] / true[station] - 1)
        assert suspect.off_low is not None and suspect.off_high is not None and suspect.off_pct is not None
        assert abs(suspect.off_pct - off) < suspect.off_high - suspect.off_low < 3.0
    undated = [this_suspect for this_suspect in named if this_suspect.since is None]
    said = suspect_sentences(undated)
    assert len(undated) == 1 and "since when this meter is cannot be told" in said[0]
    both = next(cause for cause in could_be(solved, window) if len(cause.causes) == 2)
    assert [value is not None for value in both.off_pcts] == [True, True]
    again = could_be_sentences([both, both])[0]
    assert "K1-mouth inspected counts high by 5." in again or "K1-mouth inspected counts high by 6." in again
    assert "K2-foot inspected counts low by" in again and "of what was there" in again


def test_a_count_far_above_the_others_is_no_idea_of_the_ware() -> None:
    line = LineReading("L", 100.0, 0.0, 200.0, 200.0, 95.0, (StationReading("s", 1, 98.0, 3.0),))
    assert line.ware == 100.0 and replace(line, packed=190.0).ware == 100.0 and replace(line, cut=300.0).ware == 98.0
    assert replace(line, cut=None).ware == 98.0 and replace(line, cut=None, packed=None, stations=()).ware == 0.0


def test_a_limit_that_is_none_is_said() -> None:
    suspect = SuspectMeter(
        meter="K1 packed", reading=9.0, reconciled=3.0, z=9.0, off_pct=200.0, off_low=50.0, since=DAY, days=1
    )
    assert "95 % +50.00 to anything % of what was there" in suspect_sentences([suspect])[0]


def test_the_range_takes_each_count_for_the_truth_in_turn() -> None:
    """By hand: 100 cut, 10 rejected hot, 80 inspected, 5 rejected, 60 packed of the same mass. Cut by the counts: 100,
    90, 75;
    good: 85, 75, 60."""
    line = LineReading("L", 100.0, 10.0, 200.0, 200.0, 60.0, (StationReading("s", 1, 80.0, 5.0),))
    assert line_range(line) == (pytest.approx(60 / 100), 1.0)
    tight = replace(line, packed=None)
    assert line_range(tight) == (pytest.approx(75 / 100), pytest.approx(85 / 90))
    assert line_range(replace(tight, cut=None, stations=())) is None
