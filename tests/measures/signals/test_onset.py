"""Onset and end of a signal where counts scatter and the rate before is in doubt: against integrals, and against drawn
truth.
"""

from __future__ import annotations

from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats

from pipelines.measures.signals.onset import Lumps, Noise, ended, minutes_to_close, rise, split_logs


def test_a_doubtful_level_is_a_gamma_in_equal_parts() -> None:
    """By SciPy: the middle quantiles of five equal parts of a gamma of mean 1 and variance 0.2, their mean made 1."""
    parts = stats.gamma.ppf([0.1, 0.3, 0.5, 0.7, 0.9], 5, scale=0.2)
    assert Noise(doubt=0.2).levels() == pytest.approx(parts / parts.mean())


def hours(rng: np.random.Generator, mean: np.ndarray, noise: Noise) -> np.ndarray:
    """Calls by the minute: each hour good or bad with the noise's variance, the whole level off by its doubt."""
    number = (np.arange(len(mean)) + noise.phase) // noise.block
    mood = rng.gamma(1 / noise.variance, noise.variance, number[-1] + 1) if noise.variance else np.ones(number[-1] + 1)
    level = rng.gamma(1 / noise.doubt, noise.doubt) if noise.doubt else 1.0
    return rng.poisson(mean * level * mood[number]).astype(float)


def _chance(calls: np.ndarray, mean: np.ndarray, mood: float) -> float:
    """Of these calls in a block of this mood, and of the mood: a gamma of mean 1 and variance 0.4."""
    return float(stats.gamma.pdf(mood, 2.5, scale=0.4) * np.prod(stats.poisson.pmf(calls, mood * mean)))


def test_splits_are_the_integral_over_each_hours_mood() -> None:
    """Reference: the product of scipy.stats.poisson over the bins, integrated numerically over a gamma mood a block."""
    calls = np.array([0, 1, 0, 2, 1, 3, 0, 4.0])
    expected = np.array([0.4, 0.3, 0.5, 0.4, 0.2, 0.6, 0.3, 0.5])
    noise = Noise(variance=0.4, block=4, phase=1)
    answer = split_logs(calls, expected, np.array([1.0]), np.array([3.0]), noise)[0]

    def whole(split: int) -> float:
        mean = np.where(np.arange(8) >= split, 3.0, 1.0) * expected
        logs = 0.0
        for lo, hi in pairwise((0, 3, 7, 8)):
            chance = partial(_chance, calls[lo:hi], mean[lo:hi])
            logs += np.log(integrate.quad(chance, 0, 40, limit=200)[0])
        return logs

    reference = np.array([whole(split) for split in range(9)])
    assert answer - answer[-1] == pytest.approx(reference - reference[-1], abs=1e-5)


@pytest.mark.parametrize("variance", [0.0, 0.15, 0.5])
@pytest.mark.parametrize("doubt", [0.0, 0.05])
def test_the_interval_of_an_onset_holds_the_truth(variance: float, doubt: float) -> None:
    """95 % intervals of 160 drawn faults hold the moment in 92 % and more; without the scatter it was 61 % at
    dispersion 0.5.
    """
    rng = np.random.default_rng(int(100 * variance + 1000 * doubt) + 7)
    held = 0
    for number in range(160):
        rate, factor = ((0.5, 12.0), (2.0, 5.0), (10.0, 3.0))[number % 3]
        noise = Noise(variance, doubt, 60, int(rng.integers(60)))
        at = rng.uniform(200, 400)
        mean = np.full(480, rate / 60)
        onset = rise(hours(rng, np.where(np.arange(480) >= at, factor, 1.0) * mean, noise), mean, noise=noise)
        held += onset.low - 0.5 <= at <= onset.high + 0.5
    assert held / 160 >= 0.92


def test_scatter_widens_the_interval_and_leaves_a_sharp_step_sharp() -> None:
    calls = np.zeros(240)
    calls[150::2] = 1.0
    plain, wide = (rise(calls, np.full(240, 0.02), noise=noise) for noise in (Noise(), Noise(0.5, 0.05)))
    assert abs(plain.at - 150) < 3 and abs(wide.at - 150) < 4
    assert wide.high - wide.low >= plain.high - plain.low


@pytest.mark.parametrize("variance", [0.0, 0.15, 0.5])
def test_a_signal_that_goes_on_is_not_called_over_and_one_that_is_back_is(variance: float) -> None:
    """Twelve hours of a fault that goes on, looked at each hour: under 10 % closed (Poisson closed 86 to 98 %); back:
    closed.
    """
    rng = np.random.default_rng(int(100 * variance) + 3)
    wrong = right = 0
    noise = Noise(variance, 0.02)
    mean = np.full(720, 2.0 / 60)
    for _ in range(60):
        on = hours(rng, 6.0 * mean, noise)
        wrong += any(ended(on[:stop], mean[:stop], 6.0, noise=noise) is not None for stop in range(60, 721, 60))
        back = np.concatenate([on[:240], hours(rng, mean, noise)[:480]])
        at = ended(back, mean, 6.0, noise=noise)
        right += at is not None and abs(at - 240) <= 90
    assert wrong <= 6
    assert right >= (54 if variance < 0.5 else 40)


def test_what_was_called_over_too_soon_needs_more_the_next_time() -> None:
    calls, mean = np.zeros(150), np.full(150, 2.0 / 60)
    assert ended(calls, mean, 6.0) is not None
    needed = next(n for n in range(10, 400) if ended(np.zeros(n), np.full(n, 2.0 / 60), 6.0) is not None)
    slower = next(n for n in range(10, 400) if ended(np.zeros(n), np.full(n, 2.0 / 60), 6.0, slow=2.0) is not None)
    assert needed < slower
    assert ended(np.zeros(0), np.zeros(0), 6.0) is None


def test_the_time_to_close_is_about_what_it_takes() -> None:
    """By simulation: the median time that `ended` needs, against what is told beforehand; scatter makes it longer."""
    rng = np.random.default_rng(4)
    mean = np.full(900, 4.0 / 60)
    for noise in (Noise(), Noise(0.15)):
        took = []
        for _ in range(40):
            calls = hours(rng, mean, noise)
            took.append(
                next((n for n in range(10, 900, 10) if ended(calls[:n], mean[:n], 5.0, noise=noise) is not None), 900)
            )
        assert 0.4 < minutes_to_close(4.0 / 60, 5.0, noise.variance) / float(np.median(took)) < 2.0
    assert minutes_to_close(4.0 / 60, 5.0, 0.3) > minutes_to_close(4.0 / 60, 5.0)
    assert minutes_to_close(0.0, 5.0) == float("inf")


def test_a_split_inside_a_long_window_mixes_its_mean() -> None:
    """By hand: 6 calls in a window of 4 bins, split before its third: a mean of (2 x 1 + 2 x 3) / 4 = 2 times, not the
    root of 3.
    """
    lumps = Lumps(np.array([1]), np.array([4]), np.array([6.0]))
    answer = lumps.gain(np.array([1.0]), np.array([3.0]), 8)[0]
    assert answer[3] == pytest.approx(6 * (np.log(2.0) - 0.5 * np.log(3.0)))
    assert answer[2] == pytest.approx(6 * (np.log(2.5) - 0.75 * np.log(3.0)))
    assert (answer[[0, 1, 5, 6, 7, 8]] == 0).all()


@pytest.mark.parametrize("window", [5, 15, 60])
def test_the_interval_holds_an_onset_in_the_middle_of_a_long_window(window: int) -> None:
    """Counts of 5, 15 and 60 minutes laid over their minutes: 95 % intervals of 150 drawn faults hold the truth in 91 %
    and more.
    """
    rng = np.random.default_rng(window)
    held, wide = 0, []
    for _ in range(150):
        at, mean = rng.uniform(200, 400), np.full(480, 8.0 / 60)
        calls = hours(rng, np.where(np.arange(480) >= at, 8.0, 1.0) * mean, Noise(0.05)).reshape(-1, window).sum(axis=1)
        first = np.arange(0, 480, window)
        lumps = Lumps(first[calls > 0], first[calls > 0] + window - 1, calls[calls > 0])
        onset = rise(np.repeat(calls / window, window), mean, noise=Noise(0.05), lumps=lumps)
        held += onset.low - 0.5 <= at <= onset.high + 0.5
        wide.append(onset.high - onset.low)
    assert held / 150 >= 0.91
    assert np.median(wide) < 2 * window + 60
