"""Whether anything that the tool knows explains a day's readings at all; where not, what is off and what the meters say
by themselves.

An answer whose best explanation fits by chance once in a million days is none: the mixture of explanations would still
be narrow, because each of them is, and would hold nothing of what happened.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from pipelines.measures.yields.explanations import Answers
from pipelines.measures.yields.joint_days import Joint, MeterLie, Window
from pipelines.measures.yields.names import balance_name, plain_word
from pipelines.measures.yields.network import KG, WHOLE, FurnaceReading, LineReading, Network, steps_of
from pipelines.words import Numeral, numeral, say

REFUSED = 1e-6  # probability of readings so far from the best explanation, under which nothing is told of them
FREE = 1.0  # standard deviation of a lie of any size, relative
MOST = 12  # explanations, the likeliest first, that are held against today's readings
OFF = 4.0  # standard uncertainties by which a balance is off
NOTHING = say("nothing that this tool knows explains the readings: what the meters say by themselves is a range")


@dataclass(frozen=True)
class OffBalance:
    """A balance that does not close by its readings: in, out, and what is usually lost there, in its unit."""

    of: str
    name: str
    unit: str
    into: float
    out: float
    usual: float


@dataclass(frozen=True)
class Misfit:
    """p: probability of readings as far from the best explanation, or farther. off: balances, the one most off
    first.
    """

    p: float
    off: tuple[OffBalance, ...]

    @property
    def lines(self) -> set[str]:
        return {off_balance.of for off_balance in self.off}


def misfit_of(window: Window, answers: Answers, network: Network) -> Misfit | None:
    """None where some explanation fits today's readings: honest meters, one thing off, or two."""
    p = min(_given_the_past(window, answers), _whatever_is_lost(window))
    return Misfit(p, tuple(_off(network))) if p < REFUSED else None


def _tail(square: float, freedom: int) -> float:
    """Probability of a chi-square above `square`. The parameters that an explanation fits are not taken off: the
    greater p.
    """
    from scipy.special import gammaincc

    return float(gammaincc(freedom / 2, max(square, 0.0) / 2)) if freedom else 1.0


def _given_the_past(window: Window, answers: Answers) -> float:
    """The best p of today's openings given those of the days before, each explanation's lies of whatever size.

    The square of a joint normal is that of the past and that of today given the past (Rasmussen and Williams 2006,
    A.6).
    """
    today = len(window.values[-1])
    best = 0.0
    for lies in _lies(window, answers):
        best = max(best, _tail(_square_today(window, [*answers.ended, *lies]), today))
        if best >= REFUSED:
            break
    return best


def _lies(window: Window, answers: Answers) -> Iterator[list[MeterLie]]:
    """No lie; then those of the likeliest explanations, each since its likeliest day and since today."""
    yield []
    last = window.days - 1
    sums: dict[tuple[int, ...], float] = {}
    began: dict[int, tuple[float, int]] = {}
    rows = zip(answers.causes, answers.probability, answers.moved, answers.first, strict=True)
    for causes, probability, moved, first in rows:
        whole = tuple(sorted({*causes, *([int(moved)] if moved >= 0 else [])}))
        sums[whole] = sums.get(whole, 0.0) + float(probability)
        began[int(moved)] = max(began.get(int(moved), (0.0, last)), (float(probability), int(first)))
    for causes in sorted((numbers for numbers in sums if numbers), key=lambda answer: -sums[answer])[:MOST]:
        yield [MeterLie(cause, began.get(cause, (0.0, last))[1], last, FREE) for cause in causes]
        yield [MeterLie(cause, last, last, FREE) for cause in causes]


def _square_today(window: Window, lies: Sequence[MeterLie]) -> float:
    whole = Joint(window, lies)
    square = float(whole.left @ whole.pulled)
    if window.days == 1:
        return square
    last = window.days - 2
    past = Window(window.causes, window.effects[:-1], window.values[:-1], window.daily[:-1])
    before = Joint(past, [replace(lie, last=min(lie.last, last)) for lie in lies if lie.first <= last])
    return square - float(before.left @ before.pulled)


def _whatever_is_lost(window: Window) -> float:
    """The best p of today's openings alone where any amount may be lost anywhere, and up to two meters are off by
    whatever size.

    It needs no past, so meters that contradict one another for weeks do not become what is usual. Losses are least
    squares above nothing (Lawson and Hanson, Solving Least Squares Problems (1974) ch. 23).
    """
    from scipy.optimize import nnls

    effect, values = window.effects[-1], window.values[-1]
    if not len(values):
        return 1.0
    loss = np.array([cause.one_sided for cause in window.causes])
    spread = np.array([cause.lasting for cause in window.causes]) + window.daily[-1]
    sigma = effect[:, ~loss] * spread[~loss] @ effect[:, ~loss].T + 1e-12 * np.eye(len(values))
    root = np.linalg.inv(np.linalg.cholesky(sigma))
    lost, left = root @ effect[:, loss], root @ values
    suspects = [
        n for n, cause in enumerate(window.causes) if cause.sizes and not cause.one_sided and effect[:, n].any()
    ]
    best = 0.0
    for size in range(3):
        for some in combinations(suspects, size):
            off = root @ effect[:, list(some)]
            best = max(best, _tail(float(nnls(np.hstack([lost, off, -off]), left)[1]) ** 2, len(values)))
            if best >= REFUSED:
                return best
    return best


def _off(network: Network) -> Iterator[OffBalance]:
    """Balances of meters that spoke, off by more than their uncertainty lets; the one most off, if none is."""
    nodes, readings = network.nodes, np.array([node.reading for node in network.nodes])
    found: list[tuple[float, OffBalance]] = []
    for number, balance in enumerate(network.balances):
        meters = [*balance.into, *balance.out]
        silent = [n for n in meters if not nodes[n].believed]
        usual, sd = sum(nodes[n].reading for n in balance.loss), [nodes[n].sd for n in (*meters, *balance.loss)]
        if number == network.furnace:
            silent += [cut for cut, _, _ in network.formed.values() if not nodes[cut].believed]
            sd += [p * nodes[c].sd * readings[w] * KG for c, w, p in network.formed.values()]
            sd += [p * readings[c] * nodes[w].sd * KG for c, w, p in network.formed.values()]
        if silent:
            continue
        opened, into = network.open(readings, number, with_losses=False), float(readings[list(balance.into)].sum())
        z = (opened - usual) / float(np.linalg.norm(sd))
        found.append((abs(z), OffBalance(balance.of, balance.name, balance.unit, into, into - opened, usual)))
    found.sort(key=lambda answer: -answer[0])
    yield from (off_balance for n, (z, off_balance) in enumerate(found) if z > OFF or n == 0)


def off_sentences(misfit: Misfit) -> list[str]:
    """What does not close, with figures, for somebody who looks for the cause."""
    said = []
    for off_balance in misfit.off:
        opened = off_balance.into - off_balance.out
        share = f"{100 * opened / off_balance.into:+.1f}" if off_balance.into else ""
        said.append(
            say(
                "off: {balance}: {into} {unit} in, {out} out, {opened}{share} not accounted for, where {usual} are "
                "usual",
                balance=balance_name(off_balance.name),
                into=numeral(off_balance.into, ",.0f"),
                unit=plain_word(off_balance.unit),
                out=numeral(off_balance.out, ",.0f"),
                opened=numeral(opened, "+,.0f"),
                share=say(", {share} %", share=Numeral(share)) if share else "",
                usual=numeral(off_balance.usual, ",.0f"),
            )
        )
    return said


def line_range(line: LineReading) -> tuple[float, float] | None:
    """The least and the greatest packed over cut mass of a line that its meters say, each count taken for the truth in
    turn.
    """
    cut, good = _said(line)
    if not cut or not good:
        return None
    grams = line.packed_g / line.gob_g
    return min(good) * grams / max(cut), min(1.0, max(good) * grams / min(cut))


def _said(line: LineReading) -> tuple[list[float], list[float]]:
    """What was cut and what was packed good [containers] by each count of a line, with the rejects between."""
    hot, away, cut, good = line.hot or 0.0, sum(station.rejected for station in line.stations), [], []
    counts = [] if line.cut is None else [(line.cut, 0.0)]
    upstream = hot
    for _, lanes in steps_of(line):
        whole = line.packed is not None if not lanes else all(lane.cover >= WHOLE for lane in lanes)
        if whole:
            counts.append((sum(lane.inspected for lane in lanes) if lanes else line.packed or 0.0, upstream))
        upstream += sum(lane.rejected for lane in lanes)
    for count, before in counts:
        cut.append(count + before)
        good.append(count + before - hot - away)
    return [value for value in cut if value > 0], [max(each, 0.0) for each in good]


def furnace_range(reading: FurnaceReading, held_back: float) -> tuple[float, float] | None:
    """The least and the greatest packed over melted mass of a furnace that its meters say; None without a melt log or a
    line's counts.
    """
    said = [(line, *_said(line)) for line in reading.lines if line.ware > 0]
    if reading.melted is None or not said or any(not cut or not good for _, cut, good in said):
        return None
    packed = [sum(end(good) * line.packed_g * KG for line, _, good in said) for end in (min, max)]
    then, day = ([end(cut) * line.gob_g * KG for line, cut, _ in said] for end in (max, min))
    glass = [reading.melted, sum(then) + held_back, sum(day) + held_back]
    return packed[0] / max(glass), min(1.0, packed[1] / max(min(glass), 1e-6))


def cut_range(reading: FurnaceReading) -> tuple[float, float] | None:
    """The same of packed over cut mass of all lines of a furnace."""
    each = [(line, *_said(line)) for line in reading.lines if line.ware > 0]
    if not each or any(not cut or not good for _, cut, good in each):
        return None
    packed = [sum(end(good) * line.packed_g for line, _, good in each) for end in (min, max)]
    glass = [sum(end(cut) * line.gob_g for line, cut, _ in each) for end in (min, max)]
    return packed[0] / glass[1], min(1.0, packed[1] / glass[0])
