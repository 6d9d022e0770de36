"""The network made to balance: what each meter becomes, which one is most likely lying, and the pack-to-melt that
follows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from pipelines.measures.yields.explanations import ACCUSED, LISTED, Answers, explained, quantiles
from pipelines.measures.yields.joint_days import window_of
from pipelines.measures.yields.misfit import NOTHING, Misfit, cut_range, furnace_range, line_range, misfit_of
from pipelines.measures.yields.network import KG, FurnaceReading, LineReading, Network, network_of, steps_of
from pipelines.measures.yields.openings import OpeningCause, by_own_scatter, openings_of, together
from pipelines.measures.yields.reconcile import Reconciled, reconcile
from pipelines.measures.yields.usual_losses import ExpectedLosses
from pipelines.plant.works import Plant
from pipelines.words import numeral, say

ROUNDS = 3  # glass cut is gobs x mass: made linear about the last round's values; two rounds are enough to the gram
WINDOW = 30  # days that are judged together, the day itself the last
APART = 2.0  # explanations whose answers are further apart than so many of their standard deviations are no one number
APART_LEAST = 0.003  # and by more than this
APART_FROM = 0.005  # explanations from this probability on are worked out each about its own values


@dataclass(frozen=True)
class Estimate:
    """A figure of the reconciled values over all explanations: mean and 95 % interval. value is None where what is told
    of it has no one number, low and high where nothing can be told; why then says so.
    """

    value: float | None
    low: float | None
    high: float | None
    why: str = ""


@dataclass(frozen=True)
class Explanation:
    """What could be: the causes that are off (none: every meter is honest), the size of the last of them (relative to
    its reading or to what passes; its 95 % interval), since which day of the window, and how probable it is. chosen:
    its places in `Answers`. sizes: of each cause, by how much it is off on the day itself, with its 95 % interval.
    """

    causes: tuple[int, ...]
    probability: float
    size: float
    size_low: float
    size_high: float
    first: int
    first_low: int
    first_high: int
    chosen: np.ndarray
    sizes: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class Balanced:
    """A furnace's day after reconciliation. first: the reconciliation that believes every meter that spoke; answers:
    all explanations of the window's openings; reconciled: the values that they make on average, closed; spread [n, k]:
    change
    of each value for each cause;
    misfit: where no explanation fits."""

    reading: FurnaceReading
    network: Network
    first: Reconciled
    reconciled: Reconciled
    answers: Answers
    causes: tuple[OpeningCause, ...]
    spread: np.ndarray
    days: int
    misfit: Misfit | None = None

    @cached_property
    def places(self) -> dict[str, int]:
        return {node.name: place for place, node in enumerate(self.network.nodes)}

    @cached_property
    def _lines(self) -> dict[str, LineReading]:
        return {line.line: line for line in self.reading.lines}

    @cached_property
    def explanations(self) -> tuple[Explanation, ...]:
        """Those with a probability of `LISTED` and more, the likeliest first."""
        sets = dict.fromkeys(frozenset(cause) for cause in self.answers.causes)
        these_explanations = [self._explanation(numbers) for numbers in sets]
        return tuple(
            sorted(
                (explanation for explanation in these_explanations if explanation.probability >= LISTED),
                key=lambda answer: -answer.probability,
            )
        )

    def _explanation(self, causes: frozenset[int]) -> Explanation:
        answers = self.answers
        chosen = np.array([frozenset(cause) == causes for cause in answers.causes])
        mine, low, high = answers.of(chosen), 0.0, 0.0
        names = mine.causes[int(np.argmax(mine.probability))]
        size = (
            answers.of(chosen & (answers.moved == names[-1]))
            if names and (chosen & (answers.moved == names[-1])).any()
            else mine
        )
        if causes:
            low, high = quantiles(size.probability, size.lie, size.sd, (0.025, 0.975))
        shares = np.bincount(size.first, size.probability, self.days)
        ends = (int(np.searchsorted(shares.cumsum(), share)) for share in (0.025, 0.975))
        first_low, first_high = (min(end, self.days - 1) for end in ends)
        return Explanation(
            names,
            float(answers.probability[chosen].sum()),
            float(size.probability @ size.lie),
            low,
            high,
            int(np.argmax(shares)),
            first_low,
            first_high,
            chosen,
            tuple(self._today(mine, cause) for cause in names),
        )

    def _today(self, mine: Answers, cause: int) -> tuple[float, float, float]:
        """Mean and 95 % interval of how far a cause is off on the day, beyond what is expected of it."""
        mean, sd = mine.along(np.eye(len(self.causes))[cause])
        usual = self.causes[cause].mean
        low, high = quantiles(mine.probability, mean - usual, sd, (0.025, 0.975))
        return float(mine.probability @ mean) - usual, low, high

    def blamed(self) -> dict[str, float]:
        """By name, the probability of each meter to lie and of each loss to be beyond its usual; the likeliest
        first.
        """
        return {self.causes[n].name: share for n, share in self.answers.blamed().items() if n >= 0}

    @property
    def accused(self) -> list[str]:
        """The meters that lie more probably than not."""
        kinds = {cause.name: cause.kind for cause in self.causes}
        return [name for name, share in self.blamed().items() if share > ACCUSED and kinds[name] != "loss"]

    def at(self, name: str) -> int:
        """The place of a node. KeyError for one that the day has not."""
        return self.places[name]

    def value(self, name: str) -> float:
        return float(self.reconciled.values[self.at(name)])

    def derived(self, figure: Callable[[np.ndarray], float], explanation: Explanation | None = None) -> Estimate:
        """A figure of the reconciled values, to first order about what each explanation makes them (GUM, JCGM 100:2008,
        5.2.2); under `explanation` only if given. About their mean it would be no first order: a meter that reads
        double moves
        values by half.
        """
        these_answers = self.answers if explanation is None else self.answers.of(explanation.chosen)
        mean, sd = np.zeros(len(these_answers.causes)), np.zeros(len(these_answers.causes))
        for rows in _alike(these_answers):
            part = these_answers.of(rows)
            x = self.reconciled.values + self.spread @ (part.mean - self.answers.mean)
            steps = np.maximum(np.abs(x), 1.0) * 1e-6
            gradient = self.spread.T @ np.array(
                [
                    (figure(x + step * unit) - figure(x - step * unit)) / (2 * step)
                    for step, unit in zip(steps, np.eye(len(x)), strict=True)
                ]
            )
            along, sd[rows] = part.along(gradient)
            mean[rows] = figure(x) + along - float(gradient @ part.mean)
        low, high = quantiles(these_answers.probability, mean, sd, (0.025, 0.975))
        return Estimate(float(these_answers.probability @ mean), low, high)

    @property
    def ranked(self) -> list[str]:
        """The meters and losses that the openings tell of, the one most probably off first."""
        return list(self.blamed())

    def packed_kg(self, x: np.ndarray, line: str) -> float:
        """Packed mass [kg] of a line at the values x."""
        answer = self._lines[line]
        _, weight, _ = self.network.formed[line]
        return float(x[self.at(f"{line} packed")] * x[weight] * (answer.packed_g / answer.gob_g) * KG)

    def formed_kg(self, x: np.ndarray, line: str) -> float:
        """Mass cut [kg] for the day's ware of a line."""
        cut, weight, _ = self.network.formed[line]
        return float(x[cut] * x[weight] * KG)

    def cut_kg(self, x: np.ndarray) -> tuple[float, float]:
        """Mass cut [kg] by all lines: for the day's ware, and while the day's glass was melted."""
        kg = {line: self.formed_kg(x, line) for line in self.network.formed}
        return sum(kg.values()), sum(kg[line] * part for line, (_, _, part) in self.network.formed.items())

    def melted_kg(self, x: np.ndarray) -> float:
        """Mass melted [kg] for the day's ware: cut, and its share of what left unseen and of what the level held
        back.
        """
        day, then = self.cut_kg(x)
        lost = x[self.at(f"{self.reading.furnace}, furnace to shears")]
        return float(day / then * (then + lost + self.network.held_back)) if then else 0.0

    def pack_to_melt(self, explanation: Explanation | None = None) -> Estimate | None:
        """Packed over melted mass, for the same glass; None without a melt log, and where nothing was cut."""
        if self.network.furnace is None or self.melted_kg(self.reconciled.values) <= 1e-6:
            return None
        estimate = self._share(lambda x: self.packed_of_all_kg(x) / self.melted_kg(x), explanation)
        return self._in_doubt(
            estimate, furnace_range(self.reading, self.network.held_back), explanation, self.misfit is not None
        )

    def packed_of_all_kg(self, x: np.ndarray) -> float:
        """Packed mass [kg] of all lines."""
        return sum(self.packed_kg(x, line) for line in self.network.formed)

    def packed_over_cut(self, explanation: Explanation | None = None) -> Estimate | None:
        """Packed over cut mass of all lines, for the same ware; None where a line that made ware counted no gobs."""
        silent = any(line.cut is None for line in self.reading.lines if line.ware > 0)
        if silent or not self.network.formed or self.cut_kg(self.reconciled.values)[0] <= 1e-6:
            return None
        estimate = self._share(lambda x: self.packed_of_all_kg(x) / self.cut_kg(x)[0], explanation)
        return self._in_doubt(estimate, cut_range(self.reading), explanation, self.misfit is not None)

    def line_pack_to_melt(self, line: str, explanation: Explanation | None = None) -> Estimate | None:
        """Packed over cut mass of a line, for the same ware; None where it stood."""
        if line not in self.network.formed or self.formed_kg(self.reconciled.values, line) <= 1e-6:
            return None
        estimate = self._share(lambda x: self.packed_kg(x, line) / self.formed_kg(x, line), explanation)
        return self._in_doubt(estimate, line_range(self._lines[line]), explanation, self.unexplained(line))

    def unexplained(self, line: str) -> bool:
        """Whether no explanation fits and a balance of the line is off."""
        return self.misfit is not None and line in self.misfit.lines

    def _in_doubt(
        self, estimate: Estimate, said: tuple[float, float] | None, explanation: Explanation | None, doubt: bool
    ) -> Estimate:
        """Where nothing explains the readings, the range over what the meters say, and no number."""
        if not doubt or explanation is not None:
            return estimate
        ends = [*(said or ()), *(end for end in (estimate.low, estimate.high) if end is not None)]
        return Estimate(None, min(ends), max(ends), NOTHING) if ends else Estimate(None, None, None, NOTHING)

    def _share(self, figure: Callable[[np.ndarray], float], explanation: Explanation | None) -> Estimate:
        """A share of what was melted or cut: refused where it is impossible, a range where the explanations make it two
        numbers.
        """
        estimate = self.derived(figure, explanation)
        assert estimate.value is not None and estimate.low is not None and estimate.high is not None
        if estimate.low > 1 or estimate.value > 1 or estimate.high < 0 or estimate.value < 0:
            value, low, high = (numeral(100 * end, ".1f") for end in (estimate.value, estimate.low, estimate.high))
            said = say(
                "{value} % ({low} to {high}) came out, which cannot be: a meter is far off",
                value=value,
                low=low,
                high=high,
            )
            return Estimate(None, None, None, said)
        estimate = replace(estimate, low=max(0.0, estimate.low), high=min(1.0, estimate.high))
        if explanation is None and self._apart(figure):
            why = say("the explanations that remain make it different numbers: a range")
            return replace(estimate, value=None, why=why)
        return estimate

    def _apart(self, figure: Callable[[np.ndarray], float]) -> bool:
        """Whether two explanations make a figure two different numbers."""
        each = [self.derived(figure, explanation) for explanation in self.explanations]
        rows = [((estimate.value or 0.0), ((estimate.high or 0.0) - (estimate.low or 0.0)) / 3.92) for estimate in each]
        return any(
            abs(a - b) > max(APART * float(np.hypot(p, q)), APART_LEAST)
            for n, (a, p) in enumerate(rows)
            for b, q in rows[:n]
        )

    def unseen(self, line: LineReading) -> Estimate:
        """What a line lost unseen at all its steps [containers]; 0 where it stood."""
        if line.line not in self.network.formed:
            return Estimate(0.0, 0.0, 0.0)
        places = [self.at(f"{line.line}, {step}") for step, _ in steps_of(line)]
        estimate = self.derived(lambda x: float(x[places].sum()))
        lost = float(np.clip(self.reconciled.values[places], 0.0, None).sum())
        return Estimate(lost, max(0.0, estimate.low or 0.0), max(lost, estimate.high or 0.0))


def balanced(
    plant: Plant, reading: FurnaceReading, usual: Mapping[str, ExpectedLosses], past: Sequence[FurnaceReading] = ()
) -> Balanced:
    """Reconcile a furnace's day, judged together with the days before it (`past`, the newest last).

    References: as `reconcile`, `explained`; successive linearisation of gobs x mass: Pai and Fisher, AIChE Journal 34
    (1988) 873 (from memory).
    """
    network = network_of(plant, reading, usual)
    values = np.array([node.reading for node in network.nodes])
    days = [*past, reading]
    opened = [openings_of(plant, day, _changed_jobs(days[-WINDOW:])) for day in days]
    opened = by_own_scatter(plant, opened)
    opened = [*together(opened[:-WINDOW]), *opened[-WINDOW:]]
    window = window_of(opened)
    answers, today = explained(window), opened[-1]
    place = {cause.name: n for n, cause in enumerate(window.causes)}
    at = [place[cause.name] for cause in today.causes]
    spread = np.zeros((len(values), len(window.causes)))
    loss = np.array([node.kind == "loss" for node in network.nodes], dtype=bool)
    spread[:, at] = np.where(loss, today.scale, -today.scale)[:, None] * today.nodes
    if not network.balances:
        return Balanced(
            reading, network, _nothing(values), _nothing(values), answers, window.causes, spread, window.days
        )
    first = _closed(network, values, network.covariance, network.unbelieved)
    off = today.fixed + today.nodes @ answers.mean[at]
    made = np.where(loss, today.scale * off, values - today.scale * off)
    reconciled = _closed(
        network, np.where(loss, np.clip(made, 0.0, None), made), network.covariance, network.unbelieved
    )
    covariance = spread @ answers.covariance @ spread.T
    half = np.where(today.spoke, 1.96 * np.sqrt(np.clip(np.diag(covariance), 0.0, None)), np.nan)
    reconciled = replace(reconciled, low=reconciled.values - half, high=reconciled.values + half, covariance=covariance)
    misfit = misfit_of(window, answers, network)
    return Balanced(reading, network, first, reconciled, answers, window.causes, spread, window.days, misfit)


def window_days(past: Sequence[date], day: date, days: int) -> list[date]:
    """The dates of a window of so many days; older days that stand in it as one by the first of them."""
    recent = [*past[-(WINDOW - 1) :], day]
    return [past[0], *recent] if days > len(recent) else recent


def _alike(answers: Answers) -> Iterator[np.ndarray]:
    """[h, bool]: the explanations of each set of causes that is worth it, and the rest."""
    sums: dict[frozenset[int], float] = {}
    for causes, probability in zip(answers.causes, answers.probability, strict=True):
        sums[frozenset(causes)] = sums.get(frozenset(causes), 0.0) + float(probability)
    rest = np.ones(len(answers.causes), dtype=bool)
    for numbers in [causes for causes, probability in sums.items() if probability >= APART_FROM]:
        rows = np.array([frozenset(causes) == numbers for causes in answers.causes])
        rest &= ~rows
        yield rows
    if rest.any():
        yield rest


def _changed_jobs(days: Sequence[FurnaceReading]) -> list[str]:
    """Lines that made different items on the days."""
    jobs: dict[str, set[str]] = {}
    for line in (line for day in days for line in day.lines if line.job):
        jobs.setdefault(line.line, set()).add(line.job)
    return [line for line, many in jobs.items() if len(many) > 1]


def _closed(network: Network, readings: np.ndarray, covariance: np.ndarray, free: Sequence[int]) -> Reconciled:
    """Readings made to balance."""
    values = readings
    for _ in range(ROUNDS):
        balances, losses, constants = network.equations(values)
        reconciled = reconcile(readings, covariance, balances, losses, free, constants)
        values = reconciled.values
    return reconciled


def _nothing(values: np.ndarray) -> Reconciled:
    empty = np.zeros((len(values), len(values)))
    return Reconciled(
        values, values, values, np.full(len(values), np.nan), np.zeros(0), 0.0, 0, 1.0, empty, np.zeros(len(values))
    )
