"""Slow drifts: a CUSUM of every stream's hourly scores beside the scan of windows."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from pipelines.measures.limits import cusum_limit, cusum_step
from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.scan import WINDOW_PENALTY, Excess, Scan

REFERENCE = 0.25  # in sigmas: half of the shift that is to be found
FALSE_A_DAY = 0.02  # false alarms of one kind of stream on a line, a day
MOST_SCORE = 3.0  # one hour alone cannot make a drift: the scan finds it


@lru_cache(maxsize=256)
def _limit(streams: int) -> float:
    return cusum_limit(REFERENCE, streams * 24 / FALSE_A_DAY)


def scores(calls: np.ndarray, expected: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Normal score of each count under its negative binomial: the normal quantile of its mid-p; 0 where nothing is expected.

    variance: relative excess variance of the count.
    References: [1] Lancaster, Journal of the American Statistical Association 56 (1961) 223 (mid-p of discrete counts).
    """
    from scipy.special import ndtri

    above = excess_p(calls + 1, expected, variance)
    at_least = excess_p(calls, expected, variance)
    told: np.ndarray = -ndtri(np.clip((above + at_least) / 2, 1e-9, 1 - 1e-9))
    return np.where(expected > 0, np.minimum(told, MOST_SCORE), 0.0)


class Drift:
    """The running sums of a line's streams, moved on hour by hour."""

    def __init__(self, scan: Scan):
        self.scan = scan
        shape = scan.known.shape
        self.sums = np.zeros(shape)
        self.since = np.zeros(shape, int)  # the bin after the last at which the sum was zero
        kinds = np.array([stream.kind for stream in scan.streams])
        self.kinds = {kind: kinds == kind for kind in dict.fromkeys(kinds)}

    def advance(self, start: int, stop: int) -> list[Excess]:
        """Take in the bins [start, stop); streams whose sum is above its limit, the furthest above first."""
        scan = self.scan
        lo, hi = start - scan.first, stop - scan.first
        seen = (scan.seen[:, :, hi] - scan.seen[:, :, lo]).astype(float)
        wanted = scan.between(start, stop)
        z = scores(seen, wanted, scan.hourly)
        fresh = self.sums <= 0
        self.since[fresh] = start
        self.sums = np.where(scan.known, cusum_step(self.sums, z, REFERENCE), 0.0)
        over: list[tuple[float, int, int]] = []
        for mine in self.kinds.values():
            limit = _limit(max(1, int(scan.known[:, mine].sum())))
            d, g = np.nonzero((self.sums > limit) & mine[None, :])
            over += [(float(self.sums[a, b] / limit), int(a), int(b)) for a, b in zip(d, g, strict=True)]
        return [self._excess(d, g, stop) for _, d, g in sorted(over, reverse=True)]

    def _excess(self, d: int, g: int, stop: int) -> Excess:
        scan = self.scan
        lo, hi = max(0, int(self.since[d, g]) - scan.first), stop - scan.first
        seen = float(scan.seen[d, g, hi] - scan.seen[d, g, lo])
        wanted = float(scan.between(lo + scan.first, stop)[d, g])
        p = min(1.0, WINDOW_PENALTY * float(excess_p(np.array(seen), np.array(wanted), scan.variance[-1][d, g])))
        q = min(1.0, p * scan.tests / float(scan.weights[g]))
        return Excess(d, g, stop - 1, hi - lo, seen, wanted, p, q)

    def forget(self, defect: int) -> None:
        """Begin anew for a defect: a signal tells of it now."""
        self.sums[defect] = 0.0
