"""Readings of a furnace's day drawn without feeds: true flows, and what imperfect meters make of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.yields.network import FurnaceReading, LineReading, StationReading
from pipelines.plant.works import Plant

EDGE = 0.0003  # of a line's gobs: what the day's limits leave uncertain


@dataclass(frozen=True)
class TrueLine:
    line: str
    cut: int
    hot: int
    mass_g: float
    stations: tuple[tuple[str, int, float, int], ...]  # id, order, inspected, rejected
    good: float


@dataclass(frozen=True)
class TrueDay:
    furnace: str
    lines: tuple[TrueLine, ...]
    melted: float
    held: float

    @property
    def pack_to_melt(self) -> float:
        return sum(line.good * line.mass_g for line in self.lines) / 1000 / self.melted


@dataclass(frozen=True)
class State:
    """What stays the same from day to day: the share that leaves unseen before the shears, and that breaks at each step
    of a line.
    """

    unseen: float
    broken: dict[str, np.ndarray]


def works_state(rng: np.random.Generator, plant: Plant, furnace: str) -> State:
    broken = {line.id: np.abs(rng.normal(0, 0.0008, 5)) for line in plant.lines_of(furnace)}
    return State(abs(float(rng.normal(0, 0.005))), broken)


def day_of(rng: np.random.Generator, plant: Plant, furnace: str, state: State) -> TrueDay:
    """A day's true flows; the unseen loss moves by 15 % from day to day."""
    lines = tuple(_line(rng, plant, line.id, state.broken[line.id]) for line in plant.lines_of(furnace))
    cut = sum(line.cut * line.mass_g for line in lines) / 1000
    held = float(rng.normal(0, 60))
    return TrueDay(furnace, lines, cut / (1 - state.unseen * rng.normal(1, 0.15)) + held, held)


def _line(rng: np.random.Generator, plant: Plant, line: str, broken: np.ndarray) -> TrueLine:
    machine = plant.lines[line]
    cut = int(machine.sections * machine.gobs * rng.uniform(8, 10) * 1440 * rng.uniform(0.93, 0.99))
    hot = int(rng.binomial(cut, 0.012))
    ware, stations = cut - hot, []
    for number, order in enumerate(sorted({s.order for s in plant.stations_of(line)})):
        ware -= int(rng.binomial(ware, broken[number]))
        lanes = [s for s in plant.stations_of(line) if s.order == order]
        seen = rng.multinomial(ware, [1 / len(lanes)] * len(lanes))
        for station, inspected in zip(lanes, seen, strict=True):
            rejected = int(rng.binomial(inspected, 0.012))
            stations.append((station.id, order, float(inspected), rejected))
            ware -= rejected
    good = ware - int(rng.binomial(ware, broken[4]))
    return TrueLine(line, cut, hot, 206.0, tuple(stations), float(good))


def read(rng: np.random.Generator, plant: Plant, day: TrueDay, liar: str = "", lie: float = 3.0) -> FurnaceReading:
    """What the meters read: honest ones off by N(0, uncertainty), the liar by `lie` uncertainties."""
    sure = plant.uncertainty

    def off(name: str, pct: float) -> float:
        return 1 + (lie if name == liar else float(rng.normal())) * pct / 100

    lines = []
    for line in day.lines:
        stations = tuple(
            StationReading(
                s,
                order,
                seen * off(f"{s} inspected", sure.station_counts),
                away * off(f"{s} rejected", sure.station_counts),
            )
            for s, order, seen, away in line.stations
        )
        mass, edge = line.mass_g * off(f"{line.line} weight", sure.weight), EDGE * line.cut
        lines.append(
            LineReading(
                line.line,
                line.cut * off(f"{line.line} gobs cut", sure.gobs_cut) + rng.normal(0, edge),
                line.hot * off(f"{line.line} hot rejects", sure.station_counts),
                mass,
                mass,
                line.good * off(f"{line.line} packed", sure.packed) + rng.normal(0, 20),
                stations,
                cut_edge=edge,
                packed_edge=20.0,
            )
        )
    return FurnaceReading(day.furnace, day.melted * off(f"{day.furnace} melt log", sure.melt), day.held, tuple(lines))
