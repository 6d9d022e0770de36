"""Run rules and moving averages on points of standard normal noise: what they call, and how often they call by chance.

All values are in standard deviations of a point; run lengths are counts of points. A point on a limit is not beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np


@dataclass(frozen=True)
class Rules:
    """Call a point beyond `far`, and the second of two within three points beyond `near` on one side (None: not
    used).
    """

    far: float = 3.0
    near: float | None = 2.0

    def scaled(self, by: float) -> Rules:
        return Rules(self.far * by, None if self.near is None else self.near * by)


CLASSIC = Rules()


def beyond(z: np.ndarray, rules: Rules) -> tuple[np.ndarray, np.ndarray]:
    """Which points [points, series] are beyond the far limits, and which end two of three beyond the near ones. NaN
    points are passed over.
    """
    far, near = np.abs(z) > rules.far, np.zeros(z.shape, bool)
    for column in range(z.shape[1]) if rules.near is not None else ():
        here = np.flatnonzero(~np.isnan(z[:, column]))
        for side in (1, -1):
            out = np.concatenate([[False, False], side * z[here, column] > (rules.near or 0.0)])
            near[here, column] |= out[2:] & (out[1:-1] | out[:-2])
    return far, near


def rules_run_length(rules: Rules, shift: float = 0.0) -> float:
    """Mean number of points until any of the rules calls, for a mean moved by `shift`: mean time to absorption of a
    Markov chain.

    A state is where the last two points lay: above the near limit, below it, or within.
    References: [1] Champ and Woodall, Technometrics 29 (1987) 393.
    """
    from scipy.special import ndtr

    near = rules.near if rules.near is not None else rules.far
    below, within, above = np.diff(ndtr(np.array([-rules.far, -near, near, rules.far]) - shift))
    states = [(each, two) for each in (-1, 0, 1) for two in (-1, 0, 1)]
    chain = np.zeros((9, 9))
    for row, (number, two) in enumerate(states):
        for side, chance in ((-1, below), (0, within), (1, above)):
            if rules.near is None or not side or side not in (number, two):
                chain[row, states.index((side, number))] += chance
    return float(np.linalg.solve(np.eye(9) - chain, np.ones(9))[states.index((0, 0))])


@lru_cache(maxsize=64)
def rules_for(run_length: float, rules: Rules = CLASSIC) -> Rules:
    """The same rules with their limits moved out, or in, until they call by chance once in `run_length` points."""
    low, high = 0.5, 4.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if rules_run_length(rules.scaled(middle)) < run_length else (low, middle)
    return rules.scaled((low + high) / 2)


def ewma(z: np.ndarray, weight: float, start: float | np.ndarray = 0.0) -> np.ndarray:
    """Exponentially weighted moving averages E_t = weight z_t + (1 - weight) E_(t-1) of each series [points, series]; a
    NaN point leaves its average as it is.

    References: [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, EWMA control charts.
    """
    values = np.empty(z.shape)
    now = np.broadcast_to(np.asarray(start, float), z.shape[1:]).copy()
    for number, row in enumerate(z):
        now = np.where(np.isnan(row), now, weight * row + (1 - weight) * now)
        values[number] = now
    return values


def ewma_sd(weight: float, sd: float = 1.0) -> float:
    """Standard deviation that an EWMA of independent points of `sd` settles to: sd sqrt(weight / (2 - weight)). [as
    `ewma`, 1]
    """
    return sd * float(np.sqrt(weight / (2 - weight)))


def ewma_run_length(weight: float, width: float, shift: float = 0.0, states: int = 101) -> float:
    """Mean number of points until an EWMA beginning at the centre is beyond width x its settled standard deviation on
    either side.

    The range between the limits is cut into states whose transitions make a Markov chain.
    References: [1] Lucas and Saccucci, Technometrics 32 (1990) 1. [2] Brook and Evans, Biometrika 59 (1972) 539.
    """
    from scipy.special import ndtr

    half = width * ewma_sd(weight)
    edges = np.linspace(-half, half, states + 1)
    centres = (edges[:-1] + edges[1:]) / 2
    need = (edges[None, :] - (1 - weight) * centres[:, None]) / weight - shift
    chain = np.diff(ndtr(need), axis=1)
    lengths = np.linalg.solve(np.eye(states) - chain, np.ones(states))
    return float(lengths[states // 2])


@lru_cache(maxsize=64)
def ewma_width(weight: float, run_length: float) -> float:
    """The width at which an EWMA runs `run_length` points on average without a change; the inverse of
    `ewma_run_length`.
    """
    low, high = 0.5, 7.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if ewma_run_length(weight, middle, states=61) < run_length else (low, middle)
    return (low + high) / 2
