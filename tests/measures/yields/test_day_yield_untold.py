"""What was not told is no zero, and what cannot be is not divided by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipelines.measures.yields.balance import balanced
from pipelines.measures.yields.line_yield import _steps, packed_can_be
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.measures.yields.network import FurnaceReading
from pipelines.plant.works import Plant
from tests.benchmarks.yield_readings import day_of, read, works_state


def _day(plant: Plant) -> FurnaceReading:
    rng = np.random.default_rng(20_260_719)
    return read(rng, plant, day_of(rng, plant, "F1", works_state(rng, plant, "F1")))


def test_a_silent_station_and_pallets_not_told_leave_no_measured_zero(plant: Plant) -> None:
    line = _day(plant).lines[0]
    first = line.stations[0]
    silent = replace(first, inspected=0.0, rejected=0.0, cover=0.0)
    texts = {step.step for step in _steps(replace(line, stations=(silent, *line.stations[1:])))}
    assert f"rejects of {first.station}" not in texts
    assert "unaccounted, lehr" not in texts
    assert "unaccounted, packing" in {step.step for step in _steps(line)}
    assert "unaccounted, packing" not in {step.step for step in _steps(replace(line, packed=None))}


def test_pallets_not_told_or_above_what_was_cut_are_divided_by_nothing(plant: Plant) -> None:
    day = _day(plant)
    line = day.lines[0]
    assert line.cut is not None
    for packed, can_be in ((line.packed, True), (None, False), (1.5 * line.cut, False)):
        changed = replace(line, packed=packed)
        reading = replace(day, lines=(changed, *day.lines[1:]))
        assert packed_can_be(balanced(plant, reading, usual_of(plant, reading, [])), changed) is can_be


def test_a_line_whose_stations_are_all_silent_goes_from_cut_to_packed(plant: Plant) -> None:
    """Two silent lanes before a silent third make the unknown columns of a lower rank in their middle. The line's
    quotient must stand by what was cut and packed, which agree.
    """
    day = _day(plant)
    line = next(
        this_reading
        for this_reading in day.lines
        if len({s.order for s in this_reading.stations}) < len(this_reading.stations)
    )
    silent = tuple(replace(station, inspected=0.0, rejected=0.0, cover=0.0) for station in line.stations)
    reading = replace(
        day,
        lines=tuple(
            replace(this_reading, stations=silent) if this_reading is line else this_reading
            for this_reading in day.lines
        ),
    )
    solved = balanced(plant, reading, usual_of(plant, reading, []))
    share = solved.line_pack_to_melt(line.line)
    assert share is not None and share.low is not None and share.high is not None and line.packed and line.cut
    plain = line.packed * line.packed_g / (line.cut * line.gob_g)
    assert share.low <= plain <= share.high and share.high - share.low < 0.02
    assert solved.first.p > 1e-6
    assert (
        np.abs(
            [solved.network.open(solved.reconciled.values, n, True) for n in range(len(solved.network.balances))]
        ).max()
        < 1
    )
