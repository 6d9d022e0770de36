"""X-bar and S charts of each mould, with the rules that call a mould and how often they do so by chance."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from pipelines.measures.statistics.factors import a3, b3_b4, c4, d2_d3
from pipelines.measures.statistics.run_rules import CLASSIC, Rules, beyond, ewma, ewma_sd, ewma_width, rules_for
from pipelines.measures.weights.drift import WEEK_S, GobSeries
from pipelines.measures.weights.reference import Reference
from pipelines.measures.weights.rounds import Rounds
from pipelines.words import numeral, say
from schemas.answers.weights import MouldSignal

WEIGHT = 0.2  # of the newest point in a mould's moving average
FALSE_PER_WEEK = 0.2  # of all mould charts of a line together
FAR, NEAR, SLOW, SPREAD = "beyond the limits", "two of three near a limit", "slow drift", "spread"


@dataclass(frozen=True)
class MouldChart:
    """The weighings of one mould by time, with limits for the number of samples of each.

    seconds, n, mean [g]: one a weighing time.  centre, low, high [g]: X-bar limits at 3 standard deviations of the mean
    (A3 S-bar where several samples were weighed at a time, moving ranges where single ones).  spread, spread_centre,
    spread_low, spread_high [g]: s of the samples, or the moving range; NaN where there is none.  ranges: whether the
    spread is a moving range.
    """

    mould: str
    seconds: np.ndarray
    n: np.ndarray
    mean: np.ndarray
    centre: float
    low: np.ndarray
    high: np.ndarray
    spread: np.ndarray
    spread_centre: np.ndarray
    spread_low: np.ndarray
    spread_high: np.ndarray
    ranges: bool
    called: tuple[MouldSignal, ...]


@dataclass(frozen=True)
class Judge:
    """The rules in force for a line: limits in standard deviations, and how many weighings of one mould pass between
    two false calls of each kind.
    """

    rules: Rules
    slow: float
    chance: float
    points: float

    def words(self) -> str:
        return say(
            "A mould is called beyond {far} standard deviations of its mean, by two of three beyond {near} on one "
            "side, by a moving average (newest weighing {weight}) beyond {slow} of its own, or by its spread. Each "
            "kind calls a steady mould by chance once in {points} weighings; all moulds of the line together {often} "
            "times a week.",
            far=numeral(self.rules.far, ".2f"),
            near=numeral(self.rules.near or 0.0, ".2f"),
            weight=numeral(WEIGHT, "g"),
            slow=numeral(self.slow, ".2f"),
            points=numeral(self.points, ",.0f"),
            often=numeral(FALSE_PER_WEEK, "g"),
        )


def judge_for(moulds: int, every_s: float) -> Judge:
    """Limits at which all moulds of a line together call FALSE_PER_WEEK times a week by chance, shared by the three
    kinds of rules.

    References: as `run_rules.rules_run_length` and `run_rules.ewma_run_length`.
    """
    points = float(f"{max(100.0, moulds * WEEK_S / every_s / (FALSE_PER_WEEK / 3)):.2g}")
    return Judge(rules_for(points, CLASSIC), ewma_width(WEIGHT, points), 1 / points, points)


def mould_charts(
    rounds: Rounds, start_s: float, usual: Reference, judge: Judge, gobs: list[GobSeries] | None = None
) -> list[MouldChart]:
    """One chart a mould that was weighed from `start_s` on; earlier rounds only lead the moving averages in. gobs:
    series of the gob positions by the same rounds.
    """
    calls = _calls(rounds, rounds.mean - usual.mean, usual.sd_of(rounds.n), usual, judge)
    alone = _calls(rounds, *_without_gob(rounds, usual, gobs), usual, judge) if gobs else calls
    spread, ranges = _spread(rounds)
    wide = _spread_limit(rounds, usual, judge, ranges)
    with np.errstate(invalid="ignore"):
        calls[SPREAD] = alone[SPREAD] = spread > wide
    inside = rounds.seconds >= start_s
    found = []
    for column, mould in enumerate(rounds.moulds):
        here = inside & (rounds.n[:, column] > 0)
        if here.any():
            called = _called(rounds, column, here, calls, alone, usual)
            found.append(_chart(rounds, column, here, usual, spread[here, column], ranges, mould, called))
    return found


def _calls(rounds: Rounds, apart: np.ndarray, sd: np.ndarray, usual: Reference, judge: Judge) -> dict[str, np.ndarray]:
    """Which points [rounds, moulds] each rule calls; a mould without a reference of ENOUGH weighings is not judged."""
    some = np.maximum(usual.n, 1)
    known = usual.n >= 4
    with np.errstate(invalid="ignore", divide="ignore"):
        z: np.ndarray = np.where((rounds.n > 0) & known & (sd > 0), apart / sd, np.nan)
    unsure = np.ones(len(some)) if usual.own else np.sqrt(1 + 1 / some)
    far, near = beyond(z / unsure, judge.rules)
    slowly = np.ones(len(some)) if usual.own else np.sqrt(1 + (2 - WEIGHT) / (WEIGHT * some))
    average = ewma(np.where(np.isnan(z), np.nan, z / slowly), WEIGHT)
    slow = (np.abs(average) > judge.slow * ewma_sd(WEIGHT)) & ~np.isnan(z)
    return {FAR: far, NEAR: near, SLOW: slow}


def _without_gob(rounds: Rounds, usual: Reference, gobs: list[GobSeries]) -> tuple[np.ndarray, np.ndarray]:
    """The moulds against their gob position's mean at the time; as they are where fewer than three moulds tell it."""
    apart, sd = rounds.mean - usual.mean, usual.sd_of(rounds.n)
    for number, series in enumerate(gobs):
        here = (rounds.gob == number) & (rounds.n > 0)
        size: np.ndarray = here.sum(axis=1, keepdims=True)
        moved = here & (size >= 3) & ~np.isnan(series.value[:, None])
        apart = np.where(moved, apart - series.value[:, None], apart)
        sd = np.where(moved, sd * np.sqrt(1 - 1 / np.maximum(size, 2)), sd)
    return apart, sd


def _spread(rounds: Rounds) -> tuple[np.ndarray, bool]:
    """s of the samples of each point, or, where never two were weighed at a time, the moving range of each mould."""
    if (rounds.n >= 2).any():
        return rounds.sd, False
    values: np.ndarray = np.full(rounds.mean.shape, np.nan)
    for column in range(values.shape[1]):
        here = np.flatnonzero(rounds.n[:, column] > 0)
        values[here[1:], column] = np.abs(np.diff(rounds.mean[here, column]))
    return values, True


def _spread_limit(rounds: Rounds, usual: Reference, judge: Judge, ranges: bool) -> np.ndarray:
    """Above what the spread is called: the exact quantile of s of normal samples, or of the range of two."""
    from scipy.special import chdtri, ndtri

    if ranges:
        return np.broadcast_to(usual.within * 2**0.5 * float(-ndtri(judge.chance / 2)), rounds.n.shape)
    freedom = np.maximum(rounds.n - 1, 1)
    values: np.ndarray = usual.within * np.sqrt(chdtri(freedom, judge.chance) / freedom)
    return values


def _called(
    rounds: Rounds,
    column: int,
    here: np.ndarray,
    calls: dict[str, np.ndarray],
    alone: dict[str, np.ndarray],
    usual: Reference,
) -> tuple[MouldSignal, ...]:
    found = []
    last = int(np.flatnonzero(here)[-1])
    by_itself = any(bool(hit[here, column].any()) for hit in alone.values())
    for rule, hits in calls.items():
        at = np.flatnonzero(here & hits[:, column])
        if len(at):
            means = rounds.mean[at, column]
            farthest = float(means[np.argmax(np.abs(means - usual.mean[column]))])
            seconds = rounds.seconds[at]
            found.append(
                MouldSignal(
                    rule=rule,
                    first=datetime.fromtimestamp(float(seconds[0]), UTC),
                    last=datetime.fromtimestamp(float(seconds[-1]), UTC),
                    times=len(at),
                    value_g=farthest,
                    still=bool(at[-1] == last),
                    with_gob=not by_itself,
                )
            )
    return tuple(found)


def _chart(
    rounds: Rounds,
    column: int,
    here: np.ndarray,
    usual: Reference,
    spread: np.ndarray,
    ranges: bool,
    mould: str,
    called: tuple[MouldSignal, ...],
) -> MouldChart:
    n = rounds.n[here, column]
    centre, within = float(usual.mean[column]), float(usual.within[column])
    size = len(n)
    if ranges:
        half = np.full(size, 3 * within)
        mean, sd = d2_d3(2)
        middle, low, high = (np.full(size, at * within) for at in (mean, 0.0, mean + 3 * sd))
    else:
        several = np.maximum(n, 2)
        expected = c4(several) * within
        half = np.where(n >= 2, a3(several) * expected, 3 * within)
        middle, low, high = (np.where(n >= 2, at * expected, np.nan) for at in (np.ones(size), *b3_b4(several)))
    return MouldChart(
        mould,
        rounds.seconds[here],
        n,
        rounds.mean[here, column],
        centre,
        centre - half,
        centre + half,
        spread,
        middle,
        low,
        high,
        ranges,
        called,
    )
