"""How often the map of cavities is right: simulated days with a fault of every kind and without any, against a plain
chart on the same data.

`python -m tests.benchmarks.cavities --seeds 3 --first 930000 [--quiet]` simulates days, takes them in, follows their
signals and asks for the maps of every line by windows of four hours. Printed: maps that name a cavity with no fault in
it; cavities named inside the place of a fault of a section, a gob position, a line or the furnace, of those that could
be; and how often the mould at fault is shown as its signal or named. Plain: each cavity's calls of all defects against
the rate of the other cavities, Poisson, under the same false-discovery rate.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from scipy import stats

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.clock import Span
from pipelines.jobs.signals import refresh_signals
from pipelines.measures.pareto.cavities import MORE, OWN
from pipelines.plant.works import read_plant
from pipelines.settings import Settings
from sample_feeds.simulator import make_plan, simulate, write_feeds
from sample_feeds.simulator.plan import RUN_IN_MIN, Plan, PlannedFault
from tests.conftest import WORKS, Place

DAY = date(2026, 7, 7)
BEGIN, LASTS, WINDOW_H = 13 * 60, 480, 4
KINDS = ("section", "gob", "line", "furnace")


def faults_of(plan: Plan, rng: np.random.Generator) -> list[PlannedFault]:
    """One fault of every kind, no two of one line and defect."""
    start, end = RUN_IN_MIN + BEGIN, RUN_IN_MIN + BEGIN + LASTS
    section, mould = int(rng.integers(1, 9)), int(rng.integers(1, 11))
    every = {
        line.id: tuple(f"{line.id}/{s}{g}" for s in range(1, line.sections + 1) for g in line.gob_positions)
        for line in plan.plant.line
    }
    of = {
        "section": ("K1", "THN", (f"K1/{section}A", f"K1/{section}B"), rng.uniform(8, 25)),
        "gob": ("K4", "LAP", tuple(text for text in every["K4"] if text.endswith("C")), rng.uniform(5, 12)),
        "line": ("K3", "BLI", every["K3"], rng.uniform(4, 9)),
        "furnace": ("K1", "STN", every["K1"] + every["K2"], rng.uniform(4, 9)),
        "mould": ("K3", "CHF", (f"K3/{mould}B",), rng.uniform(15, 50)),
    }
    return [
        PlannedFault(scope, line, code, who, start, end, float(factor))
        for scope, (line, code, who, factor) in of.items()
    ]


def maps_of(seed: int, quiet: bool) -> Iterator[tuple[Plan, MachineNow]]:
    """The maps of a simulated day, every line by windows of WINDOW_H hours once its past is six hours long."""
    plan = make_plan(read_plant(WORKS), DAY, 1, seed=seed, lag_offset=0.0, faults=0)
    if not quiet:
        plan.faults.extend(faults_of(plan, np.random.default_rng(seed)))
    with tempfile.TemporaryDirectory() as folder:
        place = Place(
            Path(folder) / "site", WORKS, Settings(fixed_now=datetime(2026, 7, 8, 4, tzinfo=UTC), lock_wait_s=5)
        )
        write_feeds(simulate(plan), place.site.inbox)
        place.take()
        refresh_signals(place.opened, [DAY])
        with place.opened.ledger.reading() as reader:
            for hours in range(6, 24 - WINDOW_H + 1, WINDOW_H):
                start = plan.cold_from + timedelta(hours=hours)
                span = Span(start, start + timedelta(hours=WINDOW_H))
                for line in plan.plant.lines:
                    yield plan, answer_moulds(reader, place.plant, line, span)


def faulty(plan: Plan, machine: MachineNow) -> dict[str, set[tuple[str, str]]]:
    """By kind of fault, the (cavity, defect) of this map in which faulty ware can have passed."""
    lehr = timedelta(minutes=plan.plant.lines[machine.line].lehr_minutes)
    out: dict[str, set[tuple[str, str]]] = {}
    for fault in plan.faults:
        begin, end = (plan.at(minute) + lehr for minute in (fault.start, fault.end))
        if begin - timedelta(minutes=20) < machine.span.end and end + timedelta(minutes=20) > machine.span.start:
            mine = {
                (member.split("/")[1], fault.defect) for member in fault.members if member.split("/")[0] == machine.line
            }
            out.setdefault(fault.scope, set()).update(mine)
    return out


def plain(machine: MachineNow) -> set[str]:
    """Cavities that a Poisson tail of all their calls against the rate of the others names."""
    calls, ware = (np.array([getattr(c, name) for c in machine.cavities], float) for name in ("calls", "ware"))
    should = ware * (calls.sum() - calls) / np.maximum(ware.sum() - ware, 1.0)
    q = stats.false_discovery_control(stats.poisson.sf(calls - 1, np.maximum(should, 1e-9)))
    return {f"{c.section}{c.gob}" for c, each in zip(machine.cavities, q, strict=True) if each < MORE}


def count(plan: Plan, machine: MachineNow, sums: Counter[str]) -> None:
    """Add a map to the sums."""
    faults = faulty(plan, machine)
    touched = {cavity for cells in faults.values() for cavity, _ in cells}
    named = {(f"{c.section}{c.gob}", cell.defect) for c in machine.cavities for cell in c.cells}
    wrong = {cavity for cavity, defect in named if not any((cavity, defect) in cells for cells in faults.values())}
    sums["maps"] += 1
    sums["maps that name without a fault"] += bool(wrong)
    sums["plain: maps that name without a fault"] += bool(plain(machine) - touched)
    for kind, cells in faults.items():
        sums[f"{kind}: cells"] += len(cells)
        sums[f"{kind}: named"] += len(named & cells)
        sums[f"{kind}: plain named"] += len(plain(machine) & {cavity for cavity, _ in cells})
        if kind == "mould":
            inside = {
                (f"{c.section}{c.gob}", machine.signals[n].defect)
                for c in machine.cavities
                for n in c.signals
                if machine.signals[n].scope == "mould"
            }
            sums["mould: shown by its signal or named"] += len(cells & (inside | named))
    sums["cavities named"] += sum(c.level in OWN for c in machine.cavities)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seeds", type=int, default=3)
    asked.add_argument("--first", type=int, default=930_000)
    asked.add_argument("--quiet", action="store_true")
    options = asked.parse_args()
    sums: Counter[str] = Counter()
    for seed in range(options.first, options.first + options.seeds):
        for plan, machine in maps_of(seed, options.quiet):
            count(plan, machine, sums)
        print(f"seed {seed}: " + "; ".join(f"{name} {n}" for name, n in sorted(sums.items())), flush=True)


if __name__ == "__main__":
    main()
