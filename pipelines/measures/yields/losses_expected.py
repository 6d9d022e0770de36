"""What a furnace and its lines are expected to lose unseen, from their own earlier days."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipelines.measures.yields.network import KG, WHOLE, FurnaceReading, LineReading, steps_of
from pipelines.measures.yields.usual_losses import GUESS_FURNACE, GUESS_LINE, ExpectedLosses, expected_share
from pipelines.plant.works import Plant


def usual_of(plant: Plant, reading: FurnaceReading, past: Sequence[FurnaceReading]) -> dict[str, ExpectedLosses]:
    """What is expected to be lost unseen at each step of a day, from earlier days of the same furnace (the newest
    anywhere).
    """
    names = {f"{reading.furnace}, furnace to shears": (GUESS_FURNACE, 1)}
    for line in reading.lines:
        names |= {f"{line.line}, {step}": (GUESS_LINE, 1) for step, _ in steps_of(line)}
        names[f"{line.line}, whole line"] = (GUESS_LINE, len(steps_of(line)))
    seen: dict[str, list[tuple[float, float]]] = {name: [] for name in names}
    for day in past:
        for name, share, sd in open_shares(plant, day):
            if name in seen:
                seen[name].append((share, sd))
    return {
        name: expected_share([share for share, _ in seen[name]], [sd for _, sd in seen[name]], *guess)
        for name, guess in names.items()
    }


def open_shares(plant: Plant, reading: FurnaceReading) -> list[tuple[str, float, float]]:
    """By step: what the raw readings left open over what passed, and its standard uncertainty. Steps with a silent
    meter are left out.
    """
    rows = [found for line in reading.lines if line.ware > 0 for found in _of_line(plant, line)]
    if reading.melted and all(line.cut is not None for line in reading.lines) and reading.formed_kg > 0:
        pull = reading.melted - reading.held_back
        kg = [(line.cut or 0) * line.gob_g * line.melt_part * KG for line in reading.lines]
        weights = np.hypot(plant.uncertainty.weight, plant.uncertainty.gobs_cut) / 100
        sd = np.hypot(plant.uncertainty.melt / 100 * reading.melted, weights * np.linalg.norm(kg))
        rows.append((f"{reading.furnace}, furnace to shears", (pull - sum(kg)) / sum(kg), float(sd) / sum(kg)))
    return rows


def _of_line(plant: Plant, line: LineReading) -> list[tuple[str, float, float]]:
    sure = plant.uncertainty
    rows: list[tuple[str, float, float]] = []
    arriving = line.cut - line.hot if line.cut is not None and line.hot is not None else None
    spread = float(np.hypot((line.cut or 0.0) * sure.gobs_cut / 100, line.cut_edge))
    first, rejected = spread, 0.0
    left, whole, error = arriving, arriving is not None, 0.0
    for step, lanes in steps_of(line):
        counted = sum(lane.inspected for lane in lanes) if lanes else line.packed
        if lanes:
            error = float(np.linalg.norm([lane.inspected for lane in lanes])) * sure.station_counts / 100
        else:
            error = float(np.hypot((line.packed or 0.0) * sure.packed / 100, line.packed_edge))
        here = counted is not None and all(lane.cover >= WHOLE for lane in lanes)
        if here and left is not None and counted is not None:
            rows.append(
                (f"{line.line}, {step}", (left - counted) / line.ware, float(np.hypot(spread, error)) / line.ware)
            )
        whole &= here
        away = sum(lane.rejected for lane in lanes)
        rejected += away
        left, spread = (counted - away, error) if here and counted is not None else (None, 0.0)
    if whole and arriving is not None and line.packed is not None:
        sd = float(np.hypot(first, error))
        rows.append((f"{line.line}, whole line", (arriving - rejected - line.packed) / line.ware, sd / line.ware))
    return rows
