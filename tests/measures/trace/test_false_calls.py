"""What of the calls is good ware: against simulated lines whose parts were written down, and by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from pipelines.measures.trace.false_calls import (
    FALSE_SHARE,
    LEVELS,
    UNEVEN,
    CallPlace,
    Split,
    even_points,
    false_levels,
    split_calls,
)

CODES = [f"D{n}" for n in range(14)]
WARE = 100_000.0


@dataclass(frozen=True)
class Line:
    """A simulated line: what its places called; of defect D5 the true escapes and false calls."""

    places: list[CallPlace]
    escapes: float
    false: float


def line(rng: np.random.Generator, many: int, challenged: int, false: tuple[float, float] = (0.0005, 0.003)) -> Line:
    """Places in a row with detection 0.75 to 0.99 and false calls of 0.05 to 0.3 % of the ware, unevenly spread over 14
    defects.
    """
    levels = np.exp(rng.normal(np.log(0.0011), 0.7, len(CODES)))
    detection = rng.uniform(0.75, 0.99, (many, len(CODES)))
    wrong = np.exp(rng.uniform(*np.log(false), many))[:, None] * rng.dirichlet(np.full(len(CODES), 1.5), many)
    past, places = np.ones(len(CODES)), []
    for n in range(many):
        calls = rng.poisson(WARE * (levels * past * detection[n] + wrong[n]))
        past = past * (1 - detection[n])
        caught = rng.binomial(900, detection[n]) if n < challenged else np.zeros(len(CODES))
        size = 900 if n < challenged else 0
        missed = {c: [(2.8 + size - k, 19.0 + k)] for c, k in zip(CODES, caught, strict=True)}
        places.append(CallPlace(WARE, 1.0, dict(zip(CODES, map(float, calls), strict=True)), missed))
    return Line(places, float(WARE * levels[5] * past[5]), float(WARE * wrong[:, 5].sum()))


def split(this_line: Line) -> Split:
    return split_calls("D5", this_line.places, false_levels(this_line.places))


@pytest.mark.parametrize(("many", "challenged"), [(1, 1), (2, 2)])
def test_escapes_of_simulated_lines_are_right_in_sum_and_their_intervals_hold(many: int, challenged: int) -> None:
    """Truth written down by the simulation above; taken as all true, the calls tell too much (the plain sum beside
    it).
    """
    rng = np.random.default_rng(40 + many)
    value, true, plain, held, lines = 0.0, 0.0, 0.0, 0, 50
    for _ in range(lines):
        this_line = line(rng, many, challenged)
        parts = split(this_line)
        escapes = parts.level * parts.past * WARE
        order = np.argsort(escapes)
        ends = np.interp([0.025, 0.975], np.cumsum(parts.weight[order]), escapes[order])
        held += ends[0] <= this_line.escapes <= ends[1]
        value, true = value + parts.mean(escapes), true + this_line.escapes
        missed = np.prod([p.missed["D5"][0][0] / sum(p.missed["D5"][0]) for p in this_line.places])
        plain += sum(p.calls["D5"] for p in this_line.places) * missed / (1 - missed)
    assert value / true == pytest.approx(1, abs=0.15) and plain > value
    assert held >= 0.8 * lines


def test_a_station_behind_that_calls_as_often_as_the_first_calls_good_ware() -> None:
    """The first place finds 95 of 100 by 900 passes. 1000 calls there leave some 50 for the next; of 400 there most
    must be false.
    """
    seen = {"first": 1000.0, "second": 400.0}
    known = (2.8 + 45, 19.0 + 855)
    places = [
        CallPlace(WARE, 1.0, {**dict.fromkeys(CODES, 60.0), "D5": seen[name]}, {c: [known] for c in CODES})
        for name in seen
    ]
    this_split = split_calls("D5", places, false_levels(places))
    assert this_split.mean(this_split.false) * WARE > 200
    alone = split_calls("D5", places[:1], false_levels(places[:1]))
    assert alone.mean(alone.false) * WARE < 150


def test_what_other_defects_are_hardly_called_for_bounds_the_false_calls() -> None:
    """A place that calls thirteen defects never: its false calls are fewer than where it calls each sixty times."""
    quiet, loud = (
        CallPlace(WARE, 1.0, {**dict.fromkeys(CODES, n), "D5": 300.0}, {c: [(3.0, 27.0)] for c in CODES})
        for n in (0.0, 60.0)
    )
    few, many = (split_calls("D5", [p], false_levels([p])).false_share for p in (quiet, loud))
    assert few < 0.8 * many < 0.6


def test_without_other_defects_the_level_is_the_guess() -> None:
    """Beforehand all false calls of a place together are FALSE_SHARE of the ware: log-normal, its middle at
    exp(-UNEVEN^2 / 2) of it.
    """
    place = CallPlace(1e-6, 1.0, {"D5": 0.0}, {"D5": [(1.0, 9.0)]})
    this_split = split_calls("D5", [place], [{}])
    assert pytest.approx(0.0012) == FALSE_SHARE
    assert np.exp(this_split.mean(np.log(this_split.false))) == pytest.approx(
        FALSE_SHARE * np.exp(-(UNEVEN**2) / 2), rel=0.02
    )
    assert this_split.mean(this_split.past) == pytest.approx(0.1, rel=0.01) and this_split.mean(
        this_split.found
    ) == pytest.approx(0.9, rel=0.01)


def test_a_place_without_counts_finds_its_share_and_tells_nothing() -> None:
    """By hand: of two places only the first sent counts. Past: 0.1 x 0.1; found, by what sent counts, 0.9."""
    call_place = CallPlace(WARE, 1.0, {"D5": 500.0}, {"D5": [(1000.0, 9000.0)]})
    silent = CallPlace(0.0, 0.0, {"D5": 0.0}, {"D5": [(1000.0, 9000.0)]})
    this_split = split_calls("D5", [call_place, silent], false_levels([call_place, silent]))
    assert this_split.mean(this_split.past) == pytest.approx(0.01, rel=0.02) and this_split.mean(
        this_split.found
    ) == pytest.approx(0.9, rel=0.01)


def test_escapes_at_a_rate_of_calls_follow_the_parts() -> None:
    """By hand: two draws, 0.001 false of 0.003 called, found 0.8, past 0.2: 0.002 / 0.8 x 0.2; the other 0.002 false,
    found 0.5, past 0.5.
    """
    two = np.array([0.5, 0.5])
    this_split = Split(
        np.array([0.2, 0.5]), np.array([0.8, 0.5]), np.array([0.001, 0.002]), np.array([0.0025, 0.002]), two
    )
    mean, square = this_split.escapes(np.array(0.003))
    assert mean == pytest.approx((0.0005 + 0.001) / 2) and square == pytest.approx((0.0005**2 + 0.001**2) / 2)
    assert this_split.escapes(np.array(0.0))[0] == 0
    assert this_split.false_share == pytest.approx((1 / 3 + 2 / 3) / 2)


def test_points_fill_the_cube_evenly() -> None:
    points = even_points(512, 6)
    assert points.min() > 0 and points.max() < 1
    assert points.mean(axis=0) == pytest.approx(np.full(6, 0.5), abs=0.01)
    assert np.abs(np.corrcoef(points.T) - np.eye(6)).max() < 0.1
    assert LEVELS[0] == pytest.approx(5e-5) and LEVELS[-1] == pytest.approx(0.1)
