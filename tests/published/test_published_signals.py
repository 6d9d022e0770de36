"""Charts, run lengths, false discovery and change-points against published values. The source stands beside each
check.
"""

from __future__ import annotations

import csv

import numpy as np
import pytest

from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.onset import change, rise
from pipelines.measures.signals.scan import benjamini_hochberg
from pipelines.measures.statistics.limits import (
    beyond_past,
    cusum_limit,
    cusum_run_length,
    cusum_step,
    p_chart,
    p_prime_chart,
)
from tests.published.outside import beside

# NIST/SEMATECH e-Handbook 6.3.3.2; the same counts in Montgomery, Introduction to Statistical Quality Control: 30
# samples of 50.
WAFERS = (12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6)

# Benjamini and Hochberg, JRSS B 57 (1995) 289, section 4: p-values of 15 hypotheses of a trial (from memory).
BH = (
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0,
)  # fmt: skip

# Annual flow of the Nile at Aswan 1871-1970, 1e8 m3: Cobb, Biometrika 65 (1978) 243; the R data set Nile.
NILE = (
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831,
    726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845,
    944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
)  # fmt: skip

# British coal-mining disasters a year, 1851-1962: Jarrett, Biometrika 66 (1979) 191; 191 disasters in all (yearly
# counts from memory).
COAL = (
    4, 5, 4, 1, 0, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4, 2, 5, 2, 2, 3, 4, 2, 1, 3,
    2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2, 0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 2, 1, 0, 0, 0, 1, 1,
    0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2, 4, 2, 0, 0, 0, 1, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0, 1,
)  # fmt: skip


def test_p_chart_of_the_handbook() -> None:
    """NIST e-Handbook 6.3.3.2: mean 0.2313, limits 0.0524 and 0.4102, samples 15 and 23 beyond."""
    share_limits = p_chart(WAFERS, [50] * 30)
    assert share_limits.centre == pytest.approx(0.2313, abs=5e-5)
    assert (share_limits.low[0], share_limits.high[0]) == (
        pytest.approx(0.0524, abs=5e-5),
        pytest.approx(0.4102, abs=5e-5),
    )
    assert [
        n + 1 for n, count in enumerate(WAFERS) if not share_limits.low[n] <= count / 50 <= share_limits.high[n]
    ] == [15, 23]


def test_p_prime_equals_p_at_dispersion_one() -> None:
    """Laney, Quality Engineering 14 (2002) 531: p' is p times sigma_z; where the moving ranges are those of chance both
    agree.
    """
    hits, trials = np.array(WAFERS, float), np.full(30, 50.0)
    wide, plain = p_prime_chart(hits, trials), p_chart(hits, trials)
    assert (wide.high - wide.centre) / (plain.high - plain.centre) == pytest.approx(wide.sigma_z)
    rng = np.random.default_rng(3)
    chance = rng.binomial(400, 0.08, 4000)
    assert p_prime_chart(chance, np.full(4000, 400)).sigma_z == pytest.approx(1.0, abs=0.03)


def test_p_prime_of_large_over_dispersed_samples() -> None:
    """Laney's case: huge samples whose shares wander. By hand from his formulas: z by p(1-p)/n, sigma_z = mean |z_i -
    z_(i-1)| / 1.128.
    """
    shares, n = np.array([0.950, 0.953, 0.957, 0.949, 0.954, 0.951]), np.full(6, 90_000.0)
    share_limits = p_prime_chart(shares * n, n)
    sigma = np.sqrt(share_limits.centre * (1 - share_limits.centre) / n[0])
    moving = np.abs(np.diff((shares - shares.mean()) / sigma))
    assert share_limits.sigma_z == pytest.approx(moving.sum() / 5 / 1.128)
    plain = p_chart(shares * n, n)
    outside = (shares < plain.low) | (shares > plain.high)
    assert outside.any() and not ((shares < share_limits.low) | (shares > share_limits.high)).any()


def test_p_prime_of_the_accident_departments() -> None:
    """Mohammed, Panesar, Laney and Wilson, BMJ Quality & Safety 22 (2013) 362: mean 0.9529, sigma_z 10.64, no point
    outside though 16 lie outside the p chart. Their table is read where it lies beside the project; elsewhere the same
    is asked of made shares of that kind.
    """
    path = beside("1.10_laney_nhs.csv")
    if path is not None:
        with path.open(newline="") as file:
            rows = list(csv.DictReader(file))
        hits, trials = (np.array([float(row[name]) for row in rows]) for name in ("r", "n"))
    else:
        rng = np.random.default_rng(8)
        trials = rng.integers(200_000, 400_000, 40).astype(float)
        hits = np.round(trials * np.clip(rng.normal(0.9529, 0.0043, 40), 0, 1))
    share_limits, plain = p_prime_chart(hits, trials), p_chart(hits, trials)
    outside = ((hits / trials < plain.low) | (hits / trials > plain.high)).sum()
    assert outside > 5 and not ((hits / trials < share_limits.low) | (hits / trials > share_limits.high)).any()
    assert share_limits.sigma_z > 4
    if path is not None:
        assert (share_limits.centre, share_limits.sigma_z) == (
            pytest.approx(0.952899711, abs=1e-8),
            pytest.approx(10.640422, abs=1e-5),
        )
        assert outside == 16


def test_an_hour_without_ware_is_passed_over() -> None:
    with_gap = p_prime_chart([*WAFERS[:9], 0, *WAFERS[9:]], [*[50] * 9, 0, *[50] * 21])
    assert with_gap.sigma_z == pytest.approx(p_prime_chart(WAFERS, [50] * 30).sigma_z)


def test_the_last_point_is_judged_by_those_before_it() -> None:
    share_limits = beyond_past([*WAFERS[:10], 40], [50] * 11)
    before = p_prime_chart(WAFERS[:10], [50] * 10)
    assert share_limits is not None and share_limits.centre == before.centre and share_limits.high[-1] < 40 / 50
    assert beyond_past([1, 2, 3], [50, 50, 50]) is None


@pytest.mark.parametrize(
    ("shift", "length"),
    # Two-sided CUSUM k = 0.5, h = 4: Montgomery, Introduction to Statistical Quality Control, ARL table (168, 74.2,
    # 26.6, 13.3, 8.38,
    # 4.75, 3.34, 2.62, 2.19, 1.71, from memory); Hawkins, Journal of Quality Technology 25 (1993) 248
    [
        (0, 168),
        (0.25, 74.2),
        (0.5, 26.6),
        (0.75, 13.3),
        (1, 8.38),
        (1.5, 4.75),
        (2, 3.34),
        (2.5, 2.62),
        (3, 2.19),
        (4, 1.71),
    ],
)
def test_cusum_run_lengths(shift: float, length: float) -> None:
    """The two sides never run at once: 1 / two-sided = 1 / upper + 1 / lower."""
    upper, lower = cusum_run_length(0.5, 4, shift), cusum_run_length(0.5, 4, -shift)
    assert 1 / (1 / upper + 1 / lower) == pytest.approx(length, rel=4e-3)


def test_cusum_limit_is_the_inverse_of_its_run_length() -> None:
    assert cusum_limit(0.5, 2 * 167.68) == pytest.approx(4.0, abs=0.01)


def test_cusum_sums_by_hand() -> None:
    sums, found = np.zeros(1), []
    for z in (1.0, -2.0, 2.0, 0.5):
        sums = cusum_step(sums, np.array([z]), 0.25)
        found.append(float(sums[0]))
    assert found == [0.75, 0.0, 1.75, 2.0]


def test_false_discovery_of_benjamini_and_hochberg() -> None:
    """Their example: 4 hypotheses rejected at 0.05 (Bonferroni: 3), 9 at 0.10; and SciPy's own adjustment."""
    from scipy.stats import false_discovery_control

    q = benjamini_hochberg(np.array(BH))
    assert int((q <= 0.05).sum()) == 4 and int((q <= 0.10).sum()) == 9
    assert q == pytest.approx(false_discovery_control(BH))
    shuffled = np.array(BH)[::-1]
    assert benjamini_hochberg(shuffled) == pytest.approx(q[::-1])
    assert benjamini_hochberg(np.array(BH[:4]), tests=15) == pytest.approx(np.array(BH[:4]) * 15 / np.arange(1, 5))


def test_excess_against_scipy() -> None:
    """The tails of SciPy's negative binomial and Poisson distributions (reference library)."""
    from scipy.stats import nbinom, poisson

    for mean, variance, calls in ((0.3, 0.2, 4), (12.0, 0.05, 25), (40.0, 1.0, 90)):
        size = 1 / variance
        values = excess_p(np.array(calls), np.array(mean), np.array(variance))
        assert values == pytest.approx(nbinom.sf(calls - 1, size, size / (size + mean)), rel=1e-9)
    assert excess_p(np.array(7), np.array(2.0), np.array(0.0)) == pytest.approx(poisson.sf(6, 2.0), rel=1e-6)
    assert excess_p(np.array(0), np.array(2.0), np.array(0.1)) == 1.0


def test_onset_of_the_nile() -> None:
    """Cobb (1978); R's data set: apparent change near 1898, the last year of the high flow. strucchange 1.5-3 (R
    4.2.2): 1898, 1895-1902.
    """
    onset = change(np.array(NILE, float))
    assert 1871 + round(onset.at) - 1 == 1898
    assert 1871 + onset.low - 0.5 >= 1895 and 1871 + onset.high - 1 <= 1902


def test_onset_of_the_coal_mining_series() -> None:
    """Jarrett (1979); Raftery and Akman, Biometrika 73 (1986) 85: change about 1890, posterior mode within
    1887-1895.
    """
    assert sum(COAL) == 191 and len(COAL) == 112
    onset = change(np.array(COAL, float))
    assert 1889 <= 1851 + onset.at <= 1892
    assert 1851 + onset.low >= 1884 and 1851 + onset.high <= 1897


def test_a_rise_over_a_known_rate_is_dated_as_by_direct_calculation() -> None:
    """The posterior of a step at each bin, summed bin by bin in plain Python for one factor grid (direct
    calculation).
    """
    rng = np.random.default_rng(11)
    calls = np.concatenate([rng.poisson(0.2, 200), rng.poisson(1.4, 60)]).astype(float)
    onset = rise(calls, np.full(260, 0.2))
    assert abs(onset.at - 200) < 8 and onset.low <= 200 <= onset.high
    assert rise(calls, np.full(260, 0.2), latest=150).high <= 150.5


def test_intervals_of_a_rise_cover_the_truth() -> None:
    """Simulated steps of a Poisson rate: a 95 % interval should hold the truth in about 95 of 100."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(200):
        start = int(rng.integers(150, 400))
        rate = np.where(np.arange(480) < start, 0.15, 0.15 * rng.uniform(4, 12))
        onset = rise(rng.poisson(rate).astype(float), np.full(480, 0.15))
        held += onset.low - 0.5 <= start <= onset.high + 0.5
    assert 184 <= held <= 199
