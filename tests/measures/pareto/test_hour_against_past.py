"""An hour's calls against the line's own past, and its stations against the clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from scipy import stats

from pipelines.measures.pareto.hour_figures import LATE_AFTER, alive, pulse
from pipelines.plant.works import Plant

NOON = datetime(2026, 3, 10, 12, tzinfo=UTC)


def frame(plant: Plant, calls: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    first = plant.first_stations("K1")[0]
    return (
        pl.DataFrame({"station": [first], "mould": ["1"], "defect": ["CHS"], "calls": [calls]}),
        pl.DataFrame({"station": [first], "mould": ["1"], "inspected": [5000], "rejected": [calls]}),
    )


def expected(mean: float, variance: float = 0.0, doubt: float = 0.0, hours: float = 1.0) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "kind": ["defect", "mould"],
            "key": ["CHS", "1"],
            "expected": [mean, 9e9],
            "variance": [variance, 9e9],
            "doubt": [doubt, 9e9],
            "hours": [hours, hours],
        }
    )


def test_an_hours_calls_are_judged_by_the_poisson_tail_where_the_past_is_known_exactly(plant: Plant) -> None:
    """Reference: scipy.stats.poisson (SciPy 1.17); the interval is normal: 1.96 standard deviations, with continuity
    left out.
    """
    this_pulse = pulse(plant, "K1", 3600, *frame(plant, 130), expected(100.0))
    assert this_pulse.q == pytest.approx(stats.poisson.sf(129, 100.0), rel=1e-6)
    assert (this_pulse.low, this_pulse.high) == (pytest.approx(100 - 1.96 * 10), pytest.approx(100 + 1.96 * 10))
    assert this_pulse.times == pytest.approx(1.3) and this_pulse.share == pytest.approx(130 / 5000)


def test_what_is_not_known_widens_the_interval(plant: Plant) -> None:
    this_pulse = pulse(plant, "K1", 3600, *frame(plant, 130), expected(100.0, variance=300.0, doubt=10.0))
    assert (
        this_pulse.high == pytest.approx(100 + 1.96 * (100 + 300 + 100) ** 0.5) and this_pulse.q and this_pulse.q > 0.05
    )


def test_without_a_past_that_covers_the_time_nothing_is_judged(plant: Plant) -> None:
    this_pulse = pulse(plant, "K1", 3600, *frame(plant, 130), expected(50.0, hours=0.5))
    assert (this_pulse.expected, this_pulse.low, this_pulse.q, this_pulse.times) == (None, None, None, None)


def test_a_station_is_silent_beside_its_line_and_late_beside_the_clock() -> None:
    now = NOON
    last = {
        "a": now - timedelta(minutes=5),
        "b": now - timedelta(minutes=50),
        "d": now - LATE_AFTER - timedelta(minutes=1),
    }
    texts = {
        station.station: station.state
        for station in alive([("K1", "a"), ("K1", "b"), ("K1", "c"), ("K2", "d")], last, now)
    }
    assert texts == {"a": "alive", "b": "silent", "c": "never", "d": "late"}


def test_a_station_without_counts_by_window_says_what_it_sends() -> None:
    """Running totals can be late; rejects come only where something is rejected, so that their want is no silence.
    Heard of either way.
    """
    now = datetime(2026, 3, 10, 12, tzinfo=UTC)
    ago = {minutes: now - timedelta(minutes=minutes) for minutes in (5, 90, 300)}
    stations = alive(
        [("K1", "a"), ("K1", "b"), ("K1", "c"), ("K1", "d"), ("K1", "e")],
        {"a": ago[5]},
        now,
        {
            "b": {"counter_reads": ago[5], "reject_counts": ago[90]},
            "c": {"counter_reads": ago[90]},
            "d": {"reject_counts": ago[300]},
        },
    )
    assert [(station.state, station.sends, station.heard) for station in stations] == [
        ("alive", "", None),
        ("alive", "running totals only", ago[5]),
        ("late", "running totals only", ago[90]),
        ("alive", "rejects only", ago[300]),
        ("never", "", None),
    ]
