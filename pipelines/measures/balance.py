"""The network made to balance: what each meter becomes, which one is most likely lying, and the pack-to-melt that follows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipelines.measures.network import KG, WHOLE, FurnaceReading, LineReading, Network, lane_part, network_of, steps_of
from pipelines.measures.reconcile import Reconciled, Suspect, evidence, reconcile, suspects
from pipelines.measures.usual import GUESS_FURNACE, GUESS_LINE, Expected, expected_part, expected_share
from pipelines.plant import Plant

LEVEL = 0.06  # of all that could be seen to lie; they share balances, so that fewer than one honest furnace-day in twenty accuses one
ROUNDS = 3  # glass cut is gobs x mass: made linear about the last round's values; two rounds are enough to the gram


@dataclass(frozen=True)
class Quotient:
    """A quotient of reconciled values with its standard uncertainty."""

    value: float
    sd: float

    @property
    def low(self) -> float:
        return self.value - 1.96 * self.sd

    @property
    def high(self) -> float:
        return self.value + 1.96 * self.sd


@dataclass(frozen=True)
class Balanced:
    """A furnace's day after reconciliation. first: the reconciliation that believes every meter that spoke; suspects: the
    worst first; told: what is reconciled without them."""

    reading: FurnaceReading
    network: Network
    first: Reconciled
    suspects: tuple[Suspect, ...]
    told: Reconciled

    @cached_property
    def places(self) -> dict[str, int]:
        return {node.name: place for place, node in enumerate(self.network.nodes)}

    @cached_property
    def _lines(self) -> dict[str, LineReading]:
        return {one.line: one for one in self.reading.lines}

    def at(self, name: str) -> int:
        """The place of a node. KeyError for one that the day has not."""
        return self.places[name]

    def value(self, name: str) -> float:
        return float(self.told.values[self.at(name)])

    def derived(self, figure: Callable[[np.ndarray], float]) -> Quotient:
        """A figure of the reconciled values with its uncertainty, to first order (GUM, JCGM 100:2008, 5.2.2)."""
        x = self.told.values
        steps = np.maximum(np.abs(x), 1.0) * 1e-6
        gradient = np.array([
            (figure(x + step * unit) - figure(x - step * unit)) / (2 * step)
            for step, unit in zip(steps, np.eye(len(x)), strict=True)
        ])  # fmt: skip
        variance = float(gradient @ self.told.covariance @ gradient)
        return Quotient(figure(x), max(variance, 0.0) ** 0.5)

    @property
    def ranked(self) -> list[tuple[int, float]]:
        """The meters that can be checked, with their z when all are believed; first the one whose lying would explain most."""
        nodes = self.network.nodes
        explained = evidence(self.first, np.array([n.sd for n in nodes]), self.network.lies)
        told = [n for n, node in enumerate(nodes) if np.isfinite(explained[n]) and node.is_meter]
        return [(n, float(self.first.z[n])) for n in sorted(told, key=lambda n: -explained[n])]

    def packed_kg(self, x: np.ndarray, line: str) -> float:
        """Packed mass [kg] of a line at the values x."""
        told = self._lines[line]
        _, weight, _ = self.network.formed[line]
        return float(x[self.at(f"{line} packed")] * x[weight] * (told.packed_g / told.gob_g) * KG)

    def formed_kg(self, x: np.ndarray, line: str) -> float:
        """Mass cut [kg] for the day's ware of a line."""
        cut, weight, _ = self.network.formed[line]
        return float(x[cut] * x[weight] * KG)

    def cut_kg(self, x: np.ndarray) -> tuple[float, float]:
        """Mass cut [kg] by all lines: for the day's ware, and while the day's glass was melted."""
        kg = {line: self.formed_kg(x, line) for line in self.network.formed}
        return sum(kg.values()), sum(kg[line] * part for line, (_, _, part) in self.network.formed.items())

    def melted_kg(self, x: np.ndarray) -> float:
        """Mass melted [kg] for the day's ware: cut, and its share of what left unseen and of what the level held back."""
        day, then = self.cut_kg(x)
        lost = x[self.at(f"{self.reading.furnace}, furnace to shears")]
        return float(day / then * (then + lost + self.network.held_back)) if then else 0.0

    def pack_to_melt(self) -> Quotient | None:
        """Packed over melted mass, for the same glass; None where nothing was cut."""
        if not self.network.formed or self.melted_kg(self.told.values) <= 1e-6:
            return None
        packed = lambda x: sum(self.packed_kg(x, line) for line in self.network.formed)  # noqa: E731
        return self.derived(lambda x: packed(x) / self.melted_kg(x))

    def unseen(self, line: LineReading) -> Quotient:
        """What a line lost unseen at all its steps [containers], with its uncertainty; 0 where it stood."""
        if line.line not in self.network.formed:
            return Quotient(0.0, 0.0)
        places = [self.at(f"{line.line}, {step}") for step, _ in steps_of(line)]
        sd = float(np.sqrt(max(self.told.covariance[np.ix_(places, places)].sum(), 0.0)))
        return Quotient(float(np.clip(self.told.values[places], 0.0, None).sum()), sd)

    def line_pack_to_melt(self, line: str) -> Quotient | None:
        """Packed over cut mass of a line, for the same ware; None where it stood."""
        if line not in self.network.formed or self.formed_kg(self.told.values, line) <= 1e-6:
            return None
        return self.derived(lambda x: self.packed_kg(x, line) / self.formed_kg(x, line))


def balanced(plant: Plant, reading: FurnaceReading, usual: Mapping[str, Expected]) -> Balanced:
    """Reconcile a furnace's day. Only losses that are more than expected and meters can be suspects; None is believed against the balances.

    References: as `reconcile` and `suspects`; successive linearisation of gobs x mass: Pai and Fisher, AIChE Journal 34 (1988) 873 (from memory).
    """
    network = network_of(plant, reading, usual)
    values = np.array([node.reading for node in network.nodes])
    if not network.balances:
        return Balanced(reading, network, _nothing(values), (), _nothing(values))
    readings, doubted = values, network.unbelieved
    for _ in range(ROUNDS):
        balances, losses, constants = network.equations(values)
        named, told = suspects(readings, network.covariance, balances, losses, LEVEL, constants, doubted, network.lies)
        values = told.values
    first = told
    if named:
        first = reconcile(readings, network.covariance, balances, losses, doubted, constants)
    return Balanced(reading, network, first, tuple(named), told)


def _nothing(values: np.ndarray) -> Reconciled:
    empty = np.zeros((len(values), len(values)))
    return Reconciled(
        values, values, values, np.full(len(values), np.nan), np.zeros(0), 0.0, 0, 1.0, empty, np.zeros(len(values))
    )


def usual_of(plant: Plant, reading: FurnaceReading, past: Sequence[FurnaceReading]) -> dict[str, Expected]:
    """What is expected to be lost unseen at each step of a day, from earlier days of the same furnace (the newest anywhere)."""
    names = {f"{reading.furnace}, furnace to shears": (GUESS_FURNACE, 1)}
    for line in reading.lines:
        names |= {f"{line.line}, {step}": (GUESS_LINE, 1) for step, _ in steps_of(line)}
        names[f"{line.line}, whole line"] = (GUESS_LINE, len(steps_of(line)))
    seen: dict[str, list[tuple[float, float]]] = {name: [] for name in names}
    for day in past:
        for name, share, sd in open_shares(plant, day):
            if name in seen:
                seen[name].append((share, sd))
    lost = {
        name: expected_share([share for share, _ in seen[name]], [sd for _, sd in seen[name]], *guess)
        for name, guess in names.items()
    }
    return lost | _lane_parts(plant, past)


def _lane_parts(plant: Plant, past: Sequence[FurnaceReading]) -> dict[str, Expected]:
    seen: dict[str, list[float]] = {}
    for line in (line for day in past for line in day.lines):
        for _, lanes in steps_of(line):
            total = sum(one.inspected for one in lanes)
            if len(lanes) > 1 and total and all(one.cover >= WHOLE for one in lanes):
                for one in lanes[:-1]:
                    seen.setdefault(lane_part(one.station), []).append(one.inspected / total)
    told = {name: expected_part(parts, plant.uncertainty.station_counts) for name, parts in seen.items()}
    return {name: part for name, part in told.items() if part is not None}


def open_shares(plant: Plant, reading: FurnaceReading) -> list[tuple[str, float, float]]:
    """By step: what the raw readings left open over what passed, and its standard uncertainty. Steps with a silent meter are left out."""
    told = [one for line in reading.lines if line.ware > 0 for one in _of_line(plant, line)]
    if reading.melted and all(line.cut is not None for line in reading.lines) and reading.formed_kg > 0:
        pull = reading.melted - reading.held_back
        kg = [(line.cut or 0) * line.gob_g * line.melt_part * KG for line in reading.lines]
        weights = np.hypot(plant.uncertainty.weight, plant.uncertainty.gobs_cut) / 100
        sd = np.hypot(plant.uncertainty.melt / 100 * reading.melted, weights * np.linalg.norm(kg))
        told.append((f"{reading.furnace}, furnace to shears", (pull - sum(kg)) / sum(kg), float(sd) / sum(kg)))
    return told


def _of_line(plant: Plant, line: LineReading) -> list[tuple[str, float, float]]:
    sure = plant.uncertainty
    told: list[tuple[str, float, float]] = []
    arriving = line.cut - line.hot if line.cut is not None and line.hot is not None else None
    spread = float(np.hypot((line.cut or 0.0) * sure.gobs_cut / 100, line.cut_edge))
    first, rejected = spread, 0.0
    left, whole, error = arriving, arriving is not None, 0.0
    for step, lanes in steps_of(line):
        counted = sum(one.inspected for one in lanes) if lanes else line.packed
        if lanes:
            error = float(np.linalg.norm([one.inspected for one in lanes])) * sure.station_counts / 100
        else:
            error = float(np.hypot((line.packed or 0.0) * sure.packed / 100, line.packed_edge))
        here = counted is not None and all(one.cover >= WHOLE for one in lanes)
        if here and left is not None and counted is not None:
            told.append(
                (f"{line.line}, {step}", (left - counted) / line.ware, float(np.hypot(spread, error)) / line.ware)
            )
        whole &= here
        away = sum(one.rejected for one in lanes)
        rejected += away
        left, spread = (counted - away, error) if here and counted is not None else (None, 0.0)
    if whole and arriving is not None and line.packed is not None:
        sd = float(np.hypot(first, error))
        told.append((f"{line.line}, whole line", (arriving - rejected - line.packed) / line.ware, sd / line.ware))
    return told
