"""Control limits and run lengths: p and p' charts, EWMA, CUSUM. Shares are shares of ware; run lengths are counts of
points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

D2 = 1.128  # mean range of two standard normal values, as Laney rounds it


@dataclass(frozen=True)
class ShareLimits:
    """Centre line, and lower and upper limit of each point; sigma_z: spread between points over that of a plain
    proportion.
    """

    centre: float
    low: np.ndarray
    high: np.ndarray
    sigma_z: float


def p_chart(hits: Sequence[float], trials: Sequence[float], width: float = 3.0) -> ShareLimits:
    """Limits of a plain p chart: p -+ width sqrt(p (1 - p) / n), p pooled over all points; not clipped.

    References: [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2, Proportions control charts.
    """
    return _share_limits(np.asarray(hits, float), np.asarray(trials, float), width, 1.0)


def p_prime_chart(hits: Sequence[float], trials: Sequence[float], width: float = 3.0) -> ShareLimits:
    """Limits of Laney's p' chart: those of the p chart times sigma_z, the mean moving range of the z scores over 1.128.

    Counts from hour to hour differ by more than a plain proportion allows; sigma_z says by how much. All moving ranges
    count; points without trials are passed over. With fewer than three points sigma_z is 1: nothing is known.
    References: [1] Laney, Quality Engineering 14 (2002) 531, Improved control charts for attributes.
    """
    y, n = np.asarray(hits, float), np.asarray(trials, float)
    some = n > 0
    if some.sum() < 3 or not 0 < y.sum() < n.sum():
        return p_chart(hits, trials, width)
    centre = y.sum() / n.sum()
    z = (y[some] / n[some] - centre) / np.sqrt(centre * (1 - centre) / n[some])
    return _share_limits(y, n, width, float(np.abs(np.diff(z)).mean() / D2))


def beyond_past(hits: Sequence[float], trials: Sequence[float], width: float = 3.0) -> ShareLimits | None:
    """p' limits for all points from all but the last one, for judging the last against its past; None with fewer than
    four before it.

    References: as `p_prime_chart`.
    """
    if len(hits) < 5 or sum(trials[:-1]) <= 0:
        return None
    past = p_prime_chart(hits[:-1], trials[:-1], width)
    sizes = np.maximum(np.asarray(trials, float), 1e-12)
    half = width * past.sigma_z * np.sqrt(past.centre * (1 - past.centre) / sizes)
    return ShareLimits(past.centre, np.maximum(0.0, past.centre - half), past.centre + half, past.sigma_z)


def _share_limits(hits: np.ndarray, trials: np.ndarray, width: float, sigma_z: float) -> ShareLimits:
    centre = float(hits.sum() / trials.sum()) if trials.sum() > 0 else 0.0
    half = width * sigma_z * np.sqrt(centre * (1 - centre) / np.maximum(trials, 1e-12))
    return ShareLimits(centre, centre - half, centre + half, sigma_z)


def cusum_step(sums: np.ndarray, z: np.ndarray, reference: float) -> np.ndarray:
    """Upper cumulative sums after one more point of each series: S_t = max(0, S_(t-1) + z_t - reference); all in
    sigmas.

    References: [1] Page, Biometrika 41 (1954) 100. [2] Montgomery, Introduction to Statistical Quality Control, CUSUM
    chart.
    """
    moved: np.ndarray = np.maximum(0.0, sums + z - reference)
    return moved


def cusum_run_length(reference: float, limit: float, shift: float = 0.0, states: int = 201) -> float:
    """Mean number of points until an upper CUSUM of standard normal values, moved by `shift`, exceeds `limit`.

    The sum's range is cut into states whose transitions make a Markov chain; the mean time to absorption follows.
    References: [1] Brook and Evans, Biometrika 59 (1972) 539.
    """
    from scipy.special import ndtr

    width = 2 * limit / (2 * states - 1)
    at = np.arange(states) * width
    upper = at[None, :] - at[:, None] + reference - shift + width / 2
    chain = ndtr(upper) - np.where(np.arange(states) == 0, 0.0, ndtr(upper - width))
    lengths = np.linalg.solve(np.eye(states) - chain, np.ones(states))
    return float(lengths[0])


def cusum_limit(reference: float, run_length: float) -> float:
    """The limit at which an upper CUSUM of standard normal values runs `run_length` points on average without a
    change.
    """
    low, high = 0.5, 40.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if cusum_run_length(reference, middle, states=101) < run_length else (low, middle)
    return (low + high) / 2
