"""Capability and performance of a normal quantity against its limits, with intervals."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Capability:
    """An index pair with 95 % intervals. c: Cp or Pp, None unless both limits are given; k: Cpk or Ppk, None without
    any limit.
    """

    c: float | None
    c_low: float | None
    c_high: float | None
    k: float | None
    k_low: float | None
    k_high: float | None


NONE = Capability(None, None, None, None, None, None)


def capability(
    mean: float, sd: float | None, n: float, freedom: float, low: float | None, high: float | None, level: float = 0.95
) -> Capability:
    """Cp = (high - low) / 6 sd and Cpk = min(high - mean, mean - low) / 3 sd with the standard deviation within
    samples; with the overall one they are Pp and Ppk. Limits, mean and sd in one unit; n values behind the mean,
    `freedom` degrees of freedom behind sd.

    Interval of Cp: Cp sqrt(chi2 quantiles / freedom). Interval of Cpk: Cpk -+ z sqrt(1 / 9n + Cpk^2 / 2 freedom).
    Without limits, under two values
    or without spread there is no index: None.
    References: [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6, What is process capability. [2] Bissell,
    Applied Statistics 39 (1990) 331.
    [3] ISO 22514-2 for the words.
    """
    from scipy.special import chdtri, ndtri

    if not sd or freedom < 1 or (low is None and high is None):
        return NONE
    sides = [(high - mean) if high is not None else None, (mean - low) if low is not None else None]
    k = min(side for side in sides if side is not None) / (3 * sd)
    half = float(ndtri((1 + level) / 2)) * (1 / (9 * n) + k**2 / (2 * freedom)) ** 0.5
    if low is None or high is None:
        return Capability(None, None, None, k, k - half, k + half)
    c = (high - low) / (6 * sd)
    tail = (1 - level) / 2
    below, above = (float(chdtri(freedom, p) / freedom) ** 0.5 for p in (1 - tail, tail))
    return Capability(c, c * below, c * above, k, k - half, k + half)
