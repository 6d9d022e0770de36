"""The openings of several days as one normal distribution: what they tell of today's causes when nothing lies, or one
thing does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.measures.yields.openings import OpeningCause, Openings


@dataclass(frozen=True)
class MeterLie:
    """One cause off by an unknown constant on the days from `first` to `last` (both included), drawn from N(0,
    size^2).
    """

    cause: int
    first: int
    last: int
    size: float


@dataclass(frozen=True)
class Window:
    """Days of openings, oldest first, the last being today; causes are the union of theirs.

    effects: by day [m_t, k]; values: by day [m_t]; daily: by day [k].
    """

    causes: tuple[OpeningCause, ...]
    effects: tuple[np.ndarray, ...]
    values: tuple[np.ndarray, ...]
    daily: tuple[np.ndarray, ...]

    @property
    def days(self) -> int:
        return len(self.values)


def window_of(days: Sequence[Openings]) -> Window:
    """Days side by side. A cause that a day has not has no effect there."""
    names = {cause.name: cause for day in days for cause in day.causes}
    place = {name: number for number, name in enumerate(names)}
    effects, daily = [], []
    for day in days:
        at = [place[cause.name] for cause in day.causes]
        effect, moves = np.zeros((len(day.values), len(names))), np.zeros(len(names))
        effect[:, at], moves[at] = day.effect, day.daily
        effects.append(effect)
        daily.append(moves)
    return Window(tuple(names.values()), tuple(effects), tuple(day.values for day in days), tuple(daily))


@dataclass(frozen=True)
class Told:
    """A hypothesis's answer about today: mean and standard deviation of the lie, logarithm of its Bayes factor against
    the same without it, and by how much each cause moves for each unit of the lie [k].
    """

    mean: np.ndarray
    sd: np.ndarray
    log_bayes: np.ndarray
    moves: np.ndarray


class Joint:
    """Today's causes given the openings of the window, with some lies taken for granted.

    mean [k], covariance [k, k] of today's causes. References: [1] Rasmussen and Williams, Gaussian Processes for
    Machine Learning (2006) A.2 (conditioning of a joint normal). [2] Tamhane, Iordache and Mah, Chemometrics and
    Intelligent Laboratory Systems 4 (1988) 33 (Bayesian gross errors over several days, from memory).
    """

    def __init__(self, window: Window, lies: Sequence[MeterLie] = (), wider: np.ndarray | None = None):
        """wider: [days, k] variances added to what changes from day to day."""
        self.window = window
        self.daily = np.array(window.daily) + (0.0 if wider is None else wider)
        self.starts = np.cumsum([0, *(len(values) for values in window.values)])
        effect = np.vstack(window.effects)
        mean, lasting = (np.array([getattr(cause, name) for cause in window.causes]) for name in ("mean", "lasting"))
        sigma = effect * lasting @ effect.T
        cross, prior = lasting[:, None] * effect.T, np.diag(lasting + self.daily[-1])
        for day, each in enumerate(window.effects):
            here = self._of(day)
            sigma[here, here] += each * self.daily[day] @ each.T
        cross[:, self._of(window.days - 1)] += self.daily[-1][:, None] * window.effects[-1].T
        for lie in lies:
            column = self.column(lie.cause, lie.first, lie.last)
            sigma += lie.size**2 * np.outer(column, column)
            if lie.last == window.days - 1:
                cross[lie.cause] += lie.size**2 * column
                prior[lie.cause, lie.cause] += lie.size**2
        sigma[np.diag_indices_from(sigma)] += 1e-14
        self.precision = np.linalg.inv(sigma)
        self.left = np.concatenate(window.values) - effect @ mean
        self.cross, self.pulled = cross, self.precision @ self.left
        self.mean = mean + cross @ self.pulled
        self.covariance = prior - cross @ self.precision @ cross.T
        self.log_density = -0.5 * (np.linalg.slogdet(sigma)[1] + float(self.left @ self.pulled))

    def _of(self, day: int) -> slice:
        return slice(int(self.starts[day]), int(self.starts[day + 1]))

    def column(self, cause: int, first: int, last: int) -> np.ndarray:
        """What a lie of one unit on those days opens, over all openings of the window."""
        column = np.zeros(self.starts[-1])
        for day in range(first, last + 1):
            column[self._of(day)] = self.window.effects[day][:, cause]
        return column

    @cached_property
    def _spread(self) -> np.ndarray:
        return self.cross @ self.precision

    def sums(self, cause: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of one cause, day by day: d' P d [days, days], d' P r [days], and what each day's unit tells of today's
        causes [k, days].
        """
        days = self.window.days
        column = np.zeros((self.starts[-1], days))
        for day in range(days):
            column[self._of(day), day] = self.window.effects[day][:, cause]
        return column.T @ self.precision @ column, column.T @ self.pulled, self._spread @ column

    def until_today(self, cause: int) -> list[Told]:
        """Lies of a cause from each day on until today: one `Told` for each size, arrays over the first days."""
        within, pulls, tells = self.sums(cause)
        q = np.diag(np.cumsum(np.cumsum(within[::-1, ::-1], axis=0), axis=1))[::-1]
        alpha = np.cumsum(pulls[::-1])[::-1]
        moves = -np.cumsum(tells[:, ::-1], axis=1)[:, ::-1]
        moves[cause] += 1.0
        opening_cause = self.window.causes[cause]
        return [_told(q, alpha, size, opening_cause.one_sided, moves) for size in opening_cause.sizes]

    def ended(self, cause: int) -> tuple[np.ndarray, list[np.ndarray]]:
        """Lies of a cause that ended before today: (first, last) of each [n, 2], and their log Bayes factors for each
        size.
        """
        within, pulls, _ = self.sums(cause)
        area = np.zeros((self.window.days + 1, self.window.days + 1))
        area[1:, 1:] = np.cumsum(np.cumsum(within, axis=0), axis=1)
        line = np.concatenate([[0.0], np.cumsum(pulls)])
        first, last = np.triu_indices(self.window.days - 1)
        end = last + 1
        q = area[end, end] - area[first, end] - area[end, first] + area[first, first]
        alpha, opening_cause = line[end] - line[first], self.window.causes[cause]
        parts = [
            _told(q, alpha, size, opening_cause.one_sided, np.zeros((1, 1))).log_bayes for size in opening_cause.sizes
        ]
        return np.column_stack([first, last]), parts


def _told(q: np.ndarray, alpha: np.ndarray, size: float, one_sided: bool, moves: np.ndarray) -> Told:
    """The lie b of N(0, size^2), or of its half above nothing: v = 1 / (q + size^-2), mean v alpha,
    ln B = ln(v / size^2) / 2 + mean^2 / (2 v), for b >= 0 more by ln 2 Phi(mean / sqrt v).

    References: [1] Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773 (Bayes factors; the
    first term is Occam's). [2] Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1 (1994) 13.10
    (moments of a cut normal).
    """
    from scipy.special import log_ndtr

    v = 1 / (np.maximum(q, 0.0) + size**-2)
    mean, sd = v * alpha, np.sqrt(v)
    log_bayes = 0.5 * np.log(v / size**2) + mean**2 / (2 * v)
    if one_sided:
        at = mean / sd
        above = log_ndtr(at)
        log_bayes = log_bayes + np.log(2.0) + above
        hazard = np.exp(-0.5 * at**2 - 0.5 * np.log(2 * np.pi) - above)
        mean = mean + sd * hazard
        sd = sd * np.sqrt(np.clip(1 - at * hazard - hazard**2, 1e-9, None))
    return Told(mean, sd, log_bayes, moves)
