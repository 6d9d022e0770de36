"""How many defective containers lie on the pallets, and which station is blind, on simulated works whose truth is
known: run by hand.

    python -m tests.benchmarks.escapes --works 6 --seed 52000

Two days of a rough works (false calls of 0.05 to 0.3 % a station, detection 0.75 to 0.99, stations in a row) or of the
tidy one. Every third station is never challenged, the others three times a day for thirty days before. In every second
works one challenged station goes blind to one defect (finds 5 %) for eight to twenty hours. Beside the tool: found x (1
- d) / d by the pooled challenges, stations never challenged left out.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.trace.line_ware import stays_of, views_of_defects
from pipelines.answers.trace.trust import Vouching, is_usual, ranked_doubts, vouching
from pipelines.clock import Span
from pipelines.intake import take_in
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.escapes import carried
from pipelines.measures.trace.exposure import counted
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite
from sample_feeds.simulator import ROUGH, Dimmed, Simulated, make_plan, rough_works, simulate, write_feeds
from tests.benchmarks.trace import earlier_challenges

FIRST, DAYS = date(2026, 2, 16), 2
SAMPLES = Path(__file__).parents[2] / "sample_feeds"
CHALLENGED = ("critical", "major")


@dataclass
class Tally:
    """By pallet: told, low, high, true, plain. By line and defect: the same. ranks: of the blind station; daily: doubts
    shown a day without one.
    """

    pallets: list[tuple[float, ...]] = field(default_factory=list)
    lines: list[tuple[float, ...]] = field(default_factory=list)
    ranks: list[int] = field(default_factory=list)
    daily: list[int] = field(default_factory=list)


def works(seed: int, rough: bool, blind: bool) -> tuple[Simulated, str]:
    """A works lived through, and its plant file."""
    rng = np.random.default_rng([seed, 70])
    text = rough_works(seed) if rough else (SAMPLES / "works.toml").read_text(encoding="utf-8")
    plant = read_plant(text)
    silent = [s.id for n, s in enumerate(plant.station) if n % 3 == seed % 3]
    plan = make_plan(plant, FIRST, DAYS, seed, faults=6, roughness=ROUGH if rough else None)
    if blind:
        station = plant.stations[str(rng.choice([s for s in plant.stations if s not in silent]))]
        code = str(rng.choice([c for c, d in plant.faults.items() if station.can_call(c) and d.severity in CHALLENGED]))
        start = int(rng.integers(600, plan.minutes - 1400))
        plan.dimmed.append(Dimmed(station.id, code, start, start + int(rng.integers(480, 1200)), 0.05))
    simulated = simulate(plan)
    every = pl.concat([earlier_challenges(simulated, rng), simulated.feeds["challenge_checks"]])
    simulated.feeds["challenge_checks"] = every.filter(~pl.col("station").is_in(silent))
    return simulated, text


def taken(simulated: Simulated, text: str, root: Path) -> OpenSite:
    """The works' feeds taken in; no signals are needed."""
    site = Site(root)
    site.inbox.mkdir(parents=True)
    site.works_toml.write_text(text, encoding="utf-8")
    write_feeds(simulated, site.inbox, every="1d", formats=("parquet",), dirty=False)
    opened = OpenSite(site, Settings(), simulated.plan.plant)
    take_in(site, simulated.plan.plant, opened.settings)
    return opened


def plain(plant: Plant, known: Vouching, line: str, code: str, calls: int) -> float:
    """Found x (1 - d) / d, d by pooled challenges; 0 where none were made."""
    rate = known.detection(line, code).rate
    return calls * (1 - rate) / max(rate, 1e-3) if rate is not None else 0.0


def measured(reader: Reader, simulated: Simulated, tally: Tally) -> None:
    """Every line and defect that is not minor, over the second day."""
    plan, plant = simulated.plan, simulated.plan.plant
    span = Span(plan.at(900), plan.at(plan.minutes - 300))
    known = vouching(reader, plant, span)
    gone = simulated.truth["defects"].filter(pl.col("station").is_null() & pl.col("pallet").is_not_null())
    for line in plant.lines:
        codes = [
            c
            for c, d in plant.faults.items()
            if d.severity in CHALLENGED and any(s.can_call(c) for s in plant.stations_of(line))
        ]
        calls = (
            reader.ask("calls", line=line, from_time=span.start, to_time=span.end)
            .group_by("defect")
            .agg(pl.col("calls").sum())
        )
        sums = dict(calls.iter_rows())
        for code, view in views_of_defects(reader, plant, line, span, codes, known).items():
            whole = carried(view.exposure(stays_of(reader, [line], span)))
            mine = gone.filter(
                (pl.col("line") == line)
                & (pl.col("defect") == code)
                & pl.col("formed_at").is_between(span.start, span.end)
            )
            true = dict(mine.group_by("pallet").len().iter_rows())
            names = view.pallets["pallet"].to_list()
            tally.pallets += [
                (float(m), float(lo), float(hi), true.get(p, 0))
                for p, m, lo, hi in zip(names, whole.mean, whole.low, whole.high, strict=True)
                if m > 0
            ]
            ends = counted(np.array([whole.total]), np.array([whole.variance]))[0]
            on = sum(true.get(p, 0) for p in names)
            severe = float(plant.defects[code].severity == "critical")
            tally.lines.append(
                (whole.total, ends.low, ends.high, on, plain(plant, known, line, code, sums.get(code, 0)), severe)
            )


def doubted(reader: Reader, simulated: Simulated, tally: Tally) -> None:
    """Where the blind station stands among the doubts; how many are shown a day without one."""
    plan, plant = simulated.plan, simulated.plan.plant
    for day in (plant.clock.day(FIRST + timedelta(days=n)) for n in range(DAYS)):
        known = vouching(reader, plant, day)
        shown = [d for d in ranked_doubts(known, day) if not is_usual(known, d)]
        if not plan.dimmed:
            tally.daily.append(len(shown))
    if plan.dimmed:
        dimmed, whole = plan.dimmed[0], Span(plan.at(one_start := plan.dimmed[0].start), plan.at(one_start + 1200))
        known = vouching(reader, plant, whole)
        kinds = [(d.station, d.defect) for d in ranked_doubts(known, whole)]
        tally.ranks.append(
            kinds.index((dimmed.station, dimmed.defect)) + 1 if (dimmed.station, dimmed.defect) in kinds else 999
        )


def report(tally: Tally, name: str) -> Iterator[str]:
    for what, rows in (("pallets", tally.pallets), ("lines x defects", tally.lines)):
        values = np.array(rows)
        held = (values[:, 3] >= values[:, 1]) & (values[:, 3] <= values[:, 2])
        yield (
            f"{name}, {what} ({len(values)}): told {values[:, 0].sum():.0f}, true {values[:, 3].sum():.0f}, ratio "
            f"{values[:, 0].sum() / values[:, 3].sum():.3f}; held {100 * held.mean():.1f} %"
        )
    lines = np.array(tally.lines)
    yield f"  plain {lines[:, 4].sum():.0f}, ratio {lines[:, 4].sum() / lines[:, 3].sum():.3f}"
    for label, part in (("critical", lines[lines[:, 5] == 1]), ("major", lines[lines[:, 5] == 0])):
        yield f"  {label}: told {part[:, 0].sum():.1f}, true {part[:, 3].sum():.0f}"
    yield f"  blind station's rank {sorted(tally.ranks)}; doubts shown a day without one {sorted(tally.daily)}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--works", type=int, default=6)
    parser.add_argument("--seed", type=int, default=52_000)
    parser.add_argument("--tidy", action="store_true")
    asked, tally = parser.parse_args(), Tally()
    for number in range(asked.works):
        simulated, text = works(asked.seed + number, not asked.tidy, bool(number % 2))
        root = Path(tempfile.mkdtemp())
        with taken(simulated, text, root / "site").ledger.reading() as reader:
            measured(reader, simulated, tally)
            doubted(reader, simulated, tally)
        shutil.rmtree(root)
        print(f"works {number + 1} of {asked.works}", flush=True)
    print("\n".join(report(tally, "tidy" if asked.tidy else "rough")))


if __name__ == "__main__":
    main()
