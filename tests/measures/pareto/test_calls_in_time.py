"""Calls in bins against expectation: windows of any length, honest intervals, nothing told where nothing came."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from pipelines.measures.pareto.calls_in_time import calls_in_time, counts_kept, expected_in_bins, in_bins

FIRST = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOURS = pl.DataFrame(
    {
        "hour": [FIRST, FIRST, FIRST + timedelta(hours=1)],
        "defect": ["CHF", "STN", "CHF"],
        "expected": [24.0, 12.0, 12.0],
        "variance": [0.0, 0.0, 14.4],
        "doubt": [0.0, 0.0, 0.0],
    }
)


def windows(*rows: tuple[int, int, int]) -> pl.DataFrame:
    """Rows of (minute of the start, length in seconds, count)."""
    return pl.DataFrame(
        {
            "moment": [FIRST + timedelta(minutes=at) for at, _, _ in rows],
            "window_s": [length for _, length, _ in rows],
            "calls": [count for _, _, count in rows],
        }
    )


def test_a_long_window_is_spread_over_its_bins_and_a_short_one_stays() -> None:
    counted = in_bins(windows((0, 300, 3), (5, 300, 4), (10, 1800, 12)), "calls", FIRST, 300, 9)
    assert counted[:8].tolist() == [3, 4, 2, 2, 2, 2, 2, 2]
    assert np.isnan(counted[8])


def test_a_window_that_begins_between_bins_or_before_the_first_keeps_its_sum() -> None:
    counted = in_bins(windows((-30, 3600, 60), (30, 900, 9)), "calls", FIRST, 600, 6)
    assert np.nansum(counted) == pytest.approx(30 + 9)
    assert counted[:5] == pytest.approx([10, 10, 10, 6, 3])


def test_an_hour_is_shared_out_by_the_ware_that_came() -> None:
    ware = np.array([100.0] * 6 + [0.0] * 3 + [200.0] * 3 + [np.nan] * 12)
    mean, variance = expected_in_bins(HOURS, ware, FIRST, 300)
    assert mean[:12] == pytest.approx([3.0] * 6 + [0.0] * 3 + [6.0] * 3)
    assert variance[:12] == pytest.approx(mean[:12]), "no spread beyond Poisson was told for this hour"
    assert mean[12:] == pytest.approx([1.0] * 12), "where no ware was counted, evenly"
    assert variance[12:] == pytest.approx([1.1] * 12), "14.4 of 12 squared is a tenth of the mean squared"


def test_no_past_tells_nothing() -> None:
    series = calls_in_time(windows((0, 300, 3)), np.full(12, 50.0), HOURS.clear(), FIRST, 300)
    assert np.isnan(series.expected).all() and np.isnan(series.low).all() and np.isnan(series.high).all()
    assert series.calls.tolist() == [3.0] + [0.0] * 11
    assert series.beyond(FIRST, None).sum() == 0


def test_the_interval_of_a_poisson_count_is_the_tables() -> None:
    """Cumulative Poisson probabilities for a mean of 10 (NIST/SEMATECH e-Handbook, 1.3.6.6.19, gives the formula; the
    values are those of any table: P(X <= 3) = 0.0103, P(X <= 4) = 0.0293, P(X <= 16) = 0.9730, P(X <= 17) = 0.9857).
    """
    low, high = counts_kept(np.array([10.0]), np.array([10.0]))
    assert (low[0], high[0]) == (4.0, 17.0)


def test_95_of_100_bins_lie_within() -> None:
    chance = np.random.default_rng(5)
    mean, relative = 8.0, 0.2
    counts = chance.poisson(chance.gamma(1 / relative, relative * mean, 40_000))
    low, high = counts_kept(np.array([mean]), np.array([mean + relative * mean**2]))
    inside = np.mean((counts >= low[0]) & (counts <= high[0]))
    assert 0.95 <= inside < 0.98


def test_what_is_beyond_counts_only_from_the_onset_to_the_end() -> None:
    series = calls_in_time(
        windows(*((5 * n, 300, 9 if n >= 4 else 2) for n in range(12))), np.full(12, 100.0), HOURS, FIRST, 300
    )
    beyond = series.beyond(FIRST + timedelta(minutes=21), FIRST + timedelta(minutes=40))
    assert beyond.tolist() == [0.0] * 4 + [6.0] * 4 + [0.0] * 4
