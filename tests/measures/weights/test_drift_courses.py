"""The size of a gob position's drift, against the marginal likelihoods of all its courses by SciPy's normal density."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from pipelines.measures.weights.drift import GobSeries, fit


def test_courses_are_weighed_by_their_marginal_likelihoods() -> None:
    """Four hourly rounds; a step, a ramp that goes on or one that ended, from each onset; sizes normal about nothing
    (0.8 % of 400 g). Given a course c the size is prior c' V^-1 y with V = noise + prior c c' (Gelman and others,
    Bayesian Data Analysis).
    """
    t, y, sd, prior = 3600.0 * np.arange(4), np.array([0.1, 0.3, 1.0, 1.2]), 0.5, (0.008 * 400) ** 2
    onsets = 3600.0 * np.arange(-1, 3)
    steps = [(t > a).astype(float) for a in onsets]
    ramps = [np.maximum(0.0, t - a) / (8 * 3600) for a in onsets]
    ends = [
        np.clip((t - a) / (b - a), 0, 1) for a in onsets for b in t[:-1] if b > a + 3600
    ]  # one of a round is a step
    shares = [0.1 / 4] * 4 + [0.5 / 4] * 4 + [0.4 / len(ends)] * len(ends)
    total = size = 0.0
    for course, share in zip([*steps, *ramps, *ends], shares, strict=True):
        v = sd**2 * np.eye(4) + prior * np.outer(course, course)
        chance = share * multivariate_normal(np.zeros(4), v).pdf(y)
        total, size = total + chance, size + chance * course[-1] * prior * course @ np.linalg.solve(v, y)
    this_fit = fit(GobSeries(t, y, np.full(4, sd)), 400.0, 0.0)
    assert this_fit is not None and this_fit.offset == pytest.approx(size / total, rel=1e-3)
