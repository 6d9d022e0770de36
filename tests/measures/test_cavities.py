"""How unusual a cavity is: against reference libraries, against ware without a fault, and against a planted one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipelines.measures.cavities import FAR, MORE, by_the_others, cavity_counts, cavity_states
from pipelines.measures.pulse import LATE_AFTER, alive, pulse
from pipelines.plant import Plant

PLACES = [(section, gob) for section in range(1, 9) for gob in "AB"]
MOULDS = {place: (str(n + 1),) for n, place in enumerate(PLACES)}


def counts(calls: np.ndarray, ware: float = 2000.0) -> dict[tuple[int, str], dict[str, Any]]:
    return {
        place: {"ware": ware, "calls": int(n), "critical": 0, "worst": []}
        for place, n in zip(PLACES, calls, strict=True)
    }


def test_against_its_own_past_q_is_benjamini_and_hochbergs_on_poisson_tails() -> None:
    """Reference: scipy.stats.poisson.sf and scipy.stats.false_discovery_control (SciPy 1.17), where past and spread are known exactly."""
    calls = np.array([12, 31, 18, 22, 25, 19, 9, 14, 40, 21, 20, 17, 23, 16, 28, 15])
    expected = np.linspace(15, 25, 16)
    told = cavity_states(
        PLACES, counts(calls), MOULDS, {str(n + 1): (float(e), 0.0, 0.0) for n, e in enumerate(expected)}
    )
    reference = stats.false_discovery_control(stats.poisson.sf(calls - 1, expected))
    assert [c.q for c in told] == pytest.approx(reference, rel=1e-6)
    assert [c.level for c in told] == ["far" if q < FAR else "more" if q < MORE else "usual" for q in reference]


def test_by_the_others_a_cavity_is_left_out_of_its_own_expectation() -> None:
    """By hand: three cavities of 100, 100 and 200 containers with 10, 20 and 30 calls; the first expects 100 x 50/300."""
    expected, _, doubt = by_the_others(np.array([10.0, 20.0, 30.0]), np.array([100.0, 100.0, 200.0]))
    assert expected == pytest.approx([100 * 50 / 300, 100 * 40 / 300, 200 * 30 / 200])
    assert doubt[0] == pytest.approx(expected[0] / 50**0.5)


def test_without_a_fault_hardly_a_map_names_a_cavity_and_a_planted_one_is_named() -> None:
    """Under chance alone the share of maps that name any cavity is at most the q (Benjamini and Hochberg 1995: with no true excess FDR is the family-wise rate)."""
    rng = np.random.default_rng(11)
    named = found = 0
    for _ in range(400):
        calls = rng.poisson(20.0, 16)
        named += any(c.level in ("far", "more") for c in cavity_states(PLACES, counts(calls), MOULDS, None))
        calls[5] = rng.poisson(60.0)
        found += cavity_states(PLACES, counts(calls), MOULDS, None)[5].level in ("far", "more")
    assert named / 400 <= MORE + 3 * (MORE * (1 - MORE) / 400) ** 0.5
    assert found / 400 > 0.95


def test_moulds_that_differ_by_habit_name_no_cavity_though_chance_alone_would() -> None:
    """Spread between cavities beyond Poisson widens the limits, as Laney's sigma z does (Quality Engineering 14 (2002) 531)."""
    rng = np.random.default_rng(12)
    named = plain = 0
    for _ in range(200):
        calls = rng.poisson(100.0 * rng.lognormal(0, 0.25, 16))
        named += any(c.level == "far" for c in cavity_states(PLACES, counts(calls), MOULDS, None))
        plain += bool((stats.false_discovery_control(stats.poisson.sf(calls - 1, calls.mean())) < FAR).any())
    assert plain / 200 > 0.8 and named / 200 < 0.08


def test_a_cavity_without_ware_or_past_is_said_to_be_so() -> None:
    told = cavity_states(
        PLACES, {PLACES[0]: {"ware": 10.0, "calls": 1, "critical": 1, "worst": [("CHF", 1)]}}, MOULDS, {}
    )
    assert told[0].level == "unknown" and told[0].q is None and told[0].critical == 1
    assert {c.level for c in told[1:]} == {"empty"} and told[1].rate is None


def test_unread_ware_is_shared_out_and_critical_defects_stand_first() -> None:
    ware = pl.DataFrame(
        {
            "station": ["s", "s", "s", "t"],
            "mould": ["1", "2", None, "1"],
            "section": [1, 1, None, 1],
            "gob": ["A", "B", None, "A"],
            "inspected": [60, 30, 10, 999],
        }
    )
    calls = pl.DataFrame(
        {
            "mould": ["1", "1", None],
            "defect": ["STN", "CHF", "STN"],
            "section": [1, 1, None],
            "gob": ["A", "A", None],
            "calls": [9, 1, 5],
        }
    )
    told = cavity_counts(calls, ware, ["CHF"], ["s"])
    assert told[1, "A"]["ware"] == pytest.approx(60 * 100 / 90) and told[1, "B"]["ware"] == pytest.approx(30 * 100 / 90)
    assert told[1, "A"] | {"ware": 0} == {"ware": 0, "calls": 10, "critical": 1, "worst": [("CHF", 1), ("STN", 9)]}


# a line's hour


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
    """Reference: scipy.stats.poisson (SciPy 1.17); the interval is normal: 1.96 standard deviations, with continuity left out."""
    told = pulse(plant, "K1", 3600, *frame(plant, 130), expected(100.0))
    assert told.q == pytest.approx(stats.poisson.sf(129, 100.0), rel=1e-6)
    assert (told.low, told.high) == (pytest.approx(100 - 1.96 * 10), pytest.approx(100 + 1.96 * 10))
    assert told.times == pytest.approx(1.3) and told.share == pytest.approx(130 / 5000)


def test_what_is_not_known_widens_the_interval(plant: Plant) -> None:
    told = pulse(plant, "K1", 3600, *frame(plant, 130), expected(100.0, variance=300.0, doubt=10.0))
    assert told.high == pytest.approx(100 + 1.96 * (100 + 300 + 100) ** 0.5) and told.q and told.q > 0.05


def test_without_a_past_that_covers_the_time_nothing_is_judged(plant: Plant) -> None:
    told = pulse(plant, "K1", 3600, *frame(plant, 130), expected(50.0, hours=0.5))
    assert (told.expected, told.low, told.q, told.times) == (None, None, None, None)


def test_a_station_is_silent_beside_its_line_and_late_beside_the_clock() -> None:
    now = datetime(2026, 3, 10, 12, tzinfo=UTC)
    last = {
        "a": now - timedelta(minutes=5),
        "b": now - timedelta(minutes=50),
        "d": now - LATE_AFTER - timedelta(minutes=1),
    }
    told = {one.station: one.state for one in alive([("K1", "a"), ("K1", "b"), ("K1", "c"), ("K2", "d")], last, now)}
    assert told == {"a": "alive", "b": "silent", "c": "never", "d": "late"}


def test_a_station_without_counts_by_window_says_what_it_sends() -> None:
    """Running totals can be late; rejects come only where something is rejected, so that their want is no silence. Heard of either way."""
    now = datetime(2026, 3, 10, 12, tzinfo=UTC)
    ago = {minutes: now - timedelta(minutes=minutes) for minutes in (5, 90, 300)}
    told = alive(
        [("K1", "a"), ("K1", "b"), ("K1", "c"), ("K1", "d"), ("K1", "e")], {"a": ago[5]}, now,
        {"b": {"counter_reads": ago[5], "reject_counts": ago[90]}, "c": {"counter_reads": ago[90]}, "d": {"reject_counts": ago[300]}},
    )  # fmt: skip
    assert [(one.state, one.sends, one.heard) for one in told] == [
        ("alive", "", None), ("alive", "running totals only", ago[5]), ("late", "running totals only", ago[90]),
        ("alive", "rejects only", ago[300]), ("never", "", None),
    ]  # fmt: skip
