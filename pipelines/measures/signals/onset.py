"""When a rate changed: the posterior over the change's moment, and whether the change is over.

Counts scatter beyond Poisson (an hour is good or bad for a mould as a whole) and the rate before is known from a past
only. Both
belong into the likelihood: without them intervals hold the truth in half of the cases and signals are closed by a quiet
hour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FACTORS = np.geomspace(1.3, 2000.0, 36)  # by how much the rate may have grown; each as likely on a log scale
RAMP_SHARE = 0.15  # prior probability that the rate grows steadily instead of at once
SLOPES = np.geomspace(0.002, 0.2, 8)  # growth a minute, in multiples of the rate before
RAMP_EVERY_MIN = 5.0  # ramps are tried to begin this far apart
ENDED_LOG_ODDS = 4.0  # log posterior odds for "back at the old rate" that count as over: about 50 to 1
LASTS_MIN = 480.0  # how long signals last on the whole: the prior chance of an end a minute is one over this
FADES = (0.5, 0.7, 1.0, 1.4, 2.0)  # a signal's factor as it may have become, in parts of the one it was raised with
LEAST_FACTOR = 1.5
LEVELS = 5  # points over which a doubtful level is summed


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


@dataclass(frozen=True)
class Noise:
    """How counts scatter about what is expected of them, beyond Poisson.

    variance: relative excess variance of the sum of a block of `block` bins, drawn anew each block; doubt: relative
    variance of the expectation as a whole; phase: bins of the first block that lie before the series.
    """

    variance: float = 0.0
    doubt: float = 0.0
    block: int = 60
    phase: int = 0

    @property
    def size(self) -> float:
        return 1 / max(self.variance, 1e-7)

    def levels(self) -> np.ndarray:
        """Equally likely values of the level that the expectation is to be multiplied with: a gamma of mean 1."""
        from scipy.special import gammaincinv

        if self.doubt < 1e-4:
            return np.ones(1)
        values: np.ndarray = gammaincinv(1 / self.doubt, (np.arange(LEVELS) + 0.5) / LEVELS) * self.doubt
        return np.maximum(values / values.mean(), 1e-3)


POISSON = Noise()


@dataclass(frozen=True)
class Lumps:
    """Counts of windows longer than a bin, laid evenly over bins `first` to `last` of a series: when in them calls came
    is not known.
    """

    first: np.ndarray
    last: np.ndarray
    calls: np.ndarray

    def gain(self, before: np.ndarray, after: np.ndarray, bins: int) -> np.ndarray:
        """What a split inside a window is more likely than the even spread says [factors, bins + 1].

        A count n of a window of which the share a lies after the split has a mean in proportion to (1 - a) before + a
        after; laid evenly its terms are n ((1 - a) log before + a log after).
        """
        values = np.zeros((bins + 1, len(before)))
        length = self.last - self.first
        number = np.repeat(np.arange(len(length)), length)
        split = np.concatenate(
            [np.arange(f + 1, g + 1) for f, g in zip(self.first, self.last, strict=True)] or [np.zeros(0, int)]
        )
        share = ((self.last[number] + 1 - split) / (length[number] + 1))[:, None]
        mean = np.log((1 - share) * before + share * after)
        even = (1 - share) * np.log(before) + share * np.log(after)
        np.add.at(values, split.astype(int), self.calls[number][:, None] * (mean - even))
        return values.T


NO_LUMPS = Lumps(np.zeros(0, int), np.zeros(0, int), np.zeros(0))


class _Blocks:
    """A series in blocks. inside_*: sums of each bin's block from the bin on, [bins + 1]; of: the block of each
    split.
    """

    def __init__(self, calls: np.ndarray, expected: np.ndarray, noise: Noise):
        bins = np.arange(len(calls)) + noise.phase
        self.number = bins // noise.block
        self.number = self.number - self.number[0]
        self.count = int(self.number[-1]) + 1
        self.calls, self.expected = (np.bincount(self.number, x, self.count) for x in (calls, expected))
        self.of = np.append(self.number, self.count)
        self.calls_from, self.expected_from = (self._from(x) for x in (calls, expected))

    def _from(self, values: np.ndarray) -> np.ndarray:
        """[bins + 1] sum of the values of a bin's block from the bin on; 0 behind the last."""
        total = np.append(np.cumsum(values[::-1])[::-1], 0.0)
        after = np.append(np.cumsum(np.bincount(self.number, values, self.count)[::-1])[::-1], 0.0)
        answer: np.ndarray = total - np.append(after[1:], 0.0)[self.of]
        return answer


def split_logs(
    calls: np.ndarray, expected: np.ndarray, before: np.ndarray, after: np.ndarray, noise: Noise
) -> np.ndarray:
    """Log likelihood [factors, bins + 1] of a split before each bin: `before` x expected until it, `after` x expected
    from it on.

    before, after: [factors]; the last split lies behind the series. In a block with calls n_j of means m_j that share
    one gamma factor of mean 1 and variance 1/r the likelihood is prod m_j^n_j Gamma(n + r) r^r / (r + m)^(n + r), n and
    m the sums; terms that are the same for all are left out. A doubtful level is summed out.
    References: [1] Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed., 5.3 (gamma mixtures of Poisson
    counts).
    """
    answer = _Blocks(np.asarray(calls, float), np.asarray(expected, float), noise)
    levels = noise.levels()
    size, low, high = noise.size, before[:, None, None], after[:, None, None]
    n, m = answer.calls[None, None], answer.expected[None, None] * levels[None, :, None]

    def whole(factor: np.ndarray) -> np.ndarray:
        gain: np.ndarray = n * np.log(factor) - (n + size) * np.log1p(factor * m / size)
        return np.cumsum(np.concatenate([np.zeros((*gain.shape[:2], 1)), gain], axis=2), axis=2)

    first, second = whole(low), whole(high)
    of, padded = answer.of, np.append(answer.calls, 0.0)[answer.of]
    n2, m2 = answer.calls_from, answer.expected_from * levels[:, None]
    m1 = np.append(answer.expected, 0.0)[of] * levels[:, None] - m2
    mixed = (padded - n2) * np.log(low) + n2 * np.log(high)
    mixed = mixed - (padded + size) * np.log1p((low * m1[None] + high * m2[None]) / size)
    behind = np.minimum(of + 1, answer.count)
    logs = first[:, :, of] + mixed + second[:, :, -1:] - second[:, :, behind]
    logs[:, :, -1] = first[:, :, -1]
    return _mean_exp((logs + answer.calls.sum() * np.log(levels)[None, :, None]).swapaxes(0, 1))


def rise(
    calls: np.ndarray,
    expected: np.ndarray,
    step_min: float = 1.0,
    noise: Noise = POISSON,
    latest: int | None = None,
    lumps: Lumps = NO_LUMPS,
) -> Onset:
    """Since when `calls` [bins] exceed an expectation [bins] that held before.

    The calls before bin k have mean `expected`, from k on factor x expected (a step), or (1 + slope x time since k) x
    expected (a slow drift), and scatter as `noise` says. Factor and slope are summed out under flat log priors, the
    moment has a flat prior over the bins. `latest`: the last bin that can be the first. lumps: counts of long windows
    among `calls`, laid over their bins.
    References: [1] Raftery and Akman, Biometrika 73 (1986) 85: Bayesian analysis of a Poisson process with a
    change-point.
    """
    return onset_of(rise_logs(calls, expected, step_min, noise, lumps), latest)


def rise_logs(
    calls: np.ndarray, expected: np.ndarray, step_min: float = 1.0, noise: Noise = POISSON, lumps: Lumps = NO_LUMPS
) -> np.ndarray:
    """Log likelihood [bins] of a rise that begins at each bin, as `rise` has it."""
    same = np.ones(len(FACTORS))
    steps = split_logs(calls, expected, same, FACTORS, noise) + lumps.gain(same, FACTORS, len(calls))
    step_log = _mean_exp(steps[:, :-1])
    ramp_log = _ramp(np.asarray(calls, float), np.asarray(expected, float), step_min, noise)
    both: np.ndarray = np.logaddexp(np.log(1 - RAMP_SHARE) + step_log, np.log(RAMP_SHARE) + ramp_log)
    return both


def onset_of(logs: np.ndarray, latest: int | None = None, clumps: float = 1.0) -> Onset:
    """The moment by its log likelihood [bins] under a flat prior. latest: the last bin that can be the first. clumps:
    dispersion inside the blocks (see `dating.clumped`), by which the log likelihood is divided.
    """
    values = logs / max(clumps, 1.0)
    if latest is not None:
        values[latest + 1 :] = -np.inf
    return _interval(np.exp(values - values.max()))


def _ramp(calls: np.ndarray, expected: np.ndarray, step_min: float, noise: Noise) -> np.ndarray:
    """Log likelihood [bins] of steady growth that begins at each bin, slopes and level summed out; between those tried
    by line.
    """
    bins, when = np.arange(len(calls)), np.flatnonzero(calls)
    tried = np.unique(np.append(np.arange(0, len(calls), max(1, round(RAMP_EVERY_MIN / step_min))), len(calls) - 1))
    grown = np.maximum(bins[None, :] - tried[:, None] + 0.5, 0.0) * step_min
    number = (bins + noise.phase) // noise.block
    edges = np.flatnonzero(np.diff(number, prepend=-1))
    n, base = np.add.reduceat(calls, edges), np.add.reduceat(expected, edges)
    moment = np.add.reduceat(expected * grown, edges, axis=1)
    gain = np.stack([np.log1p(slope * grown[:, when]) @ calls[when] for slope in SLOPES])
    levels, size = noise.levels(), noise.size
    mean = (base + SLOPES[:, None, None] * moment[None])[None] * levels[:, None, None, None]
    logs = gain[None] - ((n + size) * np.log1p(mean / size)).sum(axis=3)
    logs = logs + calls.sum() * np.log(levels)[:, None, None]
    values: np.ndarray = np.interp(bins, tried, _mean_exp(_mean_exp(logs)))
    return values


def _mean_exp(logs: np.ndarray) -> np.ndarray:
    """log of the mean over the first axis of exp(logs)."""
    top = logs.max(axis=0)
    values: np.ndarray = top + np.log(np.exp(logs - top).mean(axis=0))
    return values


def change(counts: np.ndarray, exposure: np.ndarray | None = None, dispersion: float | None = None) -> Onset:
    """The one change in the rate of a series whose rates before and after are both unknown; bins are the series' own.

    Poisson profile likelihood of a split before bin k (at least one bin on either side), divided by the dispersion,
    which is Pearson's statistic over its degrees of freedom at the best split when not given. Flat prior over the bins.
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
    values: np.ndarray = xlogy(before_y, before_y / before_n) + xlogy(after_y, after_y / after_n)
    return values


def _pearson(counts: np.ndarray, exposure: np.ndarray, split: int) -> float:
    total = 0.0
    for part in (slice(None, split), slice(split, None)):
        mean = exposure[part] * counts[part].sum() / exposure[part].sum()
        total += float((((counts[part] - mean) ** 2) / np.maximum(mean, 1e-12)).sum())
    return total / max(1, len(counts) - 2)


def ended(
    calls: np.ndarray,
    expected: np.ndarray,
    factor: float,
    step_min: float = 1.0,
    noise: Noise = POISSON,
    slow: float = 0.0,
) -> int | None:
    """The bin from which a raised rate (about factor x expected) is back at `expected`; None while it goes on.

    An end before each bin is as likely beforehand as its share of LASTS_MIN; "back since some bin" must be more likely
    afterwards than "goes on" by ENDED_LOG_ODDS, with `slow` more asked of a signal that was called over too soon
    before. Factors about the given one are summed out on both sides, so that a signal that only grows weaker is not
    called over.
    References: [1] Shiryaev, Theory of Probability and Its Applications 8 (1963) 22 (posterior odds of a change).
    """
    if not len(calls):
        return None
    on = np.maximum(LEAST_FACTOR, factor * np.array(FADES))
    logs = _mean_exp(split_logs(calls, expected, on, np.ones(len(on)), noise))
    back = logs[:-1] - logs[-1] + np.log(step_min / LASTS_MIN)
    top = float(back.max())
    odds = top + float(np.log(np.exp(back - top).sum()))
    if odds <= ENDED_LOG_ODDS + slow:
        return None
    total = np.cumsum(np.exp(back - top))
    return int(np.searchsorted(total, 0.5 * total[-1]))


def minutes_to_close(expected_per_minute: float, factor: float, variance: float = 0.0) -> float:
    """Minutes of ware at the old rate after which `ended` would on average say so; variance: of an hour's count.

    By the mean gain (Kullback and Leibler's) against the weakest course that is still called "goes on"."""
    hour, size = 60 * expected_per_minute, 1 / max(variance, 1e-7)
    factor = max(LEAST_FACTOR, factor * FADES[0])
    gain = (hour + size) * (np.log1p(factor * hour / size) - np.log1p(hour / size)) - hour * np.log(factor)
    wanted = ENDED_LOG_ODDS + np.log(LASTS_MIN / 60 / len(FADES))
    return float(60 * wanted / gain) if gain > 1e-9 else float("inf")
