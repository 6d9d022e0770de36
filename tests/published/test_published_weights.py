"""Weights against values from outside the project; the source stands beside each check, the tolerance comes from the
printed digits.
"""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from pipelines.answers.weights.answer import study_weights
from pipelines.clock import Span
from pipelines.measures.statistics.capability import capability
from pipelines.measures.statistics.components import components
from pipelines.measures.statistics.factors import a3, b3_b4, c4, d2_d3
from pipelines.measures.statistics.run_rules import Rules, ewma, ewma_run_length, ewma_sd, rules_run_length
from pipelines.measures.weights import Study
from tests.conftest import WORKS, Place
from tests.published.outside import beside

START = datetime(2026, 3, 2, 6, tzinfo=UTC)

# ISO 7870-2, annex of factors, and ASTM MNL 7; printed in The Handbook for Quality Management (2013), p. 401. c4, A3,
# B3 and B4 as read
# there, d2, d3, D3 and D4 from memory: older printings give D4 of 3 as 2.574, others as 2.575.
FACTORS = {
    2: (0.7979, 2.659, 0, 3.267, 1.128, 0.853, 0, 3.267),
    3: (0.8862, 1.954, 0, 2.568, 1.693, 0.888, 0, 2.575),
    4: (0.9213, 1.628, 0, 2.266, 2.059, 0.880, 0, 2.282),
    5: (0.9400, 1.427, 0, 2.089, 2.326, 0.864, 0, 2.114),
    6: (0.9515, 1.287, 0.030, 1.970, 2.534, 0.848, 0, 2.004),
    7: (0.9594, 1.182, 0.118, 1.882, 2.704, 0.833, 0.076, 1.924),
    8: (0.9650, 1.099, 0.185, 1.815, 2.847, 0.820, 0.136, 1.864),
    9: (0.9693, 1.032, 0.239, 1.761, 2.970, 0.808, 0.184, 1.816),
    10: (0.9727, 0.975, 0.284, 1.716, 3.078, 0.797, 0.223, 1.777),
}


@pytest.mark.parametrize("n", list(FACTORS))
def test_chart_factors_are_those_of_iso_7870_2(n: int) -> None:
    d2, d3 = d2_d3(n)
    low, high = b3_b4(n)
    mine = (float(c4(n)), float(a3(n)), float(low), float(high), d2, d3, max(0.0, 1 - 3 * d3 / d2), 1 + 3 * d3 / d2)
    assert mine == pytest.approx(FACTORS[n], abs=6.1e-4)


def weighed(place: Place, rows: list[tuple[datetime, str, int, float]], item: str = "J370") -> None:
    """Cold weighings of line K1 as a feed file, with a job of an item and a mould log that has every mould."""
    body = "".join(f"{at.isoformat()},K1,cold,{mould},{sample},{grams!r}\n" for at, mould, sample, grams in rows)
    place.put("weight_checks.K1.csv", "sampled_at,line,point,mould,sample,weight_g\n" + body)
    place.put("job_log.K1.csv", f"started_at,line,job,item\n{(START - timedelta(days=30)).isoformat()},K1,J,{item}\n")
    moulds = sorted({mould for _, mould, _, _ in rows})
    cavities = [(section, gob) for section in range(1, 9) for gob in "AB"]
    log = "".join(
        f"{(START - timedelta(days=30)).isoformat()},K1,{section},{gob},mould,{mould}\n"
        for mould, (section, gob) in zip(moulds, cavities, strict=False)
    )
    place.put("mould_log.K1.csv", "fitted_at,line,section,gob,part,number\n" + log)
    report = place.take()
    assert (report.rows_refused, report.files_refused) == (0, 0)


def studied(place: Place, start: datetime, end: datetime) -> Study:
    with place.opened.ledger.reading() as reader:
        return study_weights(reader, place.plant, "K1", Span(start, end))[0].points[0]


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA control charts: data, series to two decimals, limits
# 52.5884 and 47.4115 (truncated there)
NIST_EWMA = (
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6,
    52.1,
)  # fmt: skip
NIST_SERIES = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
)  # fmt: skip


def test_the_ewma_of_nist_comes_through_a_weight_feed(place: Place) -> None:
    rows = [(START + timedelta(minutes=30 * n), "11", 1, value) for n, value in enumerate(NIST_EWMA)]
    weighed(place, rows)
    rounds = studied(place, START, START + timedelta(days=1)).rounds
    averages = 50 + ewma(rounds.mean - 50, 0.3)[:, 0]
    assert averages == pytest.approx(np.array(NIST_SERIES), abs=5e-3)
    half = 3 * ewma_sd(0.3, 2.0539)
    assert (50 + half, 50 - half) == (pytest.approx(52.5884, abs=1e-4), pytest.approx(47.4115, abs=1e-4))


@pytest.mark.parametrize(
    ("weight", "width", "shift", "length"),
    # Lucas and Saccucci, Technometrics 32 (1990) 1, table 3, two-sided, to three figures (lambda 0.1 from memory; the
    # others by the R package spc 0.6.7)
    [
        (0.1, 2.814, 0, 500),
        (0.1, 2.814, 0.5, 31.3),
        (0.1, 2.814, 1, 10.3),
        (0.1, 2.814, 2, 4.36),
        (0.25, 2.998, 1, 11.1),
        (0.5, 3.071, 1, 17.5),
    ],
)
def test_run_lengths_of_the_ewma(weight: float, width: float, shift: float, length: float) -> None:
    assert ewma_run_length(weight, width, shift, states=151) == pytest.approx(length, rel=6e-3)


@pytest.mark.parametrize(
    ("rules", "shift", "length"),
    # Champ and Woodall, Technometrics 29 (1987) 393, table 1 (from memory; to four decimals by an independent Markov
    # chain)
    [
        (Rules(3, None), 0, 370.3983),
        (Rules(3, 2), 0, 225.4384),
        (Rules(3, None), 1, 43.8947),
        (Rules(3, 2), 1, 20.0050),
        (Rules(3, 2), 2, 3.6464),
    ],
)
def test_run_lengths_of_the_rules(rules: Rules, shift: float, length: float) -> None:
    assert rules_run_length(rules, shift) == pytest.approx(length, abs=1e-4)


def test_xbar_and_s_limits_of_the_piston_rings(place: Place) -> None:
    """Montgomery, Introduction to Statistical Quality Control, piston rings, 25 samples of 5 and 15 more (limits by the
    R package qcc 2.7): mean 74.001176, mean S 0.0092400, X-bar 73.987988 to 74.014364, S up to 0.0193024; of the later
    samples 37, 38 and 39 are beyond. Where the data are not at hand, from mean and mean S.
    """
    path = beside("1.07_pistonrings.csv")
    if path is None:
        half = float(a3(5)) * 0.0092400366
        assert (74.001176 - half, 74.001176 + half) == (
            pytest.approx(73.987988, abs=1e-6),
            pytest.approx(74.014364, abs=1e-6),
        )
        assert float(b3_b4(5)[1]) * 0.0092400366 == pytest.approx(0.019302417, abs=1e-8)
        return
    seen: dict[int, list[float]] = {}
    for row in csv.DictReader(path.open()):
        seen.setdefault(int(row["sample"]), []).append(float(row["diameter"]))
    rows = [
        (START + timedelta(minutes=30 * n), "11", k, value)
        for n, values in seen.items()
        for k, value in enumerate(values, start=1)
    ]
    weighed(place, rows)
    phase2 = START + timedelta(minutes=30 * 26)
    chart = studied(place, phase2 - timedelta(hours=13), phase2).moulds[0].chart
    assert chart.centre == pytest.approx(74.001176, abs=1e-6) and len(chart.mean) == 25
    assert (chart.low[0], chart.high[0]) == (pytest.approx(73.987988, abs=1e-6), pytest.approx(74.014364, abs=1e-6))
    assert (chart.spread_low[0], chart.spread_high[0]) == (0.0, pytest.approx(0.019302417, abs=1e-8))
    later = studied(place, phase2, phase2 + timedelta(hours=8)).moulds[0].chart
    assert later.high[0] == pytest.approx(74.014364, abs=1e-6)
    assert [26 + n for n in np.flatnonzero((later.mean > later.high) | (later.mean < later.low))] == [37, 38, 39]


def test_capability_as_in_the_handbook(place: Place) -> None:
    """NIST/SEMATECH e-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, sd 2: Cp 1.0, Cpk 0.6667; interval of Cp
    1.33 at n 50: 1.0673 to 1.5922; of Cpk 1.1:
    0.8634 to 1.3366 by the normal approximation."""
    this_capability = capability(16, 2, 50, 49, 8, 20)
    assert (this_capability.c, this_capability.k) == (pytest.approx(1.0), pytest.approx(0.6666667, abs=1e-6))
    wide = capability(0, 1, 50, 49, -3.99, 3.99)
    assert (wide.c_low, wide.c_high) == (pytest.approx(1.0673015, abs=1e-6), pytest.approx(1.5921775, abs=1e-6))
    side = capability(0, 1, 50, 49, -3.3, 3.3)
    assert (side.k_low, side.k_high) == (pytest.approx(0.8634269, abs=1e-6), pytest.approx(1.3365731, abs=1e-6))
    works = WORKS.replace(
        "weight_g = 182.0\nweight_min_g = 176.0\nweight_max_g = 188.0",
        "weight_g = 14.0\nweight_min_g = 8.0\nweight_max_g = 20.0",
    )
    place.site.works_toml.write_text(works)
    swing = 2 * (49 / 50) ** 0.5
    weighed(place, [(START + timedelta(minutes=30 * n), "11", 1, 16 + swing * (-1) ** n) for n in range(50)])
    perf = studied(place, START, START + timedelta(days=2)).moulds[0].perf
    assert (perf.c, perf.k) == (pytest.approx(1.0), pytest.approx(0.6666667, abs=1e-6))


# Davies and Goldsmith, Statistical Methods in Research and Production (1972); Box and Tiao (1973) 5.1: yield of
# dyestuff, six batches of five [g].
# Between batches 1764.05, within 2451.25.
DYESTUFF = {
    "A": (1545, 1440, 1440, 1520, 1580),
    "B": (1540, 1555, 1490, 1560, 1495),
    "C": (1595, 1550, 1605, 1510, 1560),
    "D": (1445, 1440, 1595, 1465, 1545),
    "E": (1595, 1630, 1515, 1635, 1625),
    "F": (1520, 1455, 1450, 1480, 1445),
}


def test_the_variance_of_the_dyestuff_comes_through_a_weight_feed(place: Place) -> None:
    """Each batch a mould, each yield a sample of one time: what differs between batches is what differs between
    moulds.
    """
    body = "".join(
        f"{START.isoformat()},K1,cold,{batch},{n},{grams}\n"
        for batch, many in DYESTUFF.items()
        for n, grams in enumerate(many, start=1)
    )
    place.put("weight_checks.K1.csv", "sampled_at,line,point,mould,sample,weight_g\n" + body)
    place.take()
    parts = studied(place, START, START + timedelta(hours=1)).parts
    assert parts["moulds"].value == pytest.approx(1764.05, rel=1e-5) and parts["within"].value == pytest.approx(
        2451.25, rel=1e-5
    )
    assert "times" not in parts


def test_unbalanced_components_are_those_of_the_dense_likelihood() -> None:
    """Patterson and Thompson, Biometrika 58 (1971) 545: the restricted likelihood with whole matrices, maximised by
    SciPy, on data with gaps.
    """
    from scipy.optimize import minimize

    rng = np.random.default_rng(3)
    a, b = rng.integers(0, 7, 60), rng.integers(0, 11, 60)
    y = 200 + rng.normal(0, 1, 7)[a] + rng.normal(0, 0.7, 11)[b] + rng.normal(0, 0.5, 60)
    za, zb, x = np.eye(7)[a], np.eye(11)[b], np.ones((60, 1))

    def deviance(logs: np.ndarray) -> float:
        va, vb, ve = np.exp(logs)
        v = va * za @ za.T + vb * zb @ zb.T + ve * np.eye(60)
        inverse = np.linalg.inv(v)
        information = x.T @ inverse @ x
        rest = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
        return float(np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1] + rest @ inverse @ rest)

    best = np.exp(
        minimize(
            deviance, np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000}
        ).x
    )
    these_components = components(y, {"a": a, "b": b})
    assert [
        these_components["a"].value,
        these_components["b"].value,
        these_components["within"].value,
    ] == pytest.approx(best, rel=2e-3)
    assert all(
        part.low is not None and part.high is not None and part.low < part.value < part.high
        for part in these_components.values()
    )
