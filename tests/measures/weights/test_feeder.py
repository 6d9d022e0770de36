"""One correction a gob position from several weighings of it: against Bayes' theorem and simulated truth."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.measures.weights.drift import STEP_SHARE
from pipelines.measures.weights.feeder import Weighed, together


def posterior(seen: float, sd: float, point: str = "cold") -> Weighed:
    """Bayes' theorem for a normal drift about nothing (STEP_SHARE) seen once with a normal error."""
    precision = sd**-2 + STEP_SHARE**-2
    return Weighed("B", point, seen * sd**-2 / precision, precision**-0.5, True)


def test_two_weighings_tell_what_one_of_both_together_would() -> None:
    """Worked by Bayes' theorem on both at once: what is thought beforehand counts once, not twice."""
    precision = 0.002**-2 + 0.004**-2 + STEP_SHARE**-2
    mean = (0.006 * 0.002**-2 + 0.005 * 0.004**-2) / precision
    corrected_together = together([posterior(0.006, 0.002), posterior(0.005, 0.004, "hot")])
    assert corrected_together.share == pytest.approx(mean) and corrected_together.agree
    assert (corrected_together.low, corrected_together.high) == (
        pytest.approx(mean - 1.96 * precision**-0.5),
        pytest.approx(mean + 1.96 * precision**-0.5),
    )


def test_one_weighing_stands_as_it_is() -> None:
    alone = posterior(0.006, 0.002)
    corrected_together = together([alone])
    assert (
        corrected_together.share == pytest.approx(alone.share)
        and corrected_together.chance == 1
        and corrected_together.agree
    )
    assert corrected_together.high - corrected_together.low == pytest.approx(2 * 1.96 * alone.sd)


def test_what_tells_nothing_changes_nothing() -> None:
    alone, nothing = posterior(0.006, 0.002), Weighed("B", "hot", 0.0, STEP_SHARE, False)
    corrected_together = together([alone, nothing])
    assert corrected_together.agree and corrected_together.share == pytest.approx(alone.share, rel=1e-6)


def test_the_interval_holds_the_drift_and_disagreement_is_rare() -> None:
    """Simulated: drifts of 0.8 % (standard deviation), seen hot and cold with errors of 0.2 and 0.3 % of the
    weight."""
    rng = np.random.default_rng(61)
    held = disagree = 0
    for _ in range(1000):
        true = rng.normal(0, STEP_SHARE)
        corrected_together = together(
            [posterior(true + rng.normal(0, sd), sd, point) for sd, point in ((0.002, "cold"), (0.003, "hot"))]
        )
        held += corrected_together.low <= true <= corrected_together.high
        disagree += not corrected_together.agree
    assert 930 <= held <= 970 and disagree <= 22, "one in a hundred, by its own level"


def test_a_scale_that_moves_alone_is_a_disagreement() -> None:
    """5 standard deviations of the difference apart: no correction may be told."""
    corrected_together = together([posterior(0.010, 0.0015), posterior(-0.002, 0.0015, "hot")])
    assert not corrected_together.agree and corrected_together.chance < 1e-6
    with pytest.raises(ValueError, match="nothing was weighed"):
        together([])


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-0.02, 0.02), st.floats(0.0005, 0.006)), min_size=1, max_size=5), st.randoms())
def test_the_order_of_weighings_does_not_matter_and_signs_do(seen: list[tuple[float, float]], order: Random) -> None:
    many = [posterior(*pair) for pair in seen]
    shuffled = list(many)
    order.shuffle(shuffled)
    corrected_together, other = together(many), together(shuffled)
    turned = together([posterior(-value, sd) for value, sd in seen])
    assert other.share == pytest.approx(corrected_together.share) and other.chance == pytest.approx(
        corrected_together.chance
    )
    assert turned.share == pytest.approx(-corrected_together.share) and turned.low == pytest.approx(
        -corrected_together.high
    )
