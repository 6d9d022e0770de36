"""When a rate changed: the posterior over the change's moment, and whether the change is over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FACTORS = np.geomspace(1.3, 2000.0, 56)  # by how much the rate may have grown; each as likely on a log scale
RAMP_SHARE = 0.15  # prior probability that the rate grows steadily instead of at once
SLOPES = np.geomspace(0.002, 0.2, 12)  # growth a minute, in multiples of the rate before
ENDED_LOG_ODDS = 4.0  # log likelihood ratio for "back at the old rate" that counts as over: about 50 to 1


@dataclass(frozen=True)
class Onset:
    """A moment with its 95 % interval, in bins (parts of bins allowed), counted as the series is."""

    at: float
    low: float
    high: float


def _interval(weights: np.ndarray, level: float = 0.95) -> Onset:
    """Median and central interval of the posterior over the bin in which the change stands at its start."""
    total = np.cumsum(weights / weights.sum())
    tail = (1 - level) / 2
    edges = np.arange(len(weights) + 1) - 0.5
    ends = np.concatenate([[0.0], total])
    low, middle, high = (float(np.interp(q, ends, edges)) for q in (tail, 0.5, 1 - tail))
    return Onset(middle, low, high)


def rise(
    calls: np.ndarray, expected: np.ndarray, step_min: float = 1.0, dispersion: float = 1.0, latest: int | None = None
) -> Onset:
    """Since when `calls` [bins] exceed a known expectation [bins] that held before; Poisson with unit-free factor.

    The calls before bin k have mean `expected`, from k on factor x expected (a step), or (1 + slope x time since k) x expected
    (a slow drift). Factor and slope are summed out under flat log priors, the moment has a flat prior over the bins.
    `dispersion`: variance over mean; the log likelihood is divided by it. `latest`: the last bin that can be the first.
    References: [1] Raftery and Akman, Biometrika 73 (1986) 85: Bayesian analysis of a Poisson process with a change-point.
    """
    after_calls = np.cumsum(calls[::-1])[::-1]
    after_expected = np.cumsum(expected[::-1])[::-1]
    step = (np.log(FACTORS)[:, None] * after_calls - (FACTORS[:, None] - 1) * after_expected) / dispersion
    step_log = _mean_exp(step)
    ramp_log = _mean_exp(_ramp(calls, expected, step_min) / dispersion)
    both = np.logaddexp(np.log(1 - RAMP_SHARE) + step_log, np.log(RAMP_SHARE) + ramp_log)
    if latest is not None:
        both[latest + 1 :] = -np.inf
    return _interval(np.exp(both - both.max()))


def _mean_exp(logs: np.ndarray) -> np.ndarray:
    """log of the mean over the first axis of exp(logs)."""
    top = logs.max(axis=0)
    told: np.ndarray = top + np.log(np.exp(logs - top).mean(axis=0))
    return told


def _ramp(calls: np.ndarray, expected: np.ndarray, step_min: float) -> np.ndarray:
    """Log likelihood [slopes, bins] of steady growth that begins at each bin."""
    bins = np.arange(len(calls))
    when = np.flatnonzero(calls)
    since = np.maximum(when[None, :] - bins[:, None] + 0.5, 0.0) * step_min * (when[None, :] >= bins[:, None])
    gain = np.stack([np.log1p(slope * since) @ calls[when] for slope in SLOPES])
    first = np.cumsum(expected[::-1])[::-1]
    moment = np.cumsum((expected * (bins + 0.5))[::-1])[::-1]
    grown = (moment - bins * first) * step_min
    told: np.ndarray = gain - SLOPES[:, None] * grown[None, :]
    return told


def change(counts: np.ndarray, exposure: np.ndarray | None = None, dispersion: float | None = None) -> Onset:
    """The one change in the rate of a series whose rates before and after are both unknown; bins are the series' own.

    Poisson profile likelihood of a split before bin k (at least one bin on either side), divided by the dispersion, which is
    Pearson's statistic over its degrees of freedom at the best split when not given. Flat prior over the bins.
    `at` is the first bin of the second part.
    References: [1] Raftery and Akman, Biometrika 73 (1986) 85. [2] McCullagh and Nelder, Generalized Linear Models, 9.2
    (quasi-likelihood).
    """
    counts = np.asarray(counts, float)
    exposure = np.ones_like(counts) if exposure is None else np.asarray(exposure, float)
    gain = _split_gain(counts, exposure)
    best = int(np.argmax(gain)) + 1
    spread = _pearson(counts, exposure, best) if dispersion is None else dispersion
    logs = np.concatenate([[-np.inf], gain / max(spread, 1e-9)])
    return _interval(np.exp(logs - logs.max()))


def _split_gain(counts: np.ndarray, exposure: np.ndarray) -> np.ndarray:
    """Log likelihood of a split before each bin from the second on, with both rates at their best."""
    from scipy.special import xlogy

    before_y, before_n = np.cumsum(counts)[:-1], np.cumsum(exposure)[:-1]
    after_y, after_n = counts.sum() - before_y, exposure.sum() - before_n
    told: np.ndarray = xlogy(before_y, before_y / before_n) + xlogy(after_y, after_y / after_n)
    return told


def _pearson(counts: np.ndarray, exposure: np.ndarray, split: int) -> float:
    total = 0.0
    for part in (slice(None, split), slice(split, None)):
        mean = exposure[part] * counts[part].sum() / exposure[part].sum()
        total += float((((counts[part] - mean) ** 2) / np.maximum(mean, 1e-12)).sum())
    return total / max(1, len(counts) - 2)


def ended(calls: np.ndarray, expected: np.ndarray, factor: float) -> int | None:
    """The bin from which a raised rate (factor x expected) is back at `expected`; None while it goes on.

    The likelihood ratio of "back" against "goes on" over the bins since then must exceed ENDED_LOG_ODDS: the repeated
    sequential probability ratio test in the direction of the end.
    References: [1] Page, Biometrika 41 (1954) 100. [2] Wald, Sequential Analysis (1947).
    """
    back = (factor - 1) * expected - np.log(factor) * calls
    gains = np.cumsum(back[::-1])[::-1]
    if not len(gains):
        return None
    at = int(np.argmax(gains))
    return at if gains[at] > ENDED_LOG_ODDS else None


def minutes_to_close(expected_per_minute: float, factor: float) -> float:
    """Minutes of ware at the old rate after which `ended` would on average say so."""
    gain = expected_per_minute * (factor - 1 - np.log(factor))
    return float(ENDED_LOG_ODDS / gain) if gain > 0 else float("inf")
