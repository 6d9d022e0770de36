"""Furnace-days with one lying meter, drawn without feeds: off by 3 of its uncertainties or by 1 to 2 %, from the first
day or later.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipelines.measures.yields.balance import balanced
from pipelines.measures.yields.explanations import LISTED
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.plant.works import Plant, read_plant
from tests.benchmarks.yield_readings import day_of, read, works_state

KINDS = ("melt", "cut", "packed", "weight", "inspected")
SIZES = ("3 sigma", "1 to 2 %")
# earlier days, and the first of all that lies
WHEN = {
    "first day": (0, 0),
    "10 days, from the first": (9, 0),
    "30 days, from the first": (29, 0),
    "from day 20 of 30": (29, 20),
    "today only": (29, 29),
}


@dataclass(frozen=True)
class Lied:
    """The truth, what was told (None: a range), and whether the liar, or another meter, was named."""

    truth: float
    value: float | None
    low: float
    high: float
    named: bool
    listed: bool
    wrongly: bool


def cases() -> Iterator[tuple[str, str, str]]:
    """Every kind of meter, size of lie and time."""
    return ((kind, size, when) for kind in KINDS for size in SIZES for when in WHEN)


def lied_to(job: tuple[str, str, str, str, int]) -> Lied:
    """One furnace-day: works.toml, kind of meter, size, when, seed; either sign."""
    works, kind, size, when, seed = job
    past_days, first = WHEN[when]
    plant, rng = read_plant(works), np.random.default_rng([seed, past_days, first, len(size)])
    furnace = str(rng.choice(list(plant.furnaces)))
    meter, pct = _meter(rng, plant, furnace, kind)
    lie = float(rng.choice([-1.0, 1.0]) * (3.0 if size == "3 sigma" else rng.uniform(1, 2) / pct))
    state = works_state(rng, plant, furnace)
    truths = [day_of(rng, plant, furnace, state) for _ in range(past_days + 1)]
    days = [read(rng, plant, truth, meter if n >= first else "", lie) for n, truth in enumerate(truths)]
    made = balanced(plant, days[-1], usual_of(plant, days[-1], days[:-1]), days[:-1])
    value = made.pack_to_melt()
    assert value is not None and value.low is not None and value.high is not None
    listed = made.blamed().get(meter, 0.0) >= LISTED
    wrongly = any(name != meter for name in made.accused)
    return Lied(truths[-1].pack_to_melt, value.value, value.low, value.high, meter in made.accused, listed, wrongly)


def _meter(rng: np.random.Generator, plant: Plant, furnace: str, kind: str) -> tuple[str, float]:
    """A meter of a kind with its stated uncertainty in percent."""
    sure, line = plant.uncertainty, str(rng.choice([this_line.id for this_line in plant.lines_of(furnace)]))
    station = str(rng.choice([this_station.id for this_station in plant.stations_of(line)]))
    return {
        "melt": (f"{furnace} melt log", sure.melt),
        "cut": (f"{line} gobs cut", sure.gobs_cut),
        "packed": (f"{line} packed", sure.packed),
        "weight": (f"{line} weight", sure.weight),
        "inspected": (f"{station} inspected", sure.station_counts),
    }[kind]


def summed_lies(kind: str, size: str, when: str, lies: list[Lied]) -> str:
    """One line of figures."""
    inside = 100 * np.mean([lied.low <= lied.truth <= lied.high for lied in lies])
    width = 100 * np.mean([lied.high - lied.low for lied in lies])
    named, listed, wrongly = (
        100 * np.mean([getattr(lied, name) for lied in lies]) for name in ("named", "listed", "wrongly")
    )
    ranges = 100 * np.mean([lied.value is None for lied in lies])
    return (
        f"    {kind:<10} {size:<8} {when:<24} n {len(lies):4d}  holds {inside:5.1f} %, width {width:.2f}, a range "
        f"{ranges:3.0f} %; the liar named {named:3.0f} %, listed {listed:3.0f} %, another named {wrongly:4.1f} %"
    )
