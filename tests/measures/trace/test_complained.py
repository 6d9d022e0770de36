"""What a complaint says of the number of escapes."""

from __future__ import annotations

import numpy as np
import pytest

from pipelines.measures.trace.complained import beside, given_found


def test_one_found_where_hardly_any_was_expected_is_one() -> None:
    """By hand, Poisson: E[N | N >= 1] = m / (1 - exp(-m)); P(N >= 1) = 1 - exp(-m)."""
    given = given_found(0.02, 0.0, 1)
    assert given.mean == pytest.approx(0.02 / (1 - np.exp(-0.02)), rel=1e-6) and (given.low, given.high) == (1, 1)
    assert given.chance == pytest.approx(1 - np.exp(-0.02), rel=1e-6)
    many = given_found(3.0, 0.0, 1)
    assert many.mean == pytest.approx(3 / (1 - np.exp(-3)), rel=1e-6) and many.low == 1 and 6 <= many.high <= 7


def test_one_found_among_many_says_little() -> None:
    given = given_found(60.0, 100.0, 1)
    assert (
        given.mean == pytest.approx(60.0, rel=1e-3) and given.low > 30 and given.chance == pytest.approx(1.0, abs=1e-4)
    )


@pytest.mark.parametrize(("mean", "variance", "found"), [(0.5, 0.4, 1), (2.0, 6.0, 3), (5.0, 1.0, 4)])
def test_it_is_the_number_among_draws_with_as_many(mean: float, variance: float, found: int) -> None:
    """A million works drawn: expectation gamma, number Poisson; those with at least `found` are looked at."""
    rng = np.random.default_rng(83)
    drawn = rng.poisson(rng.gamma(mean**2 / variance, variance / mean, 1_000_000))
    those = drawn[drawn >= found]
    given = given_found(mean, variance, found)
    assert given.mean == pytest.approx(those.mean(), rel=0.01) and given.variance == pytest.approx(
        those.var(), rel=0.05
    )
    assert given.chance == pytest.approx(len(those) / len(drawn), rel=0.01)
    assert ((those >= given.low) & (those <= given.high)).mean() >= 0.945 and given.low >= found


def test_more_than_the_counts_can_bring_is_believed() -> None:
    given = given_found(3.0, 0.5, 500)
    assert given.low == 500 and given.high >= 500 and given.mean >= 500 and given.chance < 1e-9
    assert given_found(0.0, 0.0, 2).high == 2


def test_others_elsewhere_come_on_top() -> None:
    """One on the pallet in hand for certain, and a Poisson number of mean 4 elsewhere: 1 + 0..8 or so."""
    given = beside(given_found(0.0, 0.0, 1), 1, 4.0, 0.0)
    assert given.mean == pytest.approx(5.0) and given.low >= 1 and 8 <= given.high <= 10
