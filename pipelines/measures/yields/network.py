"""From the furnace to the pallets as one network: what each meter read, how sure it is, and which balances hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np

from pipelines.measures.yields.usual_losses import ExpectedLosses
from pipelines.plant.works import Plant

KG = 1 / 1000
WHOLE = 0.99  # a station that covers less of its day is worked out from the others
FAR_ABOVE = 1.3  # times the middle count: no day loses so much on its way
GUESSED_REJECTS = 0.02  # share of rejects of a meter that said nothing, with as much uncertainty: a guess


@dataclass(frozen=True)
class StationReading:
    """What one station counted; cover is the share of its day that it sent counts for. called: the standard uncertainty
    of what it rejected, where that comes from its calls alone.
    """

    station: str
    order: int
    inspected: float
    rejected: float
    cover: float = 1.0
    called: float | None = None


@dataclass(frozen=True)
class LineReading:
    """What the meters of one line read for the same ware.

    cut, hot: gobs, None where no forming counts came. cut_edge, packed_edge: standard uncertainty [containers] from the
    limits of the day (lehr time, pallets cut through or still open). gob_g, packed_g: mean mass [g] of what was cut and
    of what was packed;
    weight_pct: standard uncertainty of gob_g from sampling. packed: None where no pallet was reported. melt_part: gobs
    cut while the day's glass was melted over gobs cut for the day's ware. job: the items made, empty where no log names
    them.
    """

    line: str
    cut: float | None
    hot: float | None
    gob_g: float
    packed_g: float
    packed: float | None
    stations: tuple[StationReading, ...]
    cut_edge: float = 0.0
    packed_edge: float = 0.0
    weight_pct: float = 0.0
    melt_part: float = 1.0
    job: str = ""

    @property
    def ware(self) -> float:
        """A plain idea of how many containers there were, where meters are missing: the most that a count says, unless
        that is far above the middle one.
        """
        first = [s.inspected / max(s.cover, 0.05) for s in self.stations if s.order == self.stations[0].order]
        values = sorted(value for value in (self.cut or 0.0, sum(first), self.packed or 0.0) if value > 0)
        if not values:
            return 0.0
        return values[-1] if values[-1] < FAR_ABOVE * values[len(values) // 2] else values[len(values) // 2]


@dataclass(frozen=True)
class FurnaceReading:
    """What was melted [kg], None without a whole melt log, what a rise of the level kept back [kg], and the lines."""

    furnace: str
    melted: float | None
    held_back: float
    lines: tuple[LineReading, ...]

    @property
    def formed_kg(self) -> float:
        """Glass cut while the day's glass was melted, by the readings."""
        return sum((line.cut or line.ware) * line.gob_g * line.melt_part for line in self.lines) * KG

    def kept(self) -> dict[str, Any]:
        """As JSON values."""
        return asdict(self)


def reading_of(kept: Mapping[str, Any]) -> FurnaceReading:
    """A reading from its JSON values."""
    lines = [
        LineReading(**{**line, "stations": tuple(StationReading(**station) for station in line["stations"])})
        for line in kept["lines"]
    ]
    return FurnaceReading(kept["furnace"], kept["melted"], kept["held_back"], tuple(lines))


@dataclass(frozen=True)
class Node:
    """One variable of the network. kind: cut, hot, weight, inspected, rejected, packed, melt; loss: what is lost unseen
    at a step.
    of: line, station or furnace."""

    name: str
    kind: str
    of: str
    unit: str
    reading: float
    sd: float
    believed: bool = True

    @property
    def is_meter(self) -> bool:
        return self.kind != "loss"


@dataclass(frozen=True)
class Balance:
    """One balance: what goes in is what comes out and what is lost unseen, by places in `Network.nodes`."""

    name: str
    of: str
    unit: str
    into: tuple[int, ...]
    out: tuple[int, ...]
    loss: tuple[int, ...]


@dataclass(frozen=True)
class Network:
    """The variables and balances of one furnace and its lines. formed: by line, (place of cut, place of weight,
    melt_part). covariance:
    [n, n] of the readings; the losses of a line are known better in sum than singly."""

    nodes: tuple[Node, ...]
    balances: tuple[Balance, ...]
    formed: Mapping[str, tuple[int, int, float]]
    furnace: int | None
    held_back: float
    covariance: np.ndarray

    @property
    def losses(self) -> list[int]:
        return [n for n, node in enumerate(self.nodes) if node.kind == "loss"]

    @property
    def unbelieved(self) -> list[int]:
        return [n for n, node in enumerate(self.nodes) if not node.believed]

    def equations(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A, B, c of A x + B u = c about the values `at`: counts as they are, glass cut [kg] = gobs x mass made linear
        there.

        u are the losses, each with a row that says it is what is expected of it (its node), so that it may not be below
        zero.
        """
        size, losses = len(self.nodes), self.losses
        rows, constants = [], []
        for number, balance in enumerate(self.balances):
            row, constant = np.zeros(size + len(losses)), 0.0
            row[list(balance.into)] += 1
            row[list(balance.out)] -= 1
            row[[size + losses.index(n) for n in balance.loss]] -= 1
            if number == self.furnace:
                constant = self.held_back + self._formed_linear(row, at)
            rows.append(row)
            constants.append(constant)
        for place, n in enumerate(losses):
            row = np.zeros(size + len(losses))
            row[n], row[size + place] = 1, -1
            rows.append(row)
            constants.append(0.0)
        whole = np.array(rows)
        return whole[:, :size], whole[:, size:], np.array(constants)

    def _formed_linear(self, row: np.ndarray, at: np.ndarray) -> float:
        constant = 0.0
        for cut, weight, part in self.formed.values():
            row[cut] -= part * at[weight] * KG
            row[weight] -= part * at[cut] * KG
            constant -= part * at[cut] * at[weight] * KG
        return constant

    def open(self, values: np.ndarray, number: int, with_losses: bool) -> float:
        """What does not close in one balance, in its unit: in less out, less the losses where `with_losses`."""
        balance = self.balances[number]
        answer = values[list(balance.into)].sum() - values[list(balance.out)].sum()
        if number == self.furnace:
            answer -= self.held_back + sum(p * values[c] * values[w] * KG for c, w, p in self.formed.values())
        return float(answer - (values[list(balance.loss)].sum() if with_losses else 0.0))


def steps_of(reading: LineReading) -> list[tuple[str, list[StationReading]]]:
    """The steps of a line where ware can be lost unseen, and the lanes behind each: "lehr", "before <station>",
    "packing".
    """
    stages = [list(lanes) for _, lanes in groupby(reading.stations, key=lambda s: s.order)]
    named = [("lehr" if n == 0 else f"before {lanes[0].station}", lanes) for n, lanes in enumerate(stages)]
    return [*named, ("packing" if stages else "lehr to packing", [])]


def network_of(plant: Plant, reading: FurnaceReading, usual: Mapping[str, ExpectedLosses]) -> Network:
    """The network of a furnace. Lines that made and packed nothing are left out; usual: what is lost unseen, by the
    name of its step.
    """
    return _Builder(plant, usual).furnace(reading)


class _Builder:
    def __init__(self, plant: Plant, usual: Mapping[str, ExpectedLosses]):
        self.sure, self.usual = plant.uncertainty, usual
        self.nodes: list[Node] = []
        self.balances: list[Balance] = []
        self.formed: dict[str, tuple[int, int, float]] = {}
        self.joint: list[tuple[list[int], np.ndarray]] = []

    def furnace(self, reading: FurnaceReading) -> Network:
        for line in reading.lines:
            if line.ware > 0:
                self._line(line)
        place = None
        if reading.melted is not None and self.formed:
            melt = self._add(
                f"{reading.furnace} melt log", "melt", reading.furnace, reading.melted, self.sure.melt, unit="kg"
            )
            lost = self._loss(f"{reading.furnace}, furnace to shears", reading.furnace, reading.formed_kg, "kg")
            place = len(self.balances)
            self.balances.append(
                Balance(f"{reading.furnace}: melted = held back + cut", reading.furnace, "kg", (melt,), (), (lost,))
            )
        elif self.formed:
            self._loss(f"{reading.furnace}, furnace to shears", reading.furnace, reading.formed_kg, "kg")
        covariance = np.diag([node.sd**2 for node in self.nodes])
        for losses, joint in self.joint:
            covariance[np.ix_(losses, losses)] = joint
        return Network(tuple(self.nodes), tuple(self.balances), self.formed, place, reading.held_back, covariance)

    def _line(self, line: LineReading) -> None:
        name, ware = line.line, line.ware
        silent = line.cut is None
        cut = self._add(
            f"{name} gobs cut",
            "cut",
            name,
            line.cut if line.cut is not None else ware,
            self.sure.gobs_cut,
            line.cut_edge,
            believed=not silent,
        )
        guess = GUESSED_REJECTS * ware
        hot = self._add(
            f"{name} hot rejects",
            "hot",
            name,
            guess if line.hot is None else line.hot,
            self.sure.station_counts,
            guess if line.hot is None else 1.0,
        )
        spread = (self.sure.weight**2 + line.weight_pct**2) ** 0.5
        weight = self._add(f"{name} weight", "weight", name, line.gob_g, spread, unit="g")
        self.formed[name] = (cut, weight, line.melt_part)
        self._steps(line, cut, hot)

    def _steps(self, line: LineReading, cut: int, hot: int) -> None:
        name, ware = line.line, line.ware
        into, out, losses = [cut], [hot], []
        for step, lanes in steps_of(line):
            losses.append(self._loss(f"{name}, {step}", name, ware))
            if lanes:
                seen, away = self._lanes(lanes, ware)
            else:
                silent = line.packed is None
                reading = line.packed if line.packed is not None else ware
                seen, away = (
                    [
                        self._add(
                            f"{name} packed",
                            "packed",
                            name,
                            reading,
                            self.sure.packed,
                            line.packed_edge,
                            believed=not silent,
                        )
                    ],
                    [],
                )
            self.balances.append(
                Balance(f"{name}: {step}", name, "containers", tuple(into), (*out, *seen), (losses[-1],))
            )
            into, out = seen, away
        self._known_in_sum(losses, self.usual[f"{name}, whole line"], ware)

    def _known_in_sum(self, losses: Sequence[int], whole: ExpectedLosses, ware: float) -> None:
        """Losses guessed singly, given what is known of their sum: the normal distribution conditioned on a noisy sum
        (Rasmussen and Williams, Gaussian Processes for Machine Learning (2006) A.2)."""
        guess = np.array([self.nodes[n].reading for n in losses])
        variance = np.diag([self.nodes[n].sd ** 2 for n in losses])
        gain = variance.sum(axis=1) / (variance.sum() + max(whole.sd * ware, 0.5) ** 2)
        mean = guess + gain * (whole.share * ware - guess.sum())
        joint = variance - np.outer(gain, variance.sum(axis=0))
        self.joint.append((list(losses), joint))
        for place, n in enumerate(losses):
            self.nodes[n] = replace(
                self.nodes[n], reading=max(0.0, float(mean[place])), sd=float(joint[place, place] ** 0.5)
            )

    def _lanes(self, lanes: Sequence[StationReading], ware: float) -> tuple[list[int], list[int]]:
        seen, away = [], []
        for lane in lanes:
            whole = lane.cover >= WHOLE
            seen.append(
                self._add(
                    f"{lane.station} inspected",
                    "inspected",
                    lane.station,
                    lane.inspected,
                    self.sure.station_counts,
                    believed=whole,
                )
            )
            share, guess = max(lane.cover, 0.05), GUESSED_REJECTS * ware
            reading, edge = (
                (lane.rejected, 1.0) if whole else (lane.rejected / share if lane.cover else guess, guess * (1 - share))
            )
            if lane.called is not None:
                reading, edge = lane.rejected, max(lane.called, 1.0)
            away.append(
                self._add(f"{lane.station} rejected", "rejected", lane.station, reading, self.sure.station_counts, edge)
            )
        return seen, away

    def _loss(self, name: str, of: str, through: float, unit: str = "containers") -> int:
        expected_losses = self.usual[name]
        self.nodes.append(
            Node(name, "loss", of, unit, expected_losses.share * through, max(expected_losses.sd * through, 0.5))
        )
        return len(self.nodes) - 1

    def _add(
        self,
        name: str,
        kind: str,
        of: str,
        reading: float,
        pct: float,
        edge: float = 0.0,
        unit: str = "containers",
        believed: bool = True,
    ) -> int:
        sd = float(np.hypot(abs(reading) * pct / 100, edge))
        self.nodes.append(Node(name, kind, of, unit, float(reading), max(sd, 1e-4 * abs(reading), 1e-3), believed))
        return len(self.nodes) - 1
