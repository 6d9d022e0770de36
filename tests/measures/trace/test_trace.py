"""Several complaints together, numbers alike, lists, escapes: by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.clock import Span
from pipelines.measures.trace.escapes import about_places, carried, doubled, hold_numbers, shares, together
from pipelines.measures.trace.exposure import Exposure, Stay, counted, smallest_cover

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)
A, B, C = ("K1", 1, "A", "7"), ("K1", 2, "A", "8"), ("K1", 3, "A", "9")


def stay(mould: str, section: int, first: float, last: float) -> Stay:
    return Stay("K1", section, "A", mould, "J370", Span(AT + first * HOUR, AT + last * HOUR))


def test_complaints_that_point_to_one_place_make_it_likelier_together() -> None:
    """By hand: prior 1/2 each, each complaint 0.8 to 0.2. One source: 0.5 (0.64/0.25) and 0.5 (0.04/0.25), sum 1.36;
    1.36 / 2.36 = 0.576.
    """
    ranking = together([{A: 0.8, B: 0.2}, {A: 0.8, B: 0.2}], {A: 0.5, B: 0.5})
    assert ranking.one_source == pytest.approx(1.36 / 2.36)
    both = (1.36 / 2.36) * (0.64 / 0.68) + (1 / 2.36) * 0.8
    assert ranking.probability[A] == pytest.approx(both) and sum(ranking.probability.values()) == pytest.approx(1)


def test_the_works_calls_count_once_for_all_complaints() -> None:
    """By hand: three complaints that bring nothing of their own leave what the calls say (0.8) and even odds; counted
    each time it would be 0.98.
    """
    calls = {A: 0.8, B: 0.2}
    ranking = together([calls, calls, calls], calls)
    assert ranking.one_source == pytest.approx(0.5) and ranking.probability[A] == pytest.approx(0.8)


def test_where_no_place_stands_out_the_number_of_places_is_told() -> None:
    """exp(entropy): of 20 even places 20. By hand for 1/2, 1/4, 1/4: 2^1.5 = 2.83."""
    assert about_places([0.05] * 20) == (pytest.approx(20), False)
    assert about_places([0.5, 0.25, 0.25]) == (pytest.approx(2**1.5), False)
    assert about_places([0.6, 0.2, 0.2])[1] and about_places([1.0]) == (pytest.approx(1), True)
    assert about_places([0.2] + [0.8 / 19] * 19)[1] and not about_places([0.14] + [0.86 / 19] * 19)[1]
    assert about_places([]) == (0.0, False)


def test_complaints_that_share_no_place_have_no_one_source() -> None:
    ranking = together([{A: 1.0}, {B: 1.0}], {A: 0.5, B: 0.5})
    assert (ranking.one_source, ranking.common) == (0.0, False)
    assert ranking.probability == {A: 0.5, B: 0.5}


def test_complaints_that_say_nothing_leave_even_odds() -> None:
    third = dict.fromkeys((A, B, C), 1 / 3)
    assert together([third, third, third], third).one_source == pytest.approx(0.5)


def test_a_number_in_two_cavities_at_one_time_is_found() -> None:
    this_stay, other, later = stay("7", 1, 0, 4), stay("7", 3, 2, 6), stay("7", 2, 6, 8)
    assert doubled([this_stay, stay("8", 2, 0, 4), other, later]) == [(this_stay, other)]


def test_shares_of_nothing_are_even() -> None:
    parts = shares([np.zeros(2), np.zeros(1)])
    assert [list(part) for part in parts] == [[1 / 3, 1 / 3], [1 / 3]]


def test_what_lies_beyond_the_window_does_not_crowd_out_the_window() -> None:
    """Of the window's 0.1 in two pallets both are held, though the fault beyond it brings a hundred times as much."""
    window, beyond = np.array([0.05, 0.05, 0.0, 0.0]), np.array([0.0, 0.0, 5.0, 5.0])
    assert hold_numbers(window, beyond, np.full(4, 1000.0)) == [0, 1, 2, 3]
    assert hold_numbers(window, np.zeros(4), np.full(4, 1000.0)) == [0, 1]


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0.001, 5), st.integers(500, 3000)), min_size=1, max_size=8))
def test_the_cover_holds_its_share_with_hardly_more_units_than_the_best(pallets: list[tuple[float, int]]) -> None:
    expected, units = np.array([e for e, _ in pallets]), np.array([float(u) for _, u in pallets])
    chosen = smallest_cover(expected, units)
    assert expected[chosen].sum() >= 0.95 * expected.sum() - 1e-9
    every = [c for n in range(1, len(pallets) + 1) for c in combinations(range(len(pallets)), n)]
    best = min(units[list(c)].sum() for c in every if expected[list(c)].sum() >= 0.95 * expected.sum() - 1e-9)
    assert units[chosen].sum() <= best + units.max()  # a greedy cover is never worse by more than one pallet
    assert all(expected[[m for m in chosen if m != n]].sum() < 0.95 * expected.sum() for n in chosen)


@pytest.mark.parametrize(("mean", "variance"), [(0.02, 0.0), (0.4, 0.02), (3.0, 0.0), (12.0, 30.0)])
def test_whole_number_intervals_hold_95_percent_by_scipy(mean: float, variance: float) -> None:
    """Poisson and negative binomial of `scipy.stats`: the set holds 95 %, and no longer does with one number fewer at
    either end.
    """
    from scipy.stats import nbinom, poisson

    this_counted = counted(np.array([mean]), np.array([variance]))[0]
    chance = poisson(mean) if variance == 0 else nbinom(mean**2 / variance, mean / (mean + variance))
    held = chance.cdf(this_counted.high) - chance.cdf(this_counted.low - 1)
    assert held >= 0.95
    if this_counted.high > this_counted.low:
        assert held - min(chance.pmf(this_counted.low), chance.pmf(this_counted.high)) < 0.95


def test_of_no_pallet_more_are_told_than_lie_on_it() -> None:
    """A station that found nothing in 60 passes lets its share missed run away: 900 expected of 40 containers are 40,
    not 900.
    """
    values = np.array([[900.0, 0.5]])
    exposure = Exposure(
        (),
        pl.DataFrame(),
        np.array([[40.0, 40.0]]),
        values,
        values,
        np.zeros(2),
        True,
        np.array([80.0]),
        values.sum(axis=1),
        values,
    )
    carried_escapes = carried(exposure)
    assert (
        carried_escapes.mean.tolist() == [40.0, 0.5]
        and carried_escapes.high[0] == 40
        and carried_escapes.low[0] <= 40
        and carried_escapes.total == 40.5
    )
    relative = carried(replace(exposure, missed_known=False))
    assert relative.mean.tolist() == [900.0, 0.5]
