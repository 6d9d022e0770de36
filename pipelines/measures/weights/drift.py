"""Slow drift of a gob position: found by an EWMA of the mean over its moulds, dated, and turned into a correction at the feeder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.factors import d2_d3
from pipelines.measures.run_rules import ewma, ewma_sd, ewma_width
from pipelines.measures.weights.reference import Reference
from pipelines.measures.weights.rounds import Rounds

WEIGHT = 0.3  # of the newest round in the moving average
FALSE_PER_WEEK = 0.7  # of all gob positions of a line together, at one point
STEP_SHARE = 0.008  # how large a drift is thought of beforehand, of the weight: standard deviation of a step, and of a ramp's rise in eight hours
RAMPS = 0.75  # share of drifts that are slow, beforehand; the others are steps
BACK_S = 36 * 3600.0  # how long ago a drift can have begun
WEEK_S = 7 * 86400.0


@dataclass(frozen=True)
class GobSeries:
    """Mean deviation of a gob position's moulds from what is usual for them, by round [g]; sd: of that mean [g]; NaN where none was weighed."""

    seconds: np.ndarray
    value: np.ndarray
    sd: np.ndarray


@dataclass(frozen=True)
class Fit:
    """What a drift has come to: now, by the last weighing, and at the feeder, `ahead` seconds later; slope a day; 95 % intervals; the onset.

    evidence: log of the marginal likelihood of a drift over that of none.
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
    evidence: float


def gob_series(rounds: Rounds, usual: Reference) -> list[GobSeries]:
    """One series a gob position. A mould that is not in the reference counts little: its own offset is not known yet."""
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
        total = weight.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.where(total > 0, np.where(here, apart * weight, 0.0).sum(axis=1) / total, np.nan)
            found.append(GobSeries(rounds.seconds, value, np.where(total > 0, total**-0.5, np.nan)))
    return found


def with_spread(series: GobSeries, past_s: float) -> GobSeries:
    """The series with the spread that its means really have from round to round, by the moving ranges before `past_s` (all where there are too few)."""
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
    """EWMA of each series in its own standard deviations [rounds, series], which points are beyond the limit, and the limit.

    The limit lets all series of a line together call FALSE_PER_WEEK times a week by chance; it is wider by what the reference itself is uncertain of.
    """
    z = np.stack([one.value / one.sd for one in series], axis=1)
    averages = ewma(z, WEIGHT)
    target = WEEK_S / every_s * len(series) / FALSE_PER_WEEK
    unsure = 1.0 if own else 1 + (2 - WEIGHT) / (WEIGHT * max(1, rounds_known))
    limit = ewma_width(WEIGHT, float(f"{target:.2g}")) * ewma_sd(WEIGHT) * unsure**0.5
    return averages, np.abs(averages) > limit, limit


def fit(series: GobSeries, weight_g: float, ahead_s: float) -> Fit | None:
    """The drift by every onset and two shapes, a step and a ramp, each weighed by how well it explains the series; None under three rounds.

    Beforehand each onset within BACK_S is as likely, RAMPS of the drifts are ramps, and the size is normal about nothing (STEP_SHARE of `weight_g`).
    References: [1] Gelman and others, Bayesian Data Analysis, linear models with known variance: closed marginal likelihoods.
    """
    here = ~np.isnan(series.value) & (series.seconds >= series.seconds[-1] - BACK_S)
    if here.sum() < 3:
        return None
    t, y, precision = series.seconds[here], series.value[here], series.sd[here] ** -2
    onsets = np.concatenate([[2 * t[0] - t[1]], t[:-1]])
    prior = (STEP_SHARE * weight_g) ** 2
    ramp = np.maximum(0.0, (t[None, :] - onsets[:, None])) / (8 * 3600.0)
    shape = np.concatenate([(t[None, :] > onsets[:, None]).astype(float), ramp])
    information = (shape**2 * precision).sum(axis=1)
    score = (shape * precision * y).sum(axis=1)
    var = 1 / (information + 1 / prior)
    size = var * score
    log_odds = 0.5 * np.log(var / prior) + 0.5 * size * score + np.log(np.repeat([1 - RAMPS, RAMPS], len(onsets)))
    top = log_odds.max()
    chance = np.exp(log_odds - top)
    evidence = float(top + np.log(chance.mean()))
    chance /= chance.sum()
    now = shape[:, -1]
    later = np.concatenate([np.ones(len(onsets)), (t[-1] + ahead_s - onsets) / (8 * 3600.0)])
    slope = np.concatenate([np.zeros(len(onsets)), np.full(len(onsets), 3.0)])
    return Fit(
        *_mixed(chance, now * size, now**2 * var),
        *_mixed(chance, later * size, later**2 * var),
        float((chance * slope * size).sum()),
        *_onset(onsets, chance[: len(onsets)] + chance[len(onsets) :]),
        evidence,
    )


def _mixed(chance: np.ndarray, mean: np.ndarray, var: np.ndarray) -> tuple[float, float, float]:
    """Mean and central 95 % of a mixture of normal distributions."""
    from scipy.special import ndtr

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
