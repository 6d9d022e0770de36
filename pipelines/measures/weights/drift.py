"""Slow drift of a gob position: found by an EWMA of the mean over its moulds, dated, and turned into a correction at
the feeder.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.statistics.factors import d2_d3
from pipelines.measures.statistics.run_rules import ewma, ewma_sd, ewma_width
from pipelines.measures.weights.reference import Reference
from pipelines.measures.weights.rounds import Rounds

WEIGHT = 0.3  # of the newest round in the moving average
FALSE_PER_WEEK = 0.8  # of all gob positions of a line together, at one point
# how large a drift is thought of beforehand, of the weight: standard deviation of a step, and of a ramp's rise in eight
# hours
STEP_SHARE = 0.008
SHARES = (0.1, 0.5, 0.4)  # of drifts beforehand: steps, ramps that go on, ramps that ended; a guess
EIGHT = 8 * 3600.0
CLIP = 2.5  # standard deviations
BACK_S = 36 * 3600.0  # how long ago a drift can have begun
WEEK_S = 7 * 86400.0


@dataclass(frozen=True)
class GobSeries:
    """Mean deviation of a gob position's moulds from what is usual for them, by round [g]; sd: of that mean [g]; NaN
    where none was weighed.
    """

    seconds: np.ndarray
    value: np.ndarray
    sd: np.ndarray


@dataclass(frozen=True)
class Fit:
    """What a drift has come to [g]: now, by the last weighing, and at the feeder, `ahead` seconds later; slope a day;
    the onset; 95 % intervals.
    """

    offset: float
    offset_low: float
    offset_high: float
    feeder: float
    feeder_low: float
    feeder_high: float
    slope_a_day: float
    onset_s: float
    onset_low_s: float
    onset_high_s: float


def gob_series(rounds: Rounds, usual: Reference) -> list[GobSeries]:
    """One series a gob position. A mould that is not in the reference counts little: its own offset is not known yet.
    One that lies CLIP standard deviations from the middle of its gob's moulds counts as if it lay there, so that a
    mould's own fault does not look like the gob's.

    References: [1] Huber, Annals of Mathematical Statistics 35 (1964) 73, winsorised means.
    """
    apart = rounds.mean - usual.mean
    known = ~np.isnan(usual.mean)
    sd = usual.sd_of(rounds.n)
    moulds_sd = float(np.nanstd(usual.mean)) if known.sum() > 1 else 1.0
    some = np.maximum(usual.n, 1)
    own = np.where(known, sd**2 / some, max(moulds_sd, 1e-6) ** 2)
    apart = np.where(known, apart, rounds.mean - np.nanmean(usual.mean)) if known.any() else apart
    found = []
    for number in range(len(rounds.gobs)):
        here = (rounds.gob == number) & (rounds.n > 0) & ~np.isnan(apart)
        weight = np.where(here, 1 / np.maximum(sd**2 + own, 1e-12), 0.0)
        kept = _clipped(np.where(here, apart, np.nan), np.sqrt(sd**2 + own))
        total = weight.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.where(total > 0, np.where(here, kept * weight, 0.0).sum(axis=1) / total, np.nan)
            found.append(GobSeries(rounds.seconds, value, np.where(total > 0, total**-0.5, np.nan)))
    return found


def _clipped(apart: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Deviations [rounds, moulds] no more than CLIP of their standard deviations from the median of their round; as
    they are under four moulds.
    """
    some = np.flatnonzero((~np.isnan(apart)).sum(axis=1) >= 4)
    values = apart.copy()
    middle = np.nanmedian(apart[some], axis=1)[:, None]
    values[some] = np.clip(apart[some], middle - CLIP * sd[some], middle + CLIP * sd[some])
    return values


def with_spread(series: GobSeries, past_s: float) -> GobSeries:
    """The series with the spread that its means really have from round to round, by the moving ranges before `past_s`
    (all where there are too few).
    """
    past = ~np.isnan(series.value) & (series.seconds < past_s)
    known = past if past.sum() >= 8 else ~np.isnan(series.value)
    ranges = np.abs(np.diff(series.value[known]))
    if len(ranges) < 4:
        return series
    seen = (float(ranges.mean()) / d2_d3(2)[0]) ** 2
    more = max(0.0, seen - float(np.nanmean(series.sd[known] ** 2)))
    return GobSeries(series.seconds, series.value, np.sqrt(series.sd**2 + more))


def alarms(
    series: list[GobSeries], rounds_known: int, every_s: float, own: bool
) -> tuple[np.ndarray, np.ndarray, float]:
    """EWMA of each series in its own standard deviations [rounds, series], which points are beyond the limit, and the
    limit.

    The limit lets all series of a line together call FALSE_PER_WEEK times a week by chance; it is wider by what the
    reference itself is uncertain of.
    """
    z = np.stack([these_series.value / these_series.sd for these_series in series], axis=1)
    averages = ewma(z, WEIGHT)
    target = WEEK_S / every_s * len(series) / FALSE_PER_WEEK
    unsure = 1.0 if own else 1 + (2 - WEIGHT) / (WEIGHT * max(1, rounds_known))
    limit = ewma_width(WEIGHT, float(f"{target:.2g}")) * ewma_sd(WEIGHT) * unsure**0.5
    return averages, np.abs(averages) > limit, limit


def fit(series: GobSeries, weight_g: float, ahead_s: float) -> Fit | None:
    """The drift by every onset and three courses, each weighed by how well it explains the series: a step, a ramp that
    goes on, a ramp that ended; None under three rounds. Beforehand each onset within BACK_S (and each end) is as
    likely, SHARES tells the courses, and the size is normal about nothing (STEP_SHARE of `weight_g`).

    References: [1] Gelman and others, Bayesian Data Analysis, linear models with known variance: closed marginal
    likelihoods.
    """
    here = ~np.isnan(series.value) & (series.seconds >= series.seconds[-1] - BACK_S)
    if here.sum() < 3:
        return None
    t, y, precision = series.seconds[here], series.value[here], series.sd[here] ** -2
    onsets = np.concatenate([[2 * t[0] - t[1]], t[:-1]])
    course, onset, later, share = _courses(t, onsets, ahead_s)
    prior = (STEP_SHARE * weight_g) ** 2
    information, score = (course**2) @ precision, course @ (precision * y)
    var = 1 / (information + 1 / prior)
    size = var * score
    log_odds = 0.5 * np.log(var / prior) + 0.5 * size * score
    chance = np.exp(log_odds - log_odds.max()) * share
    chance /= chance.sum()
    now = course[:, -1]
    slope = (
        (later - now) / ahead_s * 86400
        if ahead_s
        else np.where(now > 0, (now - course[:, -2]) / (t[-1] - t[-2]) * 86400, 0)
    )
    return Fit(
        *_mixed(chance, now * size, now**2 * var),
        *_mixed(chance, later * size, later**2 * var),
        float((chance * slope * size).sum()),
        *_onset(onsets, np.bincount(onset, chance, len(onsets))),
    )


def _courses(
    t: np.ndarray, onsets: np.ndarray, ahead_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Every course of a drift: its value at the rounds [courses, rounds] and `ahead_s` after the last, the number of
    its onset, and its share beforehand.

    Steps and ended ramps come to 1; a ramp that goes on has come to 1 after EIGHT hours.
    """
    n = len(t)
    first, last = (
        part[np.arange(n)[:, None] + 1 < np.arange(n)[None, :]]
        for part in np.meshgrid(range(n), range(n), indexing="ij")
    )
    since = t[None, :] - onsets[:, None]
    ended = np.clip((t[None, :] - onsets[first][:, None]) / (t[last - 1] - onsets[first])[:, None], 0, 1)
    course = np.concatenate([(since > 0).astype(float), np.maximum(0.0, since) / EIGHT, ended])
    later = np.concatenate([np.ones(n), (t[-1] + ahead_s - onsets) / EIGHT, np.ones(len(first))])
    share = np.concatenate(
        [np.full(size, part / max(1, size)) for part, size in zip(SHARES, (n, n, len(first)), strict=True)]
    )
    return course, np.concatenate([np.arange(n), np.arange(n), first]), later, share


def _mixed(chance: np.ndarray, mean: np.ndarray, var: np.ndarray) -> tuple[float, float, float]:
    """Mean and central 95 % of a mixture of normal distributions."""
    from scipy.special import ndtr

    some = chance > 1e-5 * chance.max()
    chance, mean, var = chance[some] / chance[some].sum(), mean[some], var[some]
    middle = float((chance * mean).sum())
    sd = float(np.sqrt((chance * (var + (mean - middle) ** 2)).sum()))
    at = middle + sd * np.linspace(-6, 6, 481)
    below = (chance[:, None] * ndtr((at[None, :] - mean[:, None]) / np.sqrt(var[:, None]))).sum(axis=0)
    return middle, float(np.interp(0.025, below, at)), float(np.interp(0.975, below, at))


def _onset(onsets: np.ndarray, chance: np.ndarray) -> tuple[float, float, float]:
    """Median and central 95 % of the onset."""
    along = np.cumsum(chance) / chance.sum()
    low, middle, high = (
        float(onsets[min(int(np.searchsorted(along, p)), len(onsets) - 1)]) for p in (0.025, 0.5, 0.975)
    )
    return middle, low, high
