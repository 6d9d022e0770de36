"""What happens at the invented works: jobs, moulds, stoppages, faults, drift. Drawn from a seed before anything
runs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

from pipelines.plant.works import Plant
from sample_feeds.simulator.rough import Drawn, Roughness, draw
from sample_feeds.simulator.set_aside import Aside, LookAlike, draw_asides, draw_look_alikes

RUN_IN_MIN = 300  # forming before the first cold-end minute, so that the lehr is full when the feeds begin
PACK_AFTER_MIN = 3.0  # from the last station to the pallet
SCOPES = ("mould", "section", "gob", "line", "furnace", "station")
DISPERSION = 0.35  # coefficient of variation of a defect's rate from hour to hour


@dataclass(frozen=True)
class PlannedFault:
    """A defect's rate multiplied at some cavities (or called falsely by one station) from one minute to another.

    members: mould places as (line, section, gob) for ware; the station's id for a station's fault.
    start, end: minutes from the first forming minute.  drift: the factor grows from 1 over the whole time.
    """

    scope: str
    line: str
    defect: str
    members: tuple[str, ...]
    start: int
    end: int
    factor: float
    drift: bool = False


@dataclass(frozen=True)
class Fitting:
    """A mould number at a cavity from a minute on."""

    minute: int
    cavity: int
    number: str
    item: str


@dataclass(frozen=True)
class Stop:
    """A section (from 1), or the whole machine (0), that stood from one minute to another."""

    section: int
    start: int
    end: int
    cause: str


@dataclass(frozen=True)
class Dimmed:
    """A station that finds a defect with a lower chance from one minute to another: a lamp gone, a sensor off its
    place.
    """

    station: str
    defect: str
    start: int
    end: int
    chance: float


@dataclass(frozen=True)
class GobDrift:
    """One gob position grows heavier by `grams` from one minute to another, and stays so until somebody corrects the
    feeder at `until`.
    """

    line: str
    gob: str
    start: int
    end: int
    grams: float
    until: int


@dataclass(frozen=True)
class DensityStep:
    """A furnace's glass changes its density from a minute on [g/cm3]."""

    furnace: str
    minute: int
    by_g_cm3: float


@dataclass(frozen=True)
class PlannedAction:
    """What somebody did against a fault, and what came of it: `cured` (the fault ends with the ware formed then),
    `none`, or `worse`.
    """

    minute: int
    line: str
    kind: str
    section: int
    gob: str
    station: str
    defect: str
    value: float | None
    outcome: str


@dataclass(frozen=True)
class PartEffect:
    """A mould makes a defect so many times as often as the cavity would, wherever it is fitted."""

    line: str
    number: str
    defect: str
    factor: float


@dataclass(frozen=True)
class Exchange:
    """Two cavities of a line exchanged their moulds at a minute."""

    line: str
    minute: int
    cavities: tuple[int, int]
    numbers: tuple[str, str]


@dataclass
class LinePlan:
    """Everything that is settled for one line before it runs."""

    line: str
    cavities: list[tuple[int, str]]
    per_minute: float
    lag_offset: float
    fittings: list[Fitting] = field(default_factory=list)
    jobs: list[tuple[int, str, str]] = field(default_factory=list)
    stops: list[Stop] = field(default_factory=list)
    drift_gob: str = "A"
    drift_g_per_day: float = 0.0
    unread: float = 0.03
    pack_after: float = PACK_AFTER_MIN


@dataclass
class Plan:
    """The plan of the works. `start` is the first forming minute, in UTC; cold-end feeds begin RUN_IN_MIN later."""

    plant: Plant
    seed: int
    start: datetime
    cold_from: datetime
    minutes: int
    lines: dict[str, LinePlan]
    faults: list[PlannedFault]
    window_s: int = 60
    # share of the ware that breaks or falls unseen at each step: in the lehr, before each station, at packing
    broken: float = 0.0
    # share of a furnace's glass that no counter sees, where not UNSEEN_LOSS
    unseen: dict[str, float] = field(default_factory=dict)
    dimmed: list[Dimmed] = field(default_factory=list)
    gob_drifts: list[GobDrift] = field(default_factory=list)
    density_steps: list[DensityStep] = field(default_factory=list)
    rates_of: frozenset[str] = frozenset()  # defects whose true rates are kept, for truth["expected"]
    rough: Drawn = field(default_factory=Drawn)
    asides: list[Aside] = field(default_factory=list)
    look_alikes: list[LookAlike] = field(default_factory=list)
    actions: list[PlannedAction] = field(default_factory=list)
    part_effects: list[PartEffect] = field(default_factory=list)
    exchanges: list[Exchange] = field(default_factory=list)

    def at(self, minute: float) -> datetime:
        return self.start + timedelta(minutes=float(minute))


_ITEMS = {
    "K1": (("J370",), ("O250",)),
    "K2": (("P100", "P200", "P250"),),
    "K3": (("B500",), ("B330",)),
    "K4": (("B330",),),
}
_CAUSES = ("swab", "mould change", "delivery jam", "gob off course", "neck ring change")


def make_plan(
    plant: Plant,
    first: date,
    days: int,
    seed: int,
    *,
    lag_offset: float | None = None,
    faults: int = 8,
    roughness: Roughness | None = None,
) -> Plan:
    """A plan for `days` production days from `first`. The same seed makes the same works, to the container.

    lag_offset: minutes by which every line's true lehr time differs from works.toml; drawn when not given.
    faults: how many faults; every scope occurs once before any occurs twice.
    roughness: switches of sample_feeds.simulator.rough; without them the tidy works.
    """
    rng = np.random.default_rng([seed, 1])
    cold_from = plant.clock.day(first).start
    until = plant.clock.day(first + timedelta(days=days - 1)).end
    minutes = RUN_IN_MIN + int((until - cold_from).total_seconds() // 60)
    lines = {
        line.id: _line_plan(plant, line.id, minutes, rng, lag_offset if lag_offset is not None else rng.normal(0, 4))
        for line in plant.line
    }
    plan = Plan(plant, seed, cold_from - timedelta(minutes=RUN_IN_MIN), cold_from, minutes, lines, [])
    plan.rough = draw(plant, roughness or Roughness(), seed)
    plan.asides, plan.look_alikes = draw_asides(plan), draw_look_alikes(plan)
    plan.faults.extend(_fault(plan, SCOPES[n % len(SCOPES)], n, rng) for n in range(faults))
    return plan


def _items_of(plant: Plant, line: str) -> tuple[tuple[str, ...], ...]:
    known = tuple(tuple(i for i in items if i in plant.items) for items in _ITEMS.get(line, ()))
    if known and all(known):
        return known
    ids = tuple(plant.items)
    at = list(plant.lines).index(line)
    return ((ids[at % len(ids)],), (ids[(at + 1) % len(ids)],))


def _line_plan(plant: Plant, line: str, minutes: int, rng: np.random.Generator, offset: float) -> LinePlan:
    machine = plant.lines[line]
    cavities = [(section, gob) for section in range(1, machine.sections + 1) for gob in machine.gob_positions]
    plan = LinePlan(line, cavities, per_minute=float(rng.uniform(7.5, 10.5)), lag_offset=float(offset))
    plan.drift_gob = str(rng.choice(machine.gob_positions))
    plan.drift_g_per_day = float(rng.normal(0, 0.6))
    plan.unread = float(rng.uniform(0.01, 0.05))
    sets = _items_of(plant, line)
    _jobs_and_moulds(plan, sets, minutes, rng)
    _stops(plan, machine.sections, minutes, rng)
    return plan


def _jobs_and_moulds(plan: LinePlan, sets: tuple[tuple[str, ...], ...], minutes: int, rng: np.random.Generator) -> None:
    change = int(rng.integers(1900, 2600)) if len(sets) > 1 and minutes > 3000 else None
    starts = [(-20 * 1440, sets[0])] + ([(change, sets[1])] if change else [])
    used = 10
    for minute, items in starts:
        name = f"{plan.line}-{used:03d}"
        plan.jobs.append((minute, name, items[0] if len(items) == 1 else ""))
        for cavity in range(len(plan.cavities)):
            used += 1
            plan.fittings.append(Fitting(minute, cavity, str(used), items[cavity % len(items)]))
    if change:
        plan.stops.append(Stop(0, change - 90, change, "job change"))
    for _ in range(max(1, minutes * 3 // 1440)):
        minute, cavity = int(rng.integers(400, minutes - 60)), int(rng.integers(len(plan.cavities)))
        if change and abs(minute - change) < 150:
            continue
        used += 1
        item = max((f for f in plan.fittings if f.cavity == cavity and f.minute <= minute), key=lambda f: f.minute).item
        plan.fittings.append(Fitting(minute, cavity, str(used), item))
        plan.stops.append(Stop(plan.cavities[cavity][0], minute - 6, minute, "mould change"))
    plan.fittings.sort(key=lambda f: f.minute)


def _stops(plan: LinePlan, sections: int, minutes: int, rng: np.random.Generator) -> None:
    for _ in range(rng.poisson(minutes / 1440 * 5)):
        start = int(rng.integers(0, minutes - 30))
        section = 0 if rng.random() < 0.08 else int(rng.integers(1, sections + 1))
        end = start + int(rng.integers(3, 40 if section else 15))
        if all(end < s.start or start > s.end for s in plan.stops if s.section in (section, 0) or section == 0):
            plan.stops.append(Stop(section, start, end, str(rng.choice(_CAUSES))))
    plan.stops.sort(key=lambda s: s.start)


def _fault(plan: Plan, scope: str, number: int, rng: np.random.Generator) -> PlannedFault:
    plant = plan.plant
    line = list(plant.lines)[int(rng.integers(len(plant.lines)))]
    start = int(rng.integers(RUN_IN_MIN + 60, max(RUN_IN_MIN + 120, plan.minutes - 400)))
    end = min(plan.minutes, start + int(rng.integers(150, 700)))
    if scope == "station":
        station = plant.stations_of(line)[int(rng.integers(len(plant.stations_of(line))))]
        codes = [c for c in (station.sees or tuple(plant.defects)) if plant.defects[c].severity == "minor"] or list(
            station.sees or plant.defects
        )
        return PlannedFault(scope, line, str(rng.choice(codes)), (station.id,), start, end, float(rng.uniform(10, 25)))
    seen = {code for station in plant.stations_of(line) for code in (station.sees or plant.defects)}
    origins = {
        "mould": ("mould",),
        "section": ("timing",),
        "gob": ("gob",),
        "line": ("gob", "lehr"),
        "furnace": ("glass",),
    }[scope]
    codes = sorted(c for c in seen if plant.defects[c].origin in origins) or sorted(seen)
    members = _members(plan, scope, line, rng)
    return PlannedFault(
        scope,
        line,
        str(rng.choice(codes)),
        members,
        start,
        end,
        float(rng.uniform(5, 12)),
        drift=number % 4 == 3,
    )


def _members(plan: Plan, scope: str, line: str, rng: np.random.Generator) -> tuple[str, ...]:
    cavities = plan.lines[line].cavities
    section, gob = cavities[int(rng.integers(len(cavities)))]
    if scope == "furnace":
        furnace = plan.plant.lines[line].furnace
        lines = [this_line.id for this_line in plan.plant.lines_of(furnace)]
        return tuple(f"{each}/{s}{g}" for each in lines for s, g in plan.lines[each].cavities)
    chosen = {
        "mould": [(section, gob)],
        "section": [c for c in cavities if c[0] == section],
        "gob": [c for c in cavities if c[1] == gob],
        "line": cavities,
    }[scope]
    return tuple(f"{line}/{s}{g}" for s, g in chosen)
