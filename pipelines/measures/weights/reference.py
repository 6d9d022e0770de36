"""What is usual: the mean of each mould and the spread about it, from weighings before those that are judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.statistics.factors import c4, d2_d3
from pipelines.measures.weights.rounds import Rounds
from pipelines.measures.weights.spreads import RANGE_FREEDOM, borrowed

ENOUGH = 8  # rounds of a past that can be judged by


@dataclass(frozen=True)
class Reference:
    """mean [g], n (subgroups) of each mould; NaN and 0 for a mould that is not in it.  within: standard deviation of
    single containers of a mould [g], from the samples of one time, else from the moving ranges.  between: what the
    means of a mould vary from time to time beyond that [g].  rounds: how many.  lent: degrees of freedom that the other
    moulds lend a mould's spread.
    """

    mean: np.ndarray
    n: np.ndarray
    within: np.ndarray
    between: np.ndarray
    rounds: int
    own: bool
    lent: float = 0.0

    def sd_of(self, n: np.ndarray) -> np.ndarray:
        """Standard deviation of the mean of n samples of each mould at one time [g]."""
        values: np.ndarray = np.sqrt(self.within**2 / np.maximum(n, 1) + self.between**2)
        return values


def reference_of(past: Rounds, here: Rounds) -> Reference:
    """From the past if it has ENOUGH rounds, else from the very weighings that are judged (`own`). Points beyond 3
    standard deviations are left out once.
    """
    own = int((past.n > 0).any(axis=1).sum()) < ENOUGH
    rounds = here if own else past
    first = _fitted(rounds.mean, rounds.sd, rounds.n, own)
    with np.errstate(invalid="ignore"):
        wild = np.abs(rounds.mean - first.mean) > 3 * first.sd_of(rounds.n)
    if not wild.any():
        return first
    kept = np.where(wild, np.nan, rounds.mean)
    return _fitted(kept, rounds.sd, np.where(wild, 0, rounds.n), own)


def _fitted(mean: np.ndarray, sd: np.ndarray, n: np.ndarray, own: bool) -> Reference:
    seen = n > 0
    subgroups = seen.sum(axis=0)
    weight = np.where(seen, n, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = np.where(
            subgroups > 0, np.nansum(np.where(seen, mean * weight, 0.0), axis=0) / weight.sum(axis=0), np.nan
        )
    of_means, lent = _by_ranges(mean)
    pairs = (n >= 2) & seen
    singles = not pairs.any()
    if singles:
        within, between = of_means, np.zeros(len(of_means))
    else:
        within, lent = _by_samples(np.where(pairs, sd, np.nan), n)
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(seen, 1 / np.maximum(n, 1), 0).sum(axis=0) / np.maximum(subgroups, 1)
        between = np.sqrt(np.maximum(0.0, np.where(np.isnan(of_means), 0.0, of_means) ** 2 - within**2 * share))
    return Reference(centre, subgroups, within, between, int(seen.any(axis=1).sum()), own, lent)


def _by_ranges(mean: np.ndarray) -> tuple[np.ndarray, float]:
    """Standard deviation of each mould's means from their moving ranges over d2 of 2, with what the others lend it."""
    each = [np.abs(np.diff(column[~np.isnan(column)])) for column in mean.T]
    count = np.array([len(entry) for entry in each], float)
    total = np.array([entry.sum() for entry in each])
    if not count.sum():
        return np.full(len(each), np.nan), 0.0
    own = total / np.maximum(count, 1)
    drawn, lent = borrowed(own, RANGE_FREEDOM * count)
    return drawn / d2_d3(2)[0], lent


def _by_samples(sd: np.ndarray, n: np.ndarray) -> tuple[np.ndarray, float]:
    """Standard deviation within the samples of one time: mean of s over c4, each weighed by its certainty, with what
    the others lend it.

    Equal sizes give the mean S over c4 of ISO 7870-2; unequal ones are weighed by c4^2 / (1 - c4^2) (Burr, Journal of
    Quality Technology 1 (1969) 163), whose half is the degrees of freedom of that mean.
    """
    with np.errstate(invalid="ignore"):
        factor = c4(n)
    known = ~np.isnan(sd)
    weight = np.where(known, factor**2 / (1 - factor**2), 0.0)
    value = np.where(known, sd / factor, 0.0)
    own = (weight * value).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-300)
    return borrowed(own, weight.sum(axis=0) / 2)
