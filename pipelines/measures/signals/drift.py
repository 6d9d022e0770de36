"""Slow drifts: an e-detector of every stream's hours beside the scan of windows.

The guarantee: were counts negative binomial about what is expected of them, hour by hour independently, a stream would
on the whole be called for the first time after no fewer hours than the limit, so that a line's streams of one kind
together are called falsely no more often than FALSE_A_DAY. No run length is simulated and nothing is tuned to how
sparse a stream is, as a CUSUM of normal scores
needs: hours that mostly hold no call have no normal scores, and its sums never rose.
"""

from __future__ import annotations

import numpy as np

from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.scan import WINDOW_PENALTY, Excess, Scan

FACTORS = (1.4, 2.0, 3.0, 5.0)  # by how much a drifting rate may have grown
FALSE_A_DAY = 0.02  # false alarms of one kind of stream on a line, a day
MOST_LOG = 4.0  # one hour alone cannot make a drift: the scan finds it


def log_ratios(calls: np.ndarray, expected: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Log likelihood ratio [factors, ...] of each count at factor x expected against expected; 0 where nothing is
    expected.

    variance: relative excess variance of the negative binomial. Its exponential has the mean 1 where the expectation
    holds; it is cut off above MOST_LOG, which only lowers it.
    """
    size = 1 / np.maximum(variance, 1e-7)
    factor = np.array(FACTORS).reshape(-1, *[1] * np.ndim(expected))
    wanted = np.maximum(expected, 1e-300)
    answer = calls * np.log(factor) - (calls + size) * (np.log1p(factor * wanted / size) - np.log1p(wanted / size))
    return np.where(expected > 0, np.minimum(answer, MOST_LOG), 0.0)


def shiryaev_roberts(sums: np.ndarray, log_ratio: np.ndarray) -> np.ndarray:
    """One step of the Shiryaev-Roberts sum, (1 + sum) x likelihood ratio: its mean grows by at most 1 a step while
    nothing changed.

    References: [1] Shin, Ramdas and Rinaldo, E-detectors: a nonparametric framework for sequential change detection,
    New England Journal of Statistics in Data Science 2 (2024) 229, definition 2.1 and theorem 2.4: called first at a
    sum of A or more, the mean run length to a false alarm is A steps or more; also for the mean of such sums over
    factors. [2] Pollak, Annals of Statistics 13 (1985) 206.
    """
    values: np.ndarray = (1 + sums) * np.exp(log_ratio)
    return values


def shared(sums: np.ndarray, limit: float) -> int:
    """How many of these detectors stand together: the greatest k of which k are at limit / k or more; 1 where none is.

    Streams are nested (a mould in its section, its gob position, its line) and rise together; this holds under any
    dependence.
    References: [1] Wang and Ramdas, Journal of the Royal Statistical Society B 84 (2022) 822 (e-BH).
    """
    ordered = np.sort(np.ravel(sums))[::-1]
    standing = np.flatnonzero(ordered * np.arange(1, len(ordered) + 1) >= limit)
    return int(standing[-1]) + 1 if len(standing) else 1


class Drift:
    """The running sums of a line's streams, moved on hour by hour."""

    def __init__(self, scan: Scan):
        self.scan = scan
        shape = scan.known.shape
        self.parts = np.zeros((len(FACTORS), *shape))
        self.since = np.zeros(shape, int)  # the bin from which the sum grew
        kinds = np.array([stream.kind for stream in scan.streams])
        self.kinds = {kind: kinds == kind for kind in dict.fromkeys(kinds)}

    @property
    def sums(self) -> np.ndarray:
        """The e-detector [defects, streams]: the mean over the factors."""
        values: np.ndarray = self.parts.mean(axis=0)
        return values

    def advance(self, start: int, stop: int) -> list[Excess]:
        """Take in the bins [start, stop); streams whose sum is above its limit, the furthest above first."""
        scan = self.scan
        lo, hi = start - scan.first, stop - scan.first
        seen = (scan.seen[:, :, hi] - scan.seen[:, :, lo]).astype(float)
        self.since[self.sums < 1] = start
        ratios = log_ratios(seen, scan.between(start, stop), scan.hourly)
        self.parts = np.where(scan.known, shiryaev_roberts(self.parts, ratios), 0.0)
        sums, over = self.sums, []
        for mine in self.kinds.values():
            limit = max(1, int(scan.known[:, mine].sum())) * 24 / FALSE_A_DAY
            d, g = np.nonzero((sums >= limit / shared(sums[:, mine], limit)) & mine[None, :])
            over += [(float(sums[a, b] / limit), int(a), int(b)) for a, b in zip(d, g, strict=True)]
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
        self.parts[:, defect] = 0.0
