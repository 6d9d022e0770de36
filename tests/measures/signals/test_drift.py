"""The e-detector of slow drifts: its guarantee by exact sums and by simulation, and what it finds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipelines.measures.signals.drift import FACTORS, FALSE_A_DAY, MOST_LOG, log_ratios, shared, shiryaev_roberts


@pytest.mark.parametrize(("mean", "variance"), [(0.2, 0.5), (3.0, 0.15), (20.0, 0.03)])
def test_the_likelihood_ratio_has_mean_one_at_most(mean: float, variance: float) -> None:
    """Reference: scipy.stats.nbinom; the sum over all counts of probability x ratio is 1, cut off it is less."""
    counts = np.arange(3000.0)
    chance = stats.nbinom.pmf(counts, 1 / variance, 1 / (1 + variance * mean))
    for number, factor in enumerate(FACTORS):
        raised = stats.nbinom.logpmf(counts, 1 / variance, 1 / (1 + variance * mean * factor))
        still = stats.nbinom.logpmf(counts, 1 / variance, 1 / (1 + variance * mean))
        answer = log_ratios(counts, np.full(3000, mean), np.full(3000, variance))[number]
        small = np.isfinite(raised) & np.isfinite(still)
        assert answer[small] == pytest.approx(np.minimum(raised - still, MOST_LOG)[small], abs=1e-7)
        assert float((chance * np.exp(answer)).sum()) <= 1 + 1e-9


def test_the_sum_by_hand() -> None:
    """Pollak, Annals of Statistics 13 (1985) 206: after ratios of 2, 2 and 0.5 the sum is 2, (1 + 2) 2 = 6 and (1 + 6)
    / 2 = 3.5.
    """
    sums, found = np.zeros(1), []
    for ratio in (2.0, 2.0, 0.5):
        sums = shiryaev_roberts(sums, np.log(np.array([ratio])))
        found.append(float(sums[0]))
    assert found == pytest.approx([2.0, 6.0, 3.5])


def test_nothing_expected_tells_nothing() -> None:
    assert (log_ratios(np.array([4.0]), np.array([0.0]), np.array([0.1])) == 0).all()


def test_quiet_streams_are_called_no_more_often_than_promised() -> None:
    """600 sparse streams for 150 days: alarms at or under the budget of their kind, with 3 standard deviations of its
    count.
    """
    rng = np.random.default_rng(12)
    streams, days, mean, variance = 600, 150, np.full(600, 0.5), np.full(600, 0.15)
    limit, parts, alarms = streams * 24 / FALSE_A_DAY, np.zeros((len(FACTORS), 600)), 0
    for _ in range(days * 24):
        calls = rng.poisson(0.5 * rng.gamma(1 / 0.15, 0.15, streams)).astype(float)
        parts = shiryaev_roberts(parts, log_ratios(calls, mean, variance))
        sums = parts.mean(axis=0)
        over = sums >= limit / shared(sums, limit)
        alarms += int(over.sum())
        parts[:, over] = 0.0
    budget = days * FALSE_A_DAY
    assert alarms <= budget + 3 * budget**0.5


def test_a_doubled_rate_of_ten_calls_an_hour_is_found_within_a_shift() -> None:
    """A line's own stream among 30 defects, relative variance 0.03: a CUSUM of normal scores needed nine hours."""
    rng = np.random.default_rng(2)
    limit, took = 30 * 24 / FALSE_A_DAY, []
    for _ in range(100):
        parts, hour = np.zeros((len(FACTORS), 1)), 0
        while parts.mean() <= limit and hour < 100:
            calls = rng.poisson(20 * rng.gamma(1 / 0.03, 0.03, 1)).astype(float)
            parts, hour = shiryaev_roberts(parts, log_ratios(calls, np.array([10.0]), np.array([0.03]))), hour + 1
        took.append(hour)
    assert np.median(took) <= 6


def test_detectors_that_rise_together_share_the_limit() -> None:
    """By hand (e-BH): of 60, 55, 20 and 1 at limit 100 the two greatest stand, each at 50 or more; alone 60 would
    not.
    """
    assert shared(np.array([[60.0, 1.0], [20.0, 55.0]]), 100.0) == 2
    assert shared(np.array([60.0, 1.0, 20.0]), 100.0) == 1
    assert shared(np.array([100.0, 50.0, 34.0, 25.0]), 100.0) == 4
