"""Reconciliation against published examples and against SciPy's general-purpose solvers."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.optimize import minimize
from scipy.stats import chi2

from pipelines.measures.yields.reconcile import Reconciled, reconcile
from tests.published.outside import beside

# An invented network: 1 -> 2 + 3, 2 -> 4, 3 -> 5, 4 + 5 -> 6, the structure of a heat exchanger with a bypass.
BYPASS = np.array([[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]], float)
INVENTED = np.array([250.9, 171.2, 77.3, 168.8, 79.9, 248.1])
SD = np.array([2.0, 1.5, 1.0, 1.5, 1.0, 2.0])


def by_scipy(y: np.ndarray, sd: np.ndarray, a: np.ndarray, b: np.ndarray | None = None) -> np.ndarray:
    """The same problem by SciPy's sequential least squares: measured flows, then losses >= 0."""
    whole = a if b is None else np.hstack([a, b])
    start = np.concatenate([y, np.ones(whole.shape[1] - len(y))])
    bounds = [(None, None)] * len(y) + [(0, None)] * (whole.shape[1] - len(y))
    answer = minimize(
        lambda x: (((x[: len(y)] - y) / sd) ** 2).sum(),
        start,
        constraints={"type": "eq", "fun": lambda x: whole @ x},
        bounds=bounds,
        method="SLSQP",
        options={"ftol": 1e-11, "maxiter": 500},
    )
    assert answer.success
    return np.asarray(answer.x)


def test_the_closed_form_is_scipys_constrained_least_squares() -> None:
    reconciled = reconcile(INVENTED, SD, BYPASS)
    assert reconciled.values == pytest.approx(by_scipy(INVENTED, SD, BYPASS), abs=1e-5)
    assert np.abs(BYPASS @ reconciled.values).max() < 1e-9
    assert reconciled.statistic == pytest.approx((((reconciled.values - INVENTED) / SD) ** 2).sum())
    assert reconciled.p == pytest.approx(chi2.sf(reconciled.statistic, 4)) and reconciled.freedom == 4
    assert ((reconciled.high - reconciled.low) / 2 <= 1.96 * SD + 1e-9).all()


def test_reconciled_values_are_surer_than_readings_as_least_squares_says() -> None:
    """Flows on the null space of the balances are a regression: its covariance N (N' V^-1 N)^-1 N' by SciPy's null
    space; VDI 2048 Part 1.
    """
    free = null_space(BYPASS)
    covariance = free @ np.linalg.inv(free.T @ np.diag(SD**-2) @ free) @ free.T
    reconciled = reconcile(INVENTED, SD, BYPASS)
    assert reconciled.covariance == pytest.approx(covariance)
    assert (reconciled.high - reconciled.low) / 2 == pytest.approx(1.96 * np.sqrt(np.diag(covariance)))


@pytest.mark.parametrize("seed", range(6))
def test_losses_are_never_below_zero_and_the_optimum_is_scipys(seed: int) -> None:
    """A chain with a loss at every step, some of which the readings would make negative; the total is metered at both
    ends.
    """
    rng = np.random.default_rng(seed)
    a = np.array([[1, -1, 0, 0], [0, 1, -1, 0], [0, 0, 1, -1], [1, 0, 0, -1]], float)
    b = np.array([[-1, 0], [0, 0], [0, -1], [-1, -1]], float)
    y = np.array([1000.0, 960.0, 961.0, 940.0]) + rng.normal(0, 30, 4)
    reconciled = reconcile(y, np.full(4, 12.0), a[:3], b[:3])
    expected = by_scipy(y, np.full(4, 12.0), a[:3], b[:3])
    assert (reconciled.losses >= 0).all() and reconciled.values == pytest.approx(expected[:4], abs=1e-3)
    assert reconciled.losses == pytest.approx(expected[4:], abs=1e-3)
    assert np.abs(a[:3] @ reconciled.values + b[:3] @ reconciled.losses).max() < 1e-6


def test_the_exchanger_with_bypass_as_the_book_has_it() -> None:
    """Narasimhan and Jordache, Data Reconciliation and Gross Error Detection (2000): clean 100.22, 64.50, 35.72; global
    test 16.674 with a gross error on stream 2. The flows are read where they lie beside the project; without them the
    invented network stands above.
    """
    path = beside("3.03_nj_bypass.json")
    if path is None:
        assert reconcile(INVENTED, SD, BYPASS).freedom == 4
        return
    case = json.loads(path.read_text())
    y, biased = (np.array(v, float) for v in (case["data"]["clean"]["measured"], case["data"]["biased_measured"]))
    clean, wrong = reconcile(y, np.ones(6), BYPASS), reconcile(biased, np.ones(6), BYPASS)
    assert clean.values == pytest.approx([100.22, 64.50, 35.72, 64.50, 35.72, 100.22], abs=5e-3)
    assert wrong.statistic == pytest.approx(16.674, abs=5e-4)
    assert np.abs(wrong.z) == pytest.approx(case["expected"]["biased"]["z"], abs=1e-4)


def test_the_heat_circuit_of_vdi_2048() -> None:
    """VDI 2048 Part 1, example with correlated readings: printed values and half widths, chi-square 2.537. Read where
    it lies beside the project; without it, correlated errors are checked against the Karush-Kuhn-Tucker system solved
    by NumPy.
    """
    rng = np.random.default_rng(1)
    root = rng.normal(size=(6, 6)) * 0.4 + np.eye(6) * 2
    covariance = root @ root.T
    kkt = np.block([[np.linalg.inv(covariance), BYPASS.T], [BYPASS, np.zeros((4, 4))]])
    right = np.concatenate([np.linalg.inv(covariance) @ INVENTED, np.zeros(4)])
    assert reconcile(INVENTED, covariance, BYPASS).values == pytest.approx(np.linalg.solve(kkt, right)[:6])
    path, data_path = beside("3.01_vdi2048.json"), beside("3.01_vdi2048_data.json")
    if path is not None and data_path is not None:
        data = json.loads(data_path.read_text())
        expected = json.loads(path.read_text())["expected"]
        reconciled = _vdi(data)
        assert reconciled.values == pytest.approx(expected["published"]["reconciled"], abs=6e-4)
        assert (reconciled.high - reconciled.low) / 2 == pytest.approx(expected["published"]["halfwidth"], abs=6e-4)
        assert reconciled.statistic == pytest.approx(expected["J"], abs=1e-6) and reconciled.freedom == 3


def _vdi(data: dict[str, Any]) -> Reconciled:
    sd = np.array(data["halfwidth_in"]) / 1.96
    correlation = np.eye(len(sd))
    for pair, value in data["correlations"].items():
        answer, other = (data["names"].index(name) for name in pair.split(","))
        correlation[answer, other] = correlation[other, answer] = value
    return reconcile(data["measured"], correlation * np.outer(sd, sd), np.array(data["A"]))
