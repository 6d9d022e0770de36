"""Which meter lies, or where more than usual is lost: all explanations that remain, each with its probability, none
decided for.

Days are judged together (`joint`): an error that stays, one that changes from day to day, and perhaps one meter off or
one loss beyond its usual, from some day on. Every explanation keeps its own answer; what is told is their mixture.
Nothing is taken out of the balances, so that nothing becomes unmeasured. Tried and rejected: naming the worst meter and
working it out from the others (a surplus on a few pallets freed two flows of one balance and split them: 94.7 % became
63.4 %); Student's t instead of normal errors (accused honest meters on 13 to 52 % of bad days).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from pipelines.measures.yields.joint_days import Joint, MeterLie, Window

PRIOR = 0.02  # that a given meter lies, or that a given loss is beyond its usual: a guess
FROM_FIRST = 0.5  # of that: it did so before the window began
ENDED_PRIOR = 0.002  # that it did so, and no longer does
ACCUSED, LISTED = 0.5, 0.1
DOUBT = 0.5  # below this probability that nothing lies, lies may scatter and come in pairs
PAIRS_FROM = 0.9  # below this one, two at a time are looked at
SCATTER = 0.15  # how far a lie moves from day to day, over its size: a guess
SCATTERED = 0.05  # and over no more than this: a greater one would let honest meters scatter by tens of percent
ROUNDS = 3  # lies that ended, taken out one after another
CANDIDATES = 5
# of what passes: a loss beyond the guess by less, since before the window, is what this works usually loses
SMALL = 0.003
LEAST = 1e-5  # an explanation less probable is left out of the sum


@dataclass(frozen=True)
class Answers:
    """h explanations as normal distributions of today's k causes.

    probability [h]; at [h]: which of `means` [b, k] and `covariances` [b, k, k] it moves; causes: the causes it says
    are off, without losses that are `SMALL`; moved [h]: the one it moves by lie and sd [h], -1 for none; first [h]: the
    day that began, counted from the window's first; moves [h, k]. ended: lies of earlier days that no longer hold.
    """

    probability: np.ndarray
    at: np.ndarray
    causes: tuple[tuple[int, ...], ...]
    moved: np.ndarray
    first: np.ndarray
    lie: np.ndarray
    sd: np.ndarray
    moves: np.ndarray
    means: np.ndarray
    covariances: np.ndarray
    ended: tuple[MeterLie, ...] = ()

    def along(self, gradient: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and standard deviation of gradient' causes [h] under each explanation."""
        slope = self.moves @ gradient
        mean = (self.means @ gradient)[self.at] + slope * self.lie
        variance = np.einsum("k,bkl,l->b", gradient, self.covariances, gradient)[self.at] + (slope * self.sd) ** 2
        return mean, np.sqrt(np.clip(variance, 0.0, None))

    @property
    def mean(self) -> np.ndarray:
        """Today's causes, averaged over the explanations [k]."""
        each: np.ndarray = self.means[self.at] + self.moves * self.lie[:, None]
        return self.probability @ each

    @property
    def covariance(self) -> np.ndarray:
        """Of today's causes over all explanations [k, k]."""
        each = self.means[self.at] + self.moves * self.lie[:, None] - self.mean
        weights = np.bincount(self.at, self.probability, len(self.means))
        within: np.ndarray = np.einsum("b,bkl->kl", weights, self.covariances)
        scaled = self.moves * (self.sd * np.sqrt(self.probability))[:, None]
        spread = each * np.sqrt(self.probability)[:, None]
        return within + scaled.T @ scaled + spread.T @ spread

    def of(self, chosen: np.ndarray) -> Answers:
        """Only the chosen explanations [h, bool], their probabilities made whole."""
        part = self.probability[chosen]
        return replace(
            self,
            probability=part / part.sum(),
            at=self.at[chosen],
            causes=tuple(numbers for numbers, keep in zip(self.causes, chosen, strict=True) if keep),
            moved=self.moved[chosen],
            first=self.first[chosen],
            lie=self.lie[chosen],
            sd=self.sd[chosen],
            moves=self.moves[chosen],
        )

    def blames(self, cause: int) -> np.ndarray:
        """[h]: whether the explanation has this cause off."""
        return np.array([cause in numbers for numbers in self.causes])

    def blamed(self) -> dict[int, float]:
        """The probability of each cause to be off, the greatest first; -1: nothing is."""
        sums: dict[int, float] = {}
        for many, probability in zip(self.causes, self.probability, strict=True):
            for cause in many or (-1,):
                sums[cause] = sums.get(cause, 0.0) + float(probability)
        return dict(sorted(sums.items(), key=lambda answer: -answer[1]))


def quantiles(weights: np.ndarray, mean: np.ndarray, sd: np.ndarray, at: Sequence[float]) -> list[float]:
    """Quantiles of a mixture of normal distributions, by halving."""
    from scipy.special import ndtr

    found, sd = [], np.maximum(sd, 1e-15)
    for share in at:
        low, high = float((mean - 12 * sd).min()), float((mean + 12 * sd).max())
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if weights @ ndtr((middle - mean) / sd) < share else (low, middle)
        found.append((low + high) / 2)
    return found


def explained(window: Window) -> Answers:
    """Every explanation of a window's openings, weighed by how well it explains them."""
    past = _ended(window)
    joint = Joint(window, past)
    parts = _Parts(joint)
    parts.add(())
    if parts.answers().blamed().get(-1, 0.0) < DOUBT:
        joint = Joint(window, past, _scatter(window, parts.answers()))
        parts = _Parts(joint)
        parts.add(())
    if parts.answers().blamed().get(-1, 0.0) < PAIRS_FROM:
        _pairs(window, past, joint, parts)
    return replace(parts.answers(), ended=tuple(past))


class _Row(NamedTuple):
    """One explanation: logarithm of prior times Bayes factor, and as in `Answers`."""

    log: float
    at: int
    causes: tuple[int, ...]
    first: int
    lie: float
    sd: float
    moves: np.ndarray
    moved: int


class _Parts:
    """Explanations as they are found, with logarithms of prior times Bayes factor."""

    def __init__(self, joint: Joint):
        self.means, self.covariances = [joint.mean], [joint.covariance]
        size = len(joint.window.causes)
        self.joint, self.wider = joint, joint.daily - np.array(joint.window.daily)
        lying = PRIOR * sum(bool(cause.sizes) for cause in joint.window.causes)
        self.rows = [_Row(math.log(1 - min(lying, 0.9)), 0, (), 0, 0.0, 0.0, np.zeros(size), -1)]

    def add(
        self, given: tuple[int, ...], joint: Joint | None = None, weight: float = 0.0, skip: Sequence[int] = ()
    ) -> None:
        """One thing more off than those given; weight: logarithm of prior times Bayes factor of those."""
        if joint is not None:
            self.means.append(joint.mean)
            self.covariances.append(joint.covariance)
        joint, at = joint or self.joint, len(self.means) - 1
        days = joint.window.days
        begins = np.full(days, (1 - FROM_FIRST) / max(days - 1, 1))
        begins[0] = FROM_FIRST if days > 1 else 1.0
        for number, cause in enumerate(joint.window.causes):
            if not cause.sizes or number in given or number in skip or not joint.window.effects[-1][:, number].any():
                continue
            for seen in joint.until_today(number):
                logs = weight + math.log(PRIOR / len(cause.sizes)) + np.log(begins) + seen.log_bayes
                for n in range(days):
                    small = cause.kind == "loss" and seen.mean[n] < SMALL
                    causes = given if small else (*given, number)
                    lie, sd = float(seen.mean[n]), float(seen.sd[n])
                    self.rows.append(_Row(float(logs[n]), at, causes, n, lie, sd, seen.moves[:, n], number))

    def answers(self) -> Answers:
        logs = np.array([row.log for row in self.rows]) + self._losses_above_nothing()
        probability = np.exp(logs - logs.max())
        probability /= probability.sum()
        keep = np.flatnonzero(probability > LEAST)
        rows = [self.rows[n] for n in keep]
        probability = probability[keep] / probability[keep].sum()
        at, first, lie, sd, moves, moved = (
            np.array([getattr(row, name) for row in rows]) for name in ("at", "first", "lie", "sd", "moves", "moved")
        )
        causes = tuple(row.causes for row in rows)
        return Answers(
            probability, at, causes, moved, first, lie, sd, moves, np.array(self.means), np.array(self.covariances)
        )

    def _losses_above_nothing(self) -> np.ndarray:
        """By explanation, the logarithm of the probability that no loss is below nothing, over what was expected of
        that [h].

        The normal distributions reach below nothing; an explanation that needs a loss there explains nothing. Losses
        one by one, as if
        they were independent: an approximation.
        """
        from scipy.special import log_ndtr

        causes = self.joint.window.causes
        losses = [n for n, cause in enumerate(causes) if cause.kind == "loss"]
        prior = sum(float(log_ndtr(causes[n].mean / math.sqrt(causes[n].lasting))) for n in losses)
        at, lie, sd = (np.array([getattr(row, name) for row in self.rows]) for name in ("at", "lie", "sd"))
        moves, lie, sd = np.array([row.moves for row in self.rows])[:, losses], lie[:, None], sd[:, None]
        mean = np.array(self.means)[at][:, losses] + moves * lie
        variance = np.array([np.diag(covariance) for covariance in self.covariances])[at][:, losses] + (moves * sd) ** 2
        values: np.ndarray = log_ndtr(mean / np.sqrt(variance)).sum(axis=1) - prior
        return values


def _ended(window: Window) -> list[MeterLie]:
    """Lies of earlier days that no longer hold, each more probable than not once those before it are known."""
    found: list[MeterLie] = []
    if window.days < 2:
        return found
    for _ in range(ROUNDS):
        best, total = (-math.inf, MeterLie(0, 0, 0, 1.0)), [0.0]
        joint = Joint(window, found)
        for number, cause in enumerate(window.causes):
            if not cause.sizes:
                continue
            spans, logs = joint.ended(number)
            prior = math.log(ENDED_PRIOR / len(cause.sizes) / len(spans))
            for size, log_bayes in zip(cause.sizes, logs, strict=True):
                at = int(np.argmax(log_bayes))
                total.append(prior + float(np.logaddexp.reduce(log_bayes)))
                pair = (prior + float(log_bayes[at]), MeterLie(number, int(spans[at, 0]), int(spans[at, 1]), size))
                best = max(best, pair, key=lambda answer: answer[0])
            total += [
                math.log(PRIOR / len(cause.sizes) / window.days) + float(np.logaddexp.reduce(seen.log_bayes))
                for seen in joint.until_today(number)
            ]
        if best[0] < np.logaddexp.reduce(total) - math.log(2):
            break
        found.append(best[1])
    return found


def _scatter(window: Window, answers: Answers) -> np.ndarray:
    """[days, k] variances by which the likeliest lies may move from day to day."""
    wider = np.zeros((window.days, len(window.causes)))
    for cause, probability in answers.blamed().items():
        if cause < 0 or probability < LISTED / 2 or not (answers.moved == cause).any():
            continue
        mine = answers.of(answers.blames(cause) & (answers.moved == cause))
        first = int(mine.first[np.argmax(mine.probability)])
        size = min(abs(float(mine.probability @ mine.lie)), SCATTERED)
        wider[first:, cause] += probability * (SCATTER * size) ** 2
    return wider


def _pairs(window: Window, past: Sequence[MeterLie], joint: Joint, parts: _Parts) -> None:
    """Two things off at once: one of the likeliest, taken for granted at its likeliest, and any other."""
    singles = [row for row in parts.rows if row.at == 0 and row.moved >= 0]
    logs = np.array([row.log for row in singles])
    by_cause: dict[int, list[int]] = {}
    for place in np.argsort(-logs):
        by_cause.setdefault(singles[place].moved, []).append(int(place))
    before: list[int] = []
    for cause in list(by_cause)[:CANDIDATES]:
        best = singles[by_cause[cause][0]]
        whole = float(np.logaddexp.reduce(logs[by_cause[cause]]))
        lie = MeterLie(cause, best.first, window.days - 1, max(abs(best.lie), best.sd))
        parts.add(best.causes, Joint(window, [*past, lie], parts.wider), whole, [*before, cause])
        before.append(cause)
