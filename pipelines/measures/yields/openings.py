"""What a furnace's balances leave open on a day, and how each meter, loss and lane could have opened them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipelines.measures.yields.network import (
    KG,
    WHOLE,
    FurnaceReading,
    LineReading,
    Network,
    network_of,
    steps_of,
)
from pipelines.measures.yields.reconcile import without
from pipelines.measures.yields.usual_losses import GUESS_FURNACE, GUESS_LINE, VARIES, ExpectedLosses, chi2_quantile
from pipelines.plant.works import Plant

LASTING = 0.2  # of a meter's stated variance, again: an error that stays the same from day to day; a guess
LANE_SD = 0.05  # how far a lane's part of the ware may be from an even share; a guess
LANE_DAY_SD = 0.002  # and how far it moves from day to day; a guess
JOB_SD = 0.5  # how far a job's loss may be from the line's, over the guess; a guess
LIES = (3.0, 10.0, 30.0)  # how far off a lying meter may be, in its standard uncertainties
MELT_LIES = (1.0, 3.0)  # a melt log's stated uncertainty is so wide that an error within it can be a lasting one
LIE_MOST = 0.05  # and never more, relative
GROSS = 0.5  # but for a meter that is far off: a factor, a wrong unit, half of the day
SPILLS = (0.002, 0.01, 0.03, 0.3)  # how much more than usual may be lost, over what passes
CAN_LIE = ("cut", "inspected", "packed", "weight", "melt")


@dataclass(frozen=True)
class OpeningCause:
    """One thing that can open a balance, the same from day to day by its name.

    kind: of a node of the network, or "share" (a lane's part of the ware), "job" (a job's own loss). mean, lasting:
    expected value and variance of what stays from day to day, relative to the reading or to what passes. sizes:
    standard deviations that a lie or a spill is drawn with, none where it is not suspected. one_sided: it can only be
    above nothing.
    """

    name: str
    kind: str
    mean: float
    lasting: float
    sizes: tuple[float, ...] = ()
    one_sided: bool = False


@dataclass(frozen=True)
class Openings:
    """A day's m openings (in less out, over what passed) and how they follow from k causes.

    values [m]; effect [m, k]: change of each opening for a change of each cause (a meter's relative error, a loss's
    share);
    daily [k]: variance of what changes from day to day. nodes [n, k] and fixed [n]: relative error of each node of the
    network
    (a loss: its share) = fixed + nodes @ causes; a node that said nothing is worked out from the others. spoke [n]:
    False where they do not tell it. scale [n]: a node's unit for that.
    """

    causes: tuple[OpeningCause, ...]
    values: np.ndarray
    effect: np.ndarray
    daily: np.ndarray
    nodes: np.ndarray
    fixed: np.ndarray
    spoke: np.ndarray
    scale: np.ndarray


class _Guess(dict[str, ExpectedLosses]):
    """What is expected to be lost at any step: the guess of a first day."""

    def __missing__(self, name: str) -> ExpectedLosses:
        share = GUESS_FURNACE if "furnace to shears" in name else GUESS_LINE
        return ExpectedLosses(share, share)


def openings_of(plant: Plant, reading: FurnaceReading, jobs: Sequence[str] = ()) -> Openings:
    """The openings of a day; nodes in the order of `network_of`. jobs: lines that changed their job in the window
    looked at.
    """
    network = network_of(plant, reading, _Guess())
    lines = {this_reading.line: this_reading for this_reading in reading.lines}
    builder = _Rows(plant, network, reading, lines)
    builder.balances()
    for line in reading.lines:
        if line.ware > 0:
            builder.lanes(line)
            if line.line in jobs:
                builder.job(line)
    return builder.openings()


class _Rows:
    """Rows over the nodes of a network, then over causes."""

    def __init__(self, plant: Plant, network: Network, reading: FurnaceReading, lines: Mapping[str, LineReading]):
        self.plant, self.network, self.reading, self.lines = plant, network, reading, lines
        nodes = network.nodes
        self.scale = np.array([max(abs(node.reading), 1.0) for node in nodes])
        self.causes = [_cause(plant, node.name, node.kind, node.reading) for node in nodes]
        self.daily = [
            (VARIES * cause.mean) ** 2 if node.kind == "loss" else (node.sd / scale) ** 2
            for node, cause, scale in zip(nodes, self.causes, self.scale, strict=True)
        ]
        self.rows: list[np.ndarray] = []
        self.values: list[float] = []
        self.more: list[tuple[int, int, float]] = []  # row, cause beyond the nodes, effect

    def balances(self) -> None:
        network = self.network
        readings = np.array([node.reading for node in network.nodes])
        for number, balance in enumerate(network.balances):
            through = self.reading.formed_kg if number == network.furnace else self.lines[balance.of].ware
            row = np.zeros(len(network.nodes))
            row[list(balance.into)] += self.scale[list(balance.into)]
            row[list(balance.out)] -= self.scale[list(balance.out)]
            if number == network.furnace:
                for cut, weight, part in network.formed.values():
                    row[[cut, weight]] -= part * readings[cut] * readings[weight] * KG
            row[list(balance.loss)] = through
            self.rows.append(row / through)
            self.values.append(network.open(readings, number, with_losses=False) / through)

    def lanes(self, line: LineReading) -> None:
        """Each lane but the last takes its own part of the ware that all lanes see."""
        places = {node.name: place for place, node in enumerate(self.network.nodes)}
        for _, lanes in steps_of(line):
            total = sum(reading.inspected for reading in lanes)
            if len(lanes) < 2 or not total or any(reading.cover < WHOLE for reading in lanes):
                continue
            for station in lanes[:-1]:
                part, even = station.inspected / total, 1 / len(lanes)
                about = part if abs(part - even) < 2 * LANE_SD else even  # exact there for an error of any size
                row = np.zeros(len(self.network.nodes))
                row[[places[f"{lane.station} inspected"] for lane in lanes]] = [
                    -about * lane.inspected / total for lane in lanes
                ]
                row[places[f"{station.station} inspected"]] += part
                self.rows.append(row)
                self.values.append(part - even)
                name = f"{station.station}, part of its lanes{f' in {line.job}' if line.job else ''}"
                self._beyond(len(self.rows) - 1, OpeningCause(name, "share", 0.0, LANE_SD**2), LANE_DAY_SD**2, 1.0)

    def job(self, line: LineReading) -> None:
        """Where jobs changed, each job may lose more or less than the line does in others."""
        places = {node.name: place for place, node in enumerate(self.network.nodes)}
        for number, balance in enumerate(self.network.balances):
            if balance.of == line.line and balance.loss:
                name = self.network.nodes[balance.loss[0]].name
                own = OpeningCause(f"{name} in {line.job}", "job", 0.0, (JOB_SD * GUESS_LINE) ** 2)
                self._beyond(number, own, 0.0, self.rows[number][places[name]])

    def _beyond(self, row: int, cause: OpeningCause, daily: float, effect: float) -> None:
        self.more.append((row, len(self.causes), effect))
        self.causes.append(cause)
        self.daily.append(daily)

    def openings(self) -> Openings:
        """Meters that said nothing are projected out of the rows, and worked out from the others (Crowe, Garcia Campos
        and Hrymak, AIChE Journal 29 (1983) 881).
        """
        size = len(self.network.nodes)
        full = np.zeros((len(self.rows), len(self.causes)))
        full[:, :size] = np.array(self.rows).reshape(len(self.rows), size)
        for row, cause, effect in self.more:
            full[row, cause] = effect
        values, silent = np.array(self.values), self.network.unbelieved
        nodes, fixed, answer = np.eye(size, len(self.causes)), np.zeros(size), np.ones(size, dtype=bool)
        known = [n for n in range(len(self.causes)) if n not in silent]
        if silent:
            gone = full[:, silent]
            back = np.linalg.pinv(gone)
            nodes[silent] = 0.0
            nodes[np.ix_(silent, known)] = -back @ full[:, known]
            fixed[silent] = back @ values
            answer[silent] = np.abs(np.eye(len(silent)) - back @ gone).max(axis=1) < 1e-6
            left = without(gone)
            full, values = left @ full, left @ values
        causes = tuple(self.causes[n] for n in known)
        return Openings(
            causes, values, full[:, known], np.array(self.daily)[known], nodes[:, known], fixed, answer, self._units()
        )

    def _units(self) -> np.ndarray:
        units, network = self.scale.copy(), self.network
        for number, balance in enumerate(network.balances):
            for n in balance.loss:
                units[n] = self.reading.formed_kg if number == network.furnace else self.lines[balance.of].ware
        return units


def _cause(plant: Plant, name: str, kind: str, reading: float) -> OpeningCause:
    if kind == "loss":
        guess = GUESS_FURNACE if "furnace to shears" in name else GUESS_LINE
        return OpeningCause(name, kind, guess, guess**2, SPILLS, one_sided=True)
    stated = stated_pct(plant, kind) / 100
    times = () if kind not in CAN_LIE or not reading else MELT_LIES if kind == "melt" else LIES
    sizes = tuple(dict.fromkeys(min(time * stated, LIE_MOST) for time in times)) + ((GROSS,) if times else ())
    return OpeningCause(name, kind, 0.0, LASTING * stated**2, sizes)


def stated_pct(plant: Plant, kind: str) -> float:
    """The standard uncertainty [%] that works.toml states for a kind of meter."""
    sure = plant.uncertainty
    of = {"cut": sure.gobs_cut, "packed": sure.packed, "weight": sure.weight, "melt": sure.melt}
    return float(of.get(kind, sure.station_counts))


ENOUGH = 8  # days from which a melt log's own scatter is believed
# of the days, what a median of differences is worth beside a mean of squares: by simulation of normal errors
WORTH = 0.35


def by_own_scatter(plant: Plant, days: Sequence[Openings]) -> list[Openings]:
    """Days whose melt log moves from day to day as it was seen to; where that is surely less than what works.toml
    states, the rest of the stated variance lasts.

    The spread from day to day is 1.4826 times the median of |difference of days next to each other| over the root of 2,
    which neither a step nor single bad days move much (von Neumann, Annals of Mathematical Statistics 12 (1941) 367,
    with the median in place of the mean); as many days of the stated one are weighed with it.
    """
    stated = (stated_pct(plant, "melt") / 100) ** 2
    seen: dict[str, list[float]] = {}
    for day in days:
        for name, value in _melts(day).items():
            seen.setdefault(name, []).append(value)
    moved = {}
    for name, values in seen.items():
        n = len(values)
        if n >= ENOUGH:
            own = (1.4826 * float(np.median(np.abs(np.diff(values))))) ** 2 / 2
            freedom = max(2, round(WORTH * n))
            lasting = max(0.0, stated - own * freedom / chi2_quantile(freedom, -1.645))
            moved[name] = ((ENOUGH * stated + n * own) / (ENOUGH + n), lasting)
    return [_moved(day, moved) for day in days]


def _melts(day: Openings) -> dict[str, float]:
    """What a furnace's balance leaves open, by its melt log, where that stands in one balance."""
    row = {}
    for place, cause in enumerate(day.causes):
        rows = np.flatnonzero(day.effect[:, place])
        if cause.kind == "melt" and len(rows) == 1:
            row[cause.name] = float(day.values[rows[0]] / day.effect[rows[0], place])
    return row


def _moved(day: Openings, moved: Mapping[str, tuple[float, float]]) -> Openings:
    causes, daily = list(day.causes), day.daily.copy()
    for place, cause in enumerate(causes):
        if cause.name in moved:
            daily[place], lasting = moved[cause.name]
            causes[place] = replace(cause, lasting=lasting)
    return replace(day, causes=tuple(causes), daily=daily)


def together(days: Sequence[Openings]) -> list[Openings]:
    """Many older days as one: the median of each opening over the days of the commonest network, none from fewer than
    four.

    What moves from day to day counts with (pi / 2) / n of its variance (the median of n normal values), but a loss
    keeps all of its own, because over months it moves slowly too.
    """
    kinds: dict[tuple[str, ...], list[Openings]] = {}
    for day in days:
        kinds.setdefault(tuple(cause.name for cause in day.causes), []).append(day)
    same = max(kinds.values(), key=len, default=[])
    same = [day for day in same if day.values.shape == same[-1].values.shape]
    if len(same) < 4:
        return []
    share = np.pi / 2 / len(same)
    lost = np.array([cause.kind == "loss" for cause in same[-1].causes])
    daily = np.median([day.daily for day in same], axis=0)
    return [
        replace(
            same[-1],
            values=np.median([day.values for day in same], axis=0),
            effect=np.mean([day.effect for day in same], axis=0),
            daily=np.where(lost, daily, daily * share),
        )
    ]
