"""A defect's rate by mould and time, as far as few calls can tell it: it keeps its level, wanders a little, and now and
then jumps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.statistics.markov import smoothed

LEVEL_STEP = 0.15  # of the natural logarithm of the rate, from one level of the grid to the next
LEVELS_BELOW, LEVELS_ABOVE = 21, 37
PRIOR_SPREAD, WIDE = (
    1.2,
    0.03,
)  # of the logarithm about the mean of all moulds; the share of levels that can be anything
JUMPS_MIN = (240.0, 1440.0)  # mean time between jumps to another level, tried
STEPS_MIN = (6.0, 60.0)  # mean time between steps to the next level, tried
LEAST_TRUE = 0.02  # of all calls, however many false ones are expected
COARSE_MIN = 5.0  # rates are followed in steps of this, however fine the bins
AT_ONCE = 1_000_000  # cells of moulds x bins x levels that are worked out together


@dataclass(frozen=True)
class Rates:
    """Defective containers per container by [mould, bin]: posterior mean, and the shape of the gamma that has its
    spread.
    """

    mean: np.ndarray
    shape: np.ndarray


def local_rates(
    found: np.ndarray,
    seen: np.ndarray,
    bin_min: float,
    only: Sequence[int] | None = None,
    false: np.ndarray | None = None,
) -> Rates:
    """Rates from calls `found` among `seen` containers, both [moulds, bins]; `seen` already times the detection rate.

    only: the moulds (by number) whose rates are wanted, in that order; their common level is that of all. false:
    [moulds, bins] calls expected of good ware, which no rate of theirs explains; none without it.

    Calls are Poisson about rate x containers + false ones. The rate of a mould is a hidden Markov chain over levels: it
    stays, steps to a neighbour, or jumps anywhere, so that a fault's beginning and end stay sharp and a quiet stretch
    becomes smooth. How often it steps and jumps is averaged over a few values by how likely they make the calls of all
    moulds.

    References: [1] Rabiner, Proceedings of the IEEE 77 (1989) 257, forward-backward recursions, eq. 19-27.
    """
    ware, bins = float(seen.sum()), found.shape[1]
    if not found.size or ware <= 0:
        blank = np.zeros((len(found) if only is None else len(only), bins))
        return Rates(blank, blank + 1.0)
    calls, wrong = float(found.sum()), np.zeros_like(seen) if false is None else false
    levels, prior = _levels((max(calls - float(wrong.sum()), LEAST_TRUE * calls) + 0.5) / ware)
    if only is not None:
        found, seen, wrong = found[list(only)], seen[list(only)], wrong[list(only)]
    many = max(1, round(COARSE_MIN / bin_min))
    starts = np.arange(0, bins, many)
    found, seen, wrong = (np.add.reduceat(counts, starts, axis=1) for counts in (found, seen, wrong))
    moves = np.stack([_moves(prior, jump, step, bin_min * many) for jump in JUMPS_MIN for step in STEPS_MIN])
    moulds = max(1, AT_ONCE // (found.shape[1] * len(levels)))
    parts = []
    for n in range(0, len(found), moulds):
        here = slice(n, n + moulds)
        parts.append(_followed(found[here], seen[here], wrong[here], levels, prior, moves))
    mean, shape = (np.concatenate([getattr(p, name) for p in parts]) for name in ("mean", "shape"))
    return Rates(*(np.repeat(part, many, axis=1)[:, :bins] for part in (mean, shape)))


def _followed(
    found: np.ndarray, seen: np.ndarray, false: np.ndarray, levels: np.ndarray, prior: np.ndarray, moves: np.ndarray
) -> Rates:
    expected = seen[:, :, None] * levels + false[:, :, None]
    logs = found[:, :, None] * np.log(np.maximum(expected, 1e-300)) - expected
    likely = np.where(seen[:, :, None] > 0, np.exp(logs - logs.max(axis=2, keepdims=True)), 1.0)
    values, fits = smoothed(likely, prior, moves)
    weights = np.exp(fits - fits.max())
    weight = np.einsum("k,kmbl->mbl", weights / weights.sum(), values)
    mean = weight @ levels
    spread = np.maximum(weight @ levels**2 - mean**2, 1e-30)
    return Rates(mean, np.maximum(mean**2 / spread, 1e-6))


def remembered(values: np.ndarray, memory_min: float, bin_min: float) -> np.ndarray:
    """Values [rows, bins] of all bins, each weighed by exp(-distance / memory)."""
    keep = float(np.exp(-bin_min / memory_min))
    before, after = values.astype(float), values.astype(float)
    for at in range(1, values.shape[1]):
        before[:, at] += keep * before[:, at - 1]
    for at in range(values.shape[1] - 2, -1, -1):
        after[:, at] += keep * after[:, at + 1]
    return before + after - values


def _levels(level: float) -> tuple[np.ndarray, np.ndarray]:
    """The grid of rates and how likely each is beforehand; the mean over it is `level`."""
    logs = np.arange(-LEVELS_BELOW, LEVELS_ABOVE + 1) * LEVEL_STEP
    prior = np.exp(-0.5 * (logs / PRIOR_SPREAD) ** 2)
    prior = (1 - WIDE) * prior / prior.sum() + WIDE / len(prior)
    grid = np.exp(logs)
    return grid * level / float(prior @ grid), prior


def _moves(prior: np.ndarray, jump_min: float, step_min: float, bin_min: float) -> np.ndarray:
    """Probability of going from one level to another in a bin; rows sum to 1."""
    jump, step = 1 - np.exp(-bin_min / jump_min), 1 - np.exp(-bin_min / step_min)
    size = len(prior)
    near = np.eye(size, k=1) + np.eye(size, k=-1)
    near /= near.sum(axis=1, keepdims=True)
    values: np.ndarray = jump * prior[None, :] + (1 - jump) * (step * near + (1 - step) * np.eye(size))
    return values
