"""Explanations of a window of days against direct integration, a general normal distribution and a published
network.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from pipelines.measures.yields import explanations as told_by
from pipelines.measures.yields.explanations import ENDED_PRIOR, FROM_FIRST, PRIOR, Answers, explained, quantiles
from pipelines.measures.yields.joint_days import Joint, MeterLie, Window, window_of
from pipelines.measures.yields.openings import OpeningCause, Openings, together
from tests.published.outside import beside

BYPASS = np.array([[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]], float)
INVENTED = np.array([250.9, 171.2, 77.3, 168.8, 79.9, 248.1])


def openings(
    values: list[float],
    effect: list[list[float]],
    daily: list[float],
    lasting: float = 0.01,
    kinds: str = "",
    size: float = 3.0,
) -> Openings:
    """A day of a small network; one meter a column, or a loss where `kinds` says l."""
    n = len(daily)
    loss = [n < len(kinds) and kinds[n] == "l" for n in range(n)]
    causes = tuple(
        OpeningCause(
            f"cause {n}",
            "loss" if loss[n] else "cut",
            1.0 if loss[n] else 0.0,
            1.0 if loss[n] else lasting,
            (size,),
            loss[n],
        )
        for n in range(n)
    )
    eye = np.eye(n)
    return Openings(
        causes, np.array(values), np.array(effect), np.array(daily), eye, np.zeros(n), np.ones(n, bool), np.ones(n)
    )


def days_of(seed: int, days: int = 4, kinds: str = "") -> Window:
    rng = np.random.default_rng(seed)
    effect = [[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]]
    return window_of([openings(list(rng.normal(0, 1.4, 2)), effect, [1.0, 0.5, 0.8], 0.2, kinds) for _ in range(days)])


def stacked(window: Window) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Mean and covariance of all openings and of today's causes together, written out cause by cause and day by day."""
    k, days = len(window.causes), window.days
    lasting = np.array([cause.lasting for cause in window.causes])
    mean = np.array([cause.mean for cause in window.causes])
    covariance = np.kron(np.ones((days, days)), np.diag(lasting)) + np.diag(np.concatenate(window.daily))
    effect = np.zeros((sum(map(len, window.values)), k * days))
    row = 0
    for day, values in enumerate(window.effects):
        effect[row : row + len(values), day * k : (day + 1) * k] = values
        row += len(values)
    return effect, np.tile(mean, days), covariance, np.concatenate(window.values)


@pytest.mark.parametrize("seed", range(4))
def test_todays_causes_are_those_of_the_joint_normal_distribution(seed: int) -> None:
    """Conditioning of all causes of all days, by the full matrices (Rasmussen and Williams 2006, A.6), and SciPy's
    density.
    """
    window = days_of(seed, kinds="--l")
    effect, mean, covariance, values = stacked(window)
    sigma = effect @ covariance @ effect.T
    gain = covariance @ effect.T @ np.linalg.inv(sigma)
    k = len(window.causes)
    joint = Joint(window)
    assert joint.mean == pytest.approx((mean + gain @ (values - effect @ mean))[-k:], abs=1e-8)
    assert joint.covariance == pytest.approx((covariance - gain @ effect @ covariance)[-k:, -k:], abs=1e-8)
    density = multivariate_normal(effect @ mean, sigma).logpdf(values) + 0.5 * len(values) * math.log(2 * math.pi)
    assert joint.log_density == pytest.approx(density)


@pytest.mark.parametrize("kinds", ["---", "-l-"])
@pytest.mark.parametrize("first", [0, 2])
def test_a_lies_bayes_factor_mean_and_spread_are_the_integrals(kinds: str, first: int) -> None:
    """Occam's term, the exponent and the half-normal's factor at once: the densities integrated over the size of the
    lie by SciPy's quadrature, prior N(0, 3^2), for a loss its half above nothing.
    """
    window, cause = days_of(11, kinds=kinds), 1
    joint = Joint(window)
    effect, mean, covariance, values = stacked(window)
    column = joint.column(cause, first, window.days - 1)
    normal = multivariate_normal(np.zeros(len(values)), effect @ covariance @ effect.T)
    left = values - effect @ mean
    one_sided = kinds[cause] == "l"

    def weight(b: float, power: int = 0) -> float:
        prior = norm(0, 3).pdf(b) * (2 if one_sided else 1)
        return float(b**power * prior * math.exp(normal.logpdf(left - b * column) - normal.logpdf(left)))

    low = 0.0 if one_sided else -20.0
    whole, once, twice = (quad(weight, low, 20, args=(power,), limit=200)[0] for power in (0, 1, 2))
    seen = joint.until_today(cause)[0]
    assert seen.log_bayes[first] == pytest.approx(math.log(whole), abs=1e-6)
    assert seen.mean[first] == pytest.approx(once / whole, abs=1e-6)
    assert seen.sd[first] == pytest.approx(math.sqrt(twice / whole - (once / whole) ** 2), abs=1e-5)


def test_a_lie_taken_for_granted_is_the_same_as_one_weighed_in() -> None:
    """ln B = log density with the lie's variance added - log density without; causes move as the wider distribution
    says.
    """
    window = days_of(5)
    alone, lie = Joint(window), MeterLie(2, 1, 3, 3.0)
    seen, wider = alone.until_today(2)[0], Joint(window, [lie])
    assert seen.log_bayes[1] == pytest.approx(wider.log_density - alone.log_density)
    assert alone.mean + seen.moves[:, 1] * seen.mean[1] == pytest.approx(wider.mean, abs=1e-8)
    moved = np.outer(seen.moves[:, 1], seen.moves[:, 1]) * seen.sd[1] ** 2
    assert alone.covariance + moved == pytest.approx(wider.covariance, abs=1e-8)
    spans, logs = alone.ended(2)
    place = int(np.flatnonzero((spans == (0, 1)).all(axis=1))[0])
    ended = Joint(window, [MeterLie(2, 0, 1, 3.0)])
    assert logs[0][place] == pytest.approx(ended.log_density - alone.log_density)


def test_explanations_are_weighed_by_their_priors() -> None:
    """Two days that say nothing (no effect on any opening): what is told is what was believed before, cause by cause
    and day by day.
    """
    day = openings([0.0], [[1e-9, 1e-9]], [1.0, 1.0])
    answers = explained(window_of([day, day]))
    shares = answers.blamed()
    assert shares[0] == pytest.approx(PRIOR, rel=0.01) == pytest.approx(shares[1], rel=0.01)
    assert shares[-1] == pytest.approx(1 - 2 * PRIOR, rel=0.01)
    first = float(answers.probability[answers.blames(0) & (answers.first == 0)].sum())
    assert first == pytest.approx(FROM_FIRST * PRIOR, rel=0.01)
    assert (PRIOR, FROM_FIRST, ENDED_PRIOR) == (
        0.02,
        0.5,
        0.002,
    )  # set on drawn works, see tests/benchmarks/yield_lies.py
    assert (told_by.ACCUSED, told_by.LISTED) == (0.5, 0.1)


def test_sizes_and_days_share_the_prior_of_a_lie() -> None:
    """Five days that say nothing, a lie of any of three sizes: the three together have its prior, half of it since
    before the first day.
    """
    day = openings([0.0], [[1e-9, 1e-9]], [1.0, 1.0])
    day = replace(day, causes=tuple(replace(cause, sizes=(1.0, 3.0, 9.0)) for cause in day.causes))
    answers = explained(window_of([day] * 5))
    assert answers.blamed()[0] == pytest.approx(PRIOR, rel=0.01)
    shares = [float(answers.probability[answers.blames(0) & (answers.first == n)].sum()) for n in range(5)]
    assert shares == pytest.approx([PRIOR / 2, *[PRIOR / 8] * 4], rel=0.02)


def test_a_loss_below_nothing_explains_nothing() -> None:
    """An opening of -4 sd: a loss cannot have made it, a meter can; of +4 both can."""
    low, high = (window_of([openings([value], [[1.0, 1.0]], [0.3, 0.3], kinds="-l")]) for value in (-4.0, 6.0))
    down, up = explained(low).blamed(), explained(high).blamed()
    assert down.get(1, 0.0) < PRIOR < 0.9 < down[0] and up[1] > up[0] > 0.01


def test_a_lie_that_ended_does_not_move_today() -> None:
    """One meter off by 9 on days 3 to 6 of 12, honest today: nobody is blamed today."""
    rng = np.random.default_rng(3)
    days = [
        openings([float(rng.normal(0, 0.3)) + (9.0 if 2 <= n <= 5 else 0.0)], [[1.0, 1.0]], [0.05, 0.05], size=9.0)
        for n in range(12)
    ]
    answers = explained(window_of(days))
    assert answers.blamed()[-1] > 0.9 and abs(float(answers.mean.sum())) < 1.0


def test_two_lies_at_once_are_found() -> None:
    rng = np.random.default_rng(4)
    effect = [[1.0, 0, 0, 0], [0, 1.0, 0, 0], [0, 0, 1.0, 1.0]]
    days = [
        openings(list(rng.normal(0, 0.2, 3) + ([3, -3, 0] if n > 5 else [0, 0, 0])), effect, [0.04] * 4)
        for n in range(10)
    ]
    shares = explained(window_of(days)).blamed()
    assert shares[0] > 0.9 and shares[1] > 0.9 and shares.get(2, 0.0) < 0.2


def _one_day(y: np.ndarray, sd: np.ndarray, a: np.ndarray) -> Window:
    causes = tuple(OpeningCause(f"stream {n + 1}", "cut", 0.0, 0.0, (3.0 * sd[n], 10.0 * sd[n])) for n in range(len(y)))
    size = len(y)
    return window_of(
        [Openings(causes, a @ y, a, sd**2, np.eye(size), np.zeros(size), np.ones(size, bool), np.ones(size))]
    )


def test_the_stream_with_a_gross_error_is_blamed_first() -> None:
    """Narasimhan and Jordache (2000), heat exchanger with bypass: the gross error lies in stream 2, which shares its
    balances with stream 4.
    Read where it lies beside the project; without it, an invented network of the same structure."""
    path = beside("3.03_nj_bypass.json")
    y, sd = INVENTED.copy(), np.array([2.0, 1.5, 1.0, 1.5, 1.0, 2.0])
    y[1] += 12.0
    if path is not None:
        y, sd = np.array(json.loads(path.read_text())["data"]["biased_measured"], float), np.ones(6)
    shares = explained(_one_day(y, sd, BYPASS)).blamed()
    assert max((share for share in shares if share >= 0), key=lambda answer: shares[answer]) == 1


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000), st.floats(-6, 6))
def test_what_is_told_is_a_distribution(seed: int, off: float) -> None:
    """Probabilities add up to one, the mean lies inside the 95 % interval, which lies inside the 99 % one, and a wider
    gradient widens it.
    """
    rng = np.random.default_rng(seed)
    effect = [[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]]
    days = [
        openings(list(rng.normal(0, 1, 2) + (off if n > 2 else 0)), effect, [1.0, 0.5, 0.8], 0.2, "--l")
        for n in range(5)
    ]
    answers = explained(window_of(days))
    assert answers.probability.sum() == pytest.approx(1.0) and (answers.probability > 0).all()
    gradient = np.array([1.0, 0.5, -0.5])
    mean, sd = answers.along(gradient)
    low, lower, higher, high = quantiles(answers.probability, mean, sd, (0.005, 0.025, 0.975, 0.995))
    assert low < lower < float(answers.probability @ mean) < higher < high
    assert float(answers.probability @ mean) == pytest.approx(float(gradient @ answers.mean))
    spread = float(gradient @ answers.covariance @ gradient)
    second = answers.probability @ (sd**2 + mean**2) - float(answers.probability @ mean) ** 2
    assert spread == pytest.approx(float(second), rel=1e-6)


def test_quantiles_of_one_normal_distribution_are_scipys() -> None:
    found = quantiles(np.array([1.0]), np.array([2.0]), np.array([3.0]), (0.025, 0.5, 0.975))
    assert found == pytest.approx(list(norm(2, 3).ppf([0.025, 0.5, 0.975])), abs=1e-9)


def test_older_days_stand_as_one_with_the_medians_variance() -> None:
    """The median of n normal values has pi / 2 / n of their variance (Kenney and Keeping 1962, 13.13, from memory); a
    loss keeps its own.
    """
    days = [openings([float(n)], [[1.0, 1.0]], [1.0, 0.5], kinds="-l") for n in range(9)]
    (these_openings,) = together(days)
    assert these_openings.values[0] == 4.0 and these_openings.daily == pytest.approx([math.pi / 2 / 9, 0.5])
    assert together(days[:3]) == []


def test_answers_of_some_explanations_are_whole() -> None:
    answers: Answers = explained(days_of(2))
    some = answers.of(answers.blames(0))
    assert some.probability.sum() == pytest.approx(1.0) and len(some.causes) == len(some.lie)
