"""Factors of control charts for normal samples of n values, from the distributions themselves; no printed table is
kept.

References:
    [1] ISO 7870-2:2023, Shewhart control charts, annex of factors. [2] ASTM Manual on Presentation of Data and Control
    Chart Analysis (MNL 7), table of factors.
"""

from __future__ import annotations

from functools import cache

import numpy as np


def c4(n: np.ndarray | int) -> np.ndarray:
    """Mean of the sample standard deviation over the true one: sqrt(2/(n-1)) Gamma(n/2) / Gamma((n-1)/2); NaN under 2
    values. [1], [2]
    """
    from scipy.special import gammaln

    size = np.asarray(n, float)
    some = np.maximum(size, 2.0)
    answer = np.sqrt(2 / (some - 1)) * np.exp(gammaln(some / 2) - gammaln((some - 1) / 2))
    return np.where(size >= 2, answer, np.nan)


def a3(n: np.ndarray | int, width: float = 3.0) -> np.ndarray:
    """Half width of X-bar limits over the mean standard deviation: width / (c4 sqrt(n)). [1], [2]"""
    values: np.ndarray = width / (c4(n) * np.sqrt(np.asarray(n, float)))
    return values


def b3_b4(n: np.ndarray | int, width: float = 3.0) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper limit of an S chart over the mean standard deviation: 1 -+ width sqrt(1 - c4^2) / c4, not below
    0. [1], [2]
    """
    mean = c4(n)
    half = width * np.sqrt(np.maximum(0.0, 1 - mean**2)) / mean
    return np.maximum(0.0, 1 - half), 1 + half


@cache
def d2_d3(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values, by quadrature. ValueError under 2 values.
    [1], [2]
    """
    from scipy.special import ndtr

    if n < 2:
        raise ValueError(f"{n} value has no range")
    x = np.linspace(-8.5, 8.5, 1701)
    step, below = x[1] - x[0], ndtr(x)
    mean = float(((1 - below**n - (1 - below) ** n) * step).sum())
    # E W^2 is twice the integral over low < high of P(some value below low and some above high); rows are low, columns
    # high
    both = 1 - below[None, :] ** n - (1 - below[:, None]) ** n + np.maximum(0.0, below[None, :] - below[:, None]) ** n
    square = float((2 * np.triu(both, 1).sum() + np.trace(both)) * step**2)
    return mean, float(np.sqrt(square - mean**2))
