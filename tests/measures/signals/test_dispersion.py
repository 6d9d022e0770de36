"""Dispersion by likelihood: against SciPy's distributions, and against streams whose dispersion is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipelines.measures.signals.dispersion import (
    GRID,
    HABIT_VARIANCE,
    PHI_START,
    conditional_logs,
    dispersions,
    negative_binomial_logs,
    shared,
)


def drawn(rng: np.random.Generator, rate: float, phi: float, shape: tuple[int, ...], habit: float = 0.4) -> np.ndarray:
    """Counts of moulds with habits of their own whose hours are good or bad with relative variance phi."""
    mean = rate * np.exp(rng.normal(0, habit, (*shape[:2], 1))) * np.ones(shape)
    return rng.poisson(mean * rng.gamma(1 / phi, phi, shape)).astype(float)


def test_given_its_total_a_column_is_dirichlet_multinomial() -> None:
    """Reference: scipy.stats.dirichlet_multinomial (SciPy 1.17); terms without phi are left out, so differences are
    compared.
    """
    rng = np.random.default_rng(3)
    seen = rng.poisson(1.3, (2, 3, 12)).astype(float)
    wanted = np.ones((2, 3, 12)) * np.array([0.5, 1.0, 2.0])[None, :, None]
    values = conditional_logs(seen, wanted)
    for d in range(2):
        for g in (0, 7, 15):
            alpha = np.full(12, 1 / GRID[g])
            reference = [stats.dirichlet_multinomial.logpmf(row.astype(int), alpha, int(row.sum())) for row in seen[d]]
            alpha = np.full(12, 1 / GRID[0])
            start = [stats.dirichlet_multinomial.logpmf(row.astype(int), alpha, int(row.sum())) for row in seen[d]]
            assert values[d, g] - values[d, 0] == pytest.approx(sum(reference) - sum(start), abs=1e-6)


def test_hours_of_unlike_ware_have_sizes_in_proportion() -> None:
    """By hand: with twice the ware in the second hour its size is twice the first's, 2/3 and 4/3 of the mean."""
    seen, wanted = np.array([[[2.0, 3.0]]]), np.array([[[1.0, 2.0]]])
    answer = conditional_logs(seen, wanted)[0]
    for g in (2, 9):
        mean = 1 / GRID[g]
        reference = stats.dirichlet_multinomial.logpmf([2, 3], [2 / 3 * mean, 4 / 3 * mean], 5)
        constant = stats.dirichlet_multinomial.logpmf([2, 3], [2 / 3 / GRID[0], 4 / 3 / GRID[0]], 5)
        assert answer[g] - answer[0] == pytest.approx(reference - constant, abs=1e-9)


def test_between_moulds_the_likelihood_is_the_negative_binomials() -> None:
    """Reference: scipy.stats.nbinom."""
    seen, wanted = np.array([[3.0, 0.0, 11.0]]), np.array([[4.0, 2.0, 5.0]])
    answer = negative_binomial_logs(seen, wanted)[0]
    reference = [stats.nbinom.logpmf(seen[0], 1 / v, 1 / (1 + v * wanted[0])).sum() for v in GRID]
    assert answer - answer[0] == pytest.approx(np.array(reference) - reference[0], abs=1e-8)


@pytest.mark.parametrize("rate", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("phi", [0.15, 0.5, 2.0])
def test_streams_of_less_than_a_call_an_hour_show_their_dispersion(rate: float, phi: float) -> None:
    """20 defects of 24 moulds over 48 hours of known dispersion; the plain moment of such cells told 0.09 for 2."""
    rng = np.random.default_rng(int(1000 * rate + 10 * phi))
    seen = drawn(rng, rate, phi, (20, 24, 48))
    values = shared(conditional_logs(seen, np.full(seen.shape, rate)), PHI_START, (0.004, 6.0))
    assert phi / 1.9 < np.median(values) < phi * 1.9


def test_without_dispersion_hardly_any_is_told() -> None:
    rng = np.random.default_rng(5)
    seen = rng.poisson(1.0, (20, 24, 48)).astype(float)
    assert shared(conditional_logs(seen, np.ones(seen.shape)), PHI_START, (0.004, 6.0)).max() < 0.04


def test_defects_share_what_is_known_of_them() -> None:
    """One sparse defect among nineteen that scatter much is thought to scatter much as well; alone it has nearly the
    starting value.
    """
    rng = np.random.default_rng(6)
    many = drawn(rng, 3.0, 1.0, (19, 24, 48))
    sparse = drawn(rng, 0.01, 1.0, (1, 24, 48))
    wanted = np.concatenate([np.full(many.shape, 3.0), np.full(sparse.shape, 0.01)])
    among = shared(conditional_logs(np.concatenate([many, sparse]), wanted), PHI_START, (0.004, 6.0))[-1]
    alone = shared(conditional_logs(sparse, wanted[-1:]), PHI_START, (0.004, 6.0))[0]
    assert among > 0.6 and alone < 0.5


def test_what_a_line_shares_is_told_apart_from_what_is_a_moulds_own() -> None:
    """Hours good or bad for the whole line (relative variance 0.3), moulds Poisson about them: common, hardly own."""
    rng = np.random.default_rng(8)
    mood = rng.gamma(1 / 0.3, 0.3, (10, 1, 1, 48))
    calls = np.zeros((10, 1, 17, 48))
    calls[:, :, :-1] = rng.poisson(2.0 * mood * np.ones((10, 1, 16, 48)))
    ware = np.ones((1, 17, 48))
    ware[:, -1] = 0.0
    rate = np.full((10, 1), 2.0)
    common, own, between = dispersions(calls, ware, rate, np.array([True]))
    assert 0.15 < np.median(common[1]) < 0.5 and np.median(own[1]) < 0.1
    assert np.median(between) < 0.06 < HABIT_VARIANCE


@pytest.mark.parametrize(("lasts", "least", "most"), [(1, 0.0, 0.06), (16, 0.15, 0.45)])
def test_rates_that_wander_slowly_do_not_average_out_in_a_shift(lasts: int, least: float, most: float) -> None:
    """Moods of relative variance 0.25 that last an hour (variance of eight hours 0.03) or sixteen (0.25)."""
    rng = np.random.default_rng(9)
    mood = np.repeat(rng.gamma(4.0, 0.25, (10, 1, 16, 48 // lasts)), lasts, axis=3)
    calls = np.zeros((10, 1, 17, 48))
    calls[:, :, :-1] = rng.poisson(1.5 * mood)
    ware = np.ones((1, 17, 48))
    ware[:, -1] = 0.0
    common, own, _ = dispersions(calls, ware, np.full((10, 1), 1.5), np.array([True]))
    assert least <= np.median(own[8] + common[8]) <= most
