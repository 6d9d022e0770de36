"""Values from outside the project. The source stands beside each check; the tolerance comes from the printed digits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from stdnum import ean

from pipelines.answers.pareto import answer_pareto
from pipelines.clock import Span
from pipelines.measures.statistics.shares import (
    availability,
    count_interval,
    mean_half_width,
    proportion_interval,
    quality_ratio,
    score_interval,
    scrap_ratio,
)
from sample_feeds.simulator import Simulated
from tests.conftest import Place

# 30 samples of 50: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2 Proportions Control Charts; the same counts
# stand in Montgomery, Introduction to Statistical Quality Control. Mean 0.2313, limits 0.0524 and 0.4102, beyond: 15,
# 23.
WAFERS = (
    12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6,
)  # fmt: skip


def test_published_counts_come_through_the_pipeline_with_the_published_mean(place: Place) -> None:
    """NIST/SEMATECH e-Handbook 6.3.3.2: each sample becomes a minute of a station; the pooled rate is the centre
    line.
    """
    start = datetime(2026, 3, 2, 8, tzinfo=UTC)
    at = [(start + timedelta(minutes=n)).isoformat() for n in range(len(WAFERS))]
    seen = "".join(f"{moment},K2,K2-side,50,{count}\n" for moment, count in zip(at, WAFERS, strict=True))
    called = "".join(f"{moment},K2,K2-side,SCF,{count}\n" for moment, count in zip(at, WAFERS, strict=True))
    place.put("station_counts.K2.csv", "window_start,line,station,inspected,rejected\n" + seen)
    place.put("reject_counts.K2.csv", "window_start,line,station,defect,rejected\n" + called)
    place.take()
    with place.opened.ledger.reading() as reader:
        pareto = answer_pareto(reader, place.plant, "K2", Span(start, start + timedelta(minutes=30)))
        minutes = [
            answer_pareto(
                reader,
                place.plant,
                "K2",
                Span(start + timedelta(minutes=n), start + timedelta(minutes=n + 1)),
            )
            .rows[0]
            .rate
            for n in range(30)
        ]
    assert (pareto.ware, pareto.rejected, pareto.calls) == (1500, 347, 347)
    mean = pareto.rows[0].rate
    assert mean == pytest.approx(0.2313, abs=5e-5)
    half = 3 * (mean * (1 - mean) / 50) ** 0.5
    assert (mean - half, mean + half) == (pytest.approx(0.0524, abs=5e-5), pytest.approx(0.4102, abs=5e-5))
    assert [n + 1 for n, rate in enumerate(minutes) if rate is not None and abs(rate - mean) > half] == [
        15,
        23,
    ]


def test_ratios_of_iso_22400_2() -> None:
    """ISO 22400-2:2014: quality ratio GQ/PQ, scrap ratio SQ/PQ, availability APT/PBT; the numbers are constructed."""
    assert quality_ratio(91_200, 100_000) == pytest.approx(0.912)
    assert scrap_ratio(6_800, 100_000) == pytest.approx(0.068)
    assert availability(1290, 1440) == pytest.approx(0.8958333, abs=1e-7)
    assert quality_ratio(5, 0) is None


@pytest.mark.parametrize(("hits", "trials", "low", "high"), [(81, 263, 0.2553, 0.3662), (0, 20, 0.0, 0.1611)])
def test_wilson_as_newcombe_prints_it(hits: int, trials: int, low: float, high: float) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (score, no continuity correction)."""
    assert score_interval(hits, trials) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))
    assert score_interval(0, 0) == (0.0, 1.0)


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    # Newcombe, Statistics in Medicine 17 (1998) 857, table I, Clopper-Pearson rows
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_clopper_pearson_as_newcombe_prints_it(hits: int, trials: int, low: float, high: float) -> None:
    assert proportion_interval(hits, trials) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize("n", [2, 5, 12])
def test_the_interval_of_a_mean_is_scipys(n: int) -> None:
    """`scipy.stats.t.interval` with n - 1 degrees of freedom."""
    from scipy.stats import t

    assert mean_half_width(2.5, n) == pytest.approx(t.interval(0.95, n - 1, 0, 2.5 / n**0.5)[1])


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # Garwood, Biometrika 28 (1936) 437: exact 95 % limits of a Poisson mean, to the digits commonly reprinted
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_garwood_limits(count: int, low: float, high: float) -> None:
    assert count_interval(count) == (pytest.approx(low, abs=6e-4), pytest.approx(high, abs=6e-4))


def test_pallet_numbers_are_sscc(day_of_truth: Simulated, day_taken: Place) -> None:
    """By python-stdnum's EAN arithmetic, which is GS1's modulo 10; its gs1_128 would accept a wrong digit."""
    pallets = day_taken.facts("pallets")["pallet"].to_list()
    assert len(pallets) > 100
    assert all(len(p) == 18 and ean.calc_check_digit(p[:17]) == p[17] for p in pallets)
