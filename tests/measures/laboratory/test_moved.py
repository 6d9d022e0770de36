"""Which readings of a process moved: few of steady ones, each real step soon; nothing of too few."""

from __future__ import annotations

import numpy as np
from scipy import stats

from pipelines.measures.laboratory.moved import ENOUGH, moved


def test_steady_readings_move_as_seldom_as_three_standard_deviations_say() -> None:
    """Against scipy.stats.norm: 2.7 of 1000 plain normal readings lie beyond three standard deviations; a
    run of false ones counts once, and noise by few readings is not known well.
    """
    draws = np.random.default_rng(52_101)
    found = sum(len(moved(draws.normal(1180.0, 2.0, 60))) for _ in range(400))
    expected = 400 * (60 - ENOUGH) * 2 * stats.norm.sf(3)
    assert expected * 0.5 < found < expected * 3


def test_a_step_is_told_once_and_becomes_what_is_usual() -> None:
    draws = np.random.default_rng(52_102)
    right = 0
    for _ in range(100):
        values = [*draws.normal(1180.0, 2.0, 20), *draws.normal(1194.0, 2.0, 25)]
        found = moved(values)
        near = [off for number, off in found if 20 <= number <= 22]
        right += bool(near) and abs(near[0] - 14.0) < 7.0 and len([n for n, _ in found if n > 31]) <= 1
    assert right >= 95


def test_too_few_readings_tell_nothing_and_equal_ones_tell_any_change() -> None:
    assert moved([1.0, 2.0, 50.0]) == [] and moved([]) == []
    assert moved([4.0] * 10) == []
    assert [number for number, _ in moved([*[4.0] * 10, 4.5, 4.5])] == [10]
