"""Readings of a process that moved: the first one beyond what the readings before it scatter."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from pipelines.measures.laboratory.density import noise_of
from pipelines.measures.weights.spreads import RANGE_FREEDOM

ENOUGH = 8  # readings before one can be told to have moved
LATEST = 50  # readings that it is told by
SELDOM = 0.00135  # of steady readings on either side: three standard deviations of a normal


def moved(values: Sequence[float]) -> list[tuple[int, float]]:
    """Which readings moved, and by how much from the mean before: (number, difference [unit of the reading]).

    A reading moved when it lies further from the mean of the up to LATEST readings before it, ENOUGH at least, than
    SELDOM of a steady process would: by Student's t with the noise from moving ranges (ISO 7870-2) and its degrees of
    freedom, so that few readings tell less. Those after it tell no new move until one is back, and nearer to what was
    than to them; after ENOUGH at the new level that is what later ones are measured by. Readings that never scattered
    (all alike) tell every change.
    """
    found: list[tuple[int, float]] = []
    base: list[float] = []
    away: list[float] = []
    for number, value in enumerate(values):
        if len(base) < ENOUGH:
            base.append(value)
            continue
        known = np.array(base[-LATEST:])
        off = value - float(known.mean())
        back = not away or abs(off) < abs(value - float(np.mean(away)))
        if back and abs(off) <= max(_wide(len(known)) * noise_of(known), 1e-9 * max(1.0, abs(value))):
            base.append(value)
            away = []
            continue
        if not away:
            found.append((number, off))
        away.append(value)
        if len(away) >= ENOUGH:
            base, away = list(away), []
    return found


@cache
def _wide(n: int) -> float:
    """How many standard deviations a next reading keeps, of noise and mean by n readings."""
    from scipy.stats import t

    return float(t.isf(SELDOM, RANGE_FREEDOM * (n - 1)) * np.sqrt(1 + 1 / n))
