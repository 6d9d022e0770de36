"""Variance components of crossed random effects in unbalanced data, by restricted maximum likelihood."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

LOG_LEAST, LOG_MOST = -14.0, 12.0  # of a component over the variance within
NOTHING = 1e-5  # a ratio below is none


@dataclass(frozen=True)
class Component:
    """A variance with a 95 % interval, in the square of the data's unit. low and high are None where the data do not
    bound it.
    """

    value: float
    low: float | None
    high: float | None


def components(values: np.ndarray, effects: Mapping[str, np.ndarray]) -> dict[str, Component]:
    """The variance that each effect adds, and that within ("within"), of y = mean + sum of effects + rest.

    values: [n].  effects: by name, the level of each value [n], whole numbers from 0. An effect with a single level, or
    with a level of its own for every value, tells nothing and is left out. Empty for under three values. The effect
    with the most levels is absorbed, so that the cost grows with the square of the levels of the others.
    References: [1] Patterson and Thompson, Biometrika 58 (1971) 545. [2] Searle, Casella and McCulloch, Variance
    Components (1992), ch. 6.
    [3] For balanced data the result is that of the analysis of variance: Davies, Statistical Methods in Research and
    Production.
    """
    from scipy.optimize import minimize

    names = [name for name, level in effects.items() if 1 < len(np.unique(level)) < len(values)]
    if len(values) < 3:
        return {}
    outcome = _Sums(np.asarray(values, float), [np.unique(effects[name], return_inverse=True)[1] for name in names])
    if outcome.total <= 1e-12 * max(1.0, float(np.square(values).mean())):
        return {name: Component(0.0, None, None) for name in (*names, "within")}
    if not names:
        return {"within": _within(outcome.total / (len(values) - 1), len(values) - 1)}
    found = minimize(
        outcome.deviance, np.full(len(names), -1.0), method="L-BFGS-B", bounds=[(LOG_LEAST, LOG_MOST)] * len(names)
    )
    ratios = np.exp(found.x)
    within = outcome.within(found.x)
    spread = _spread(outcome, found.x, within)
    answer = {}
    for number, name in enumerate(names):
        if ratios[number] < NOTHING:
            answer[name] = Component(0.0, 0.0, None)
        else:
            wide = float(np.exp(1.96 * spread[number])) if spread[number] < 10 else None
            value = float(ratios[number] * within)
            answer[name] = Component(value, value / wide if wide else None, value * wide if wide else None)
    return answer | {"within": _within(within, outcome.freedom)}


def _within(value: float, freedom: float) -> Component:
    from scipy.special import chdtri

    if freedom < 1:
        return Component(value, None, None)
    return Component(
        value, float(value * freedom / chdtri(freedom, 0.025)), float(value * freedom / chdtri(freedom, 0.975))
    )


class _Sums:
    """The sums of the data from which the restricted likelihood follows for any ratios."""

    def __init__(self, values: np.ndarray, levels: list[np.ndarray]):
        self.n = len(values)
        y = values - values.mean()
        self.total = float(y @ y)
        order = sorted(range(len(levels)), key=lambda i: int(levels[i].max()))
        self.inner, self.outer = order[:-1], order[-1] if order else None
        self.sizes = [int(level.max()) + 1 for level in levels]
        self.freedom = max(1.0, self.n - 1 - sum(size - 1 for size in self.sizes))
        if self.outer is None:
            return
        blocks = [np.zeros(self.n, np.int64), *(levels[i] for i in self.inner)]
        starts = np.concatenate([[0], np.cumsum([1, *(self.sizes[i] for i in self.inner)])])
        width, last = int(starts[-1]), levels[self.outer]
        columns = [block + start for block, start in zip(blocks, starts, strict=False)]
        self.cross = np.zeros((width, width))
        self.sums = np.zeros(width)
        self.to_outer = np.zeros((width, self.sizes[self.outer]))
        for column in columns:
            self.sums += np.bincount(column, y, width)
            self.to_outer += np.bincount(column * self.sizes[self.outer] + last, minlength=self.to_outer.size).reshape(
                self.to_outer.shape
            )
            for other in columns:
                self.cross += np.bincount(column * width + other, minlength=width * width).reshape(width, width)
        self.outer_n, self.outer_sums = np.bincount(last).astype(float), np.bincount(last, y)
        self.owner = np.concatenate([np.full(self.sizes[i], i) for i in self.inner]) if self.inner else np.zeros(0, int)

    def _solved(self, logs: np.ndarray) -> tuple[float, float]:
        """y'Py and log det C of the mixed model equations, the outer effect absorbed."""
        inverse = np.exp(-logs)
        outer = self.outer_n + inverse[self.outer]
        shared = self.to_outer / outer
        core = self.cross - shared @ self.to_outer.T
        core[np.arange(1, len(core)), np.arange(1, len(core))] += inverse[self.owner]
        right = self.sums - shared @ self.outer_sums
        lower = np.linalg.cholesky(core)
        half = np.linalg.solve(lower, right)
        rest = self.total - float((self.outer_sums**2 / outer).sum()) - float(half @ half)
        return max(rest, 1e-300), float(np.log(outer).sum() + 2 * np.log(np.diag(lower)).sum())

    def within(self, logs: np.ndarray) -> float:
        return self._solved(logs)[0] / (self.n - 1)

    def deviance(self, logs: np.ndarray) -> float:
        """-2 log restricted likelihood at log ratios, the variance within at its best, without its constant."""
        rest, log_det = self._solved(logs)
        return (self.n - 1) * float(np.log(rest)) + log_det + float(np.dot(self.sizes, logs))

    def deviance_of(self, log_parts: np.ndarray) -> float:
        """The same at logarithms of the variances themselves, that within the last."""
        logs = log_parts[:-1] - log_parts[-1]
        rest, log_det = self._solved(logs)
        return rest / np.exp(log_parts[-1]) + (self.n - 1) * log_parts[-1] + log_det + float(np.dot(self.sizes, logs))


def _spread(answer: _Sums, logs: np.ndarray, within: float, step: float = 0.02) -> np.ndarray:
    """Standard deviations of the logarithms of the components, from the curvature of the likelihood; infinite where it
    has none.
    """
    at = np.append(logs, 0.0) + np.log(within)
    live = [*np.flatnonzero(np.exp(logs) >= NOTHING), len(logs)]
    curve = np.zeros((len(live), len(live)))
    for a, each in enumerate(live):
        for b, other in enumerate(live):
            corners = 0.0
            for sign_a, sign_b in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
                moved = at.copy()
                moved[each] += sign_a * step
                moved[other] += sign_b * step
                corners += sign_a * sign_b * answer.deviance_of(moved)
            curve[a, b] = corners / (4 * step**2) / 2
    spread = np.full(len(at), np.inf)
    with np.errstate(invalid="ignore"):
        spread[live] = np.sqrt(np.diag(np.linalg.pinv(curve)))
    return np.where(spread > 0, spread, np.inf)
