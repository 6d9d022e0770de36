"""What a complaint says of the number of escapes: so many at least were there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.trace.exposure import central, counted, log_chances


@dataclass(frozen=True)
class Given:
    """Defective containers, of which some were found. mean, variance: of their number; low, high: whole numbers that
    hold at least 95 %.

    chance: probability of at least as many as were found, by what was expected before.
    """

    mean: float
    variance: float
    low: float
    high: float
    chance: float


def given_found(mean: float, variance: float, found: int) -> Given:
    """The number of defective containers when at least `found` of them are known to be among them.

    mean, variance: of the gamma-distributed expectation about which the numbers are Poisson, as in `exposure.counted`;
    the numbers below `found` are left out and the others put in proportion: P(n | n >= found) = P(n) / P(n >= found).
    Where nothing was expected, those found are all that is known. One found among many expected says little; one found
    where 0.02 were expected is one, or a few.

    References: [1] Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed. (2005), section 5.11: truncated
    negative binomial.
    """
    if mean <= 0:
        return Given(float(found), 0.0, found, found, 0.0)
    top = max(int(mean + 10 * np.sqrt(mean + variance) + 10), found + 20 + int(40 * (1 + variance / mean)))
    numbers = np.arange(found, top + 1)
    logs = log_chances(mean, variance, numbers)
    chance = np.exp(logs - logs.max())
    whole = float(chance.sum())
    chance /= whole
    low, high = central(chance)
    middle = float(chance @ numbers)
    return Given(
        middle,
        float(chance @ (numbers - middle) ** 2),
        found + low,
        found + high,
        min(1.0, whole * float(np.exp(logs.max()))),
    )


def beside(given: Given, found: int, mean: float, variance: float) -> Given:
    """The same with others elsewhere, of which nothing was found. mean, variance: of their expectation."""
    more = counted(
        np.array([given.mean - found + mean]), np.array([max(0.0, given.variance - given.mean + found) + variance])
    )[0]
    return Given(given.mean + mean, given.variance + mean + variance, found + more.low, found + more.high, given.chance)
