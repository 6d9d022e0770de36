"""How often a trace is right, on simulated works whose escapes are known: run by hand.

    python -m tests.benchmarks.trace [--world both] [--works 4] [--seed 1] [--jobs 2]

Every works runs two days with faults that multiply a defect's rate at one cavity or section by 5, and some by 10 to 40;
the lehr is up to some ten minutes off works.toml, ware takes 1 to 15 min from the last station to the pallet, stations
find each defect with a chance of their own, of which challenges (ten passes three times a day, thirty days) tell. Rough
works besides call falsely, misread numbers, let ware wait on tables and more (sample_feeds.simulator.ROUGH).
Seeds: tests/benchmarks/worlds.py.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.trace.answer import Question, answer_trace
from pipelines.intake import take_in
from pipelines.jobs.signals import days_to_follow, refresh_signals
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.exposure import smallest_cover
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite
from sample_feeds.simulator import Plan, PlannedFault, Simulated, make_plan, simulate, write_feeds
from sample_feeds.simulator.plan import RUN_IN_MIN
from sample_feeds.simulator.rough import reads_moulds as station_reads
from schemas.answers.trace import Trace
from tests.benchmarks.worlds import WORLDS, World, asked_worlds, side_by_side

FIRST = date(2026, 2, 16)
DAYS = 2


@dataclass
class Tally:
    """Yes and no by question, and the pairs behind sums and ratios."""

    right: dict[str, list[bool]] = field(default_factory=dict)
    pallets: list[tuple[float, float, float, int]] = field(default_factory=list)
    units: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def say(self, name: str, right: bool) -> None:
        self.right.setdefault(name, []).append(right)

    def add(self, other: Tally) -> None:
        for name, hits in other.right.items():
            self.right.setdefault(name, []).extend(hits)
        for name, pairs in other.units.items():
            self.units.setdefault(name, []).extend(pairs)
        self.pallets += other.pallets


def faults_for(plan: Plan, rng: np.random.Generator) -> list[PlannedFault]:
    """Faults of one cavity or one section, no two of one defect on a line."""
    found: dict[tuple[str, str], PlannedFault] = {}
    for number in range(24):
        line = str(rng.choice(list(plan.plant.lines)))
        cavities = plan.lines[line].cavities
        section, gob = cavities[int(rng.integers(len(cavities)))]
        scope = "mould" if number % 3 else "section"
        able = {c for s in plan.plant.stations_of(line) for c in (s.sees or tuple(plan.plant.defects))}
        seen = able & set(plan.plant.faults)
        origin = "mould" if scope == "mould" else "timing"
        codes = sorted(
            c for c in seen if plan.plant.defects[c].origin == origin and plan.plant.defects[c].severity != "critical"
        )
        if not codes:
            continue
        code = str(rng.choice(codes))
        members = tuple(f"{line}/{s}{g}" for s, g in cavities if s == section and (scope == "section" or g == gob))
        start = int(rng.integers(RUN_IN_MIN + 360, plan.minutes - 700))
        factor = 5.0 if number % 2 else float(rng.uniform(10, 40))
        found.setdefault(
            (line, code), PlannedFault(scope, line, code, members, start, start + int(rng.integers(240, 500)), factor)
        )
    return list(found.values())


def works(seed: int, world: World) -> Simulated:
    """A works lived through, with everything that differs from its plant file drawn anew."""
    rng = np.random.default_rng(seed)
    plan = make_plan(world.plant(seed), FIRST, DAYS, seed, faults=0, roughness=world.roughness)
    for line in plan.lines.values():
        line.pack_after = float(rng.uniform(1, 15))
    plan.broken = 0.0003
    plan.faults.extend(faults_for(plan, rng))
    plan.rates_of = frozenset(fault.defect for fault in plan.faults)
    simulated = simulate(plan)
    simulated.feeds["challenge_checks"] = pl.concat(
        [earlier_challenges(simulated, rng), simulated.feeds["challenge_checks"]]
    )
    return simulated


def earlier_challenges(simulated: Simulated, rng: np.random.Generator) -> pl.DataFrame:
    """Challenges of the thirty days before."""
    truth, start = simulated.truth["detection"], simulated.plan.cold_from
    severe = [d.code for d in simulated.plan.plant.defect if d.severity != "minor"]
    rows = [
        {
            "checked_at": start - timedelta(hours=8 * n),
            "line": row["line"],
            "station": row["station"],
            "defect": row["defect"],
            "passes": 10,
            "caught": int(rng.binomial(10, row["chance"])),
            "by": "shift",
        }
        for row in truth.filter(pl.col("defect").is_in(severe)).iter_rows(named=True)
        for n in range(1, 91)
    ]
    return (
        pl.DataFrame(rows)
        .select(simulated.feeds["challenge_checks"].columns)
        .cast(dict(simulated.feeds["challenge_checks"].schema))
    )


def taken(simulated: Simulated, root: Path, text: str) -> OpenSite:
    """The works' feeds taken in, lehr times and signals followed."""
    site = Site(root)
    site.inbox.mkdir(parents=True)
    site.works_toml.write_text(text, encoding="utf-8")
    opened = OpenSite(site, Settings(), simulated.plan.plant)
    write_feeds(simulated, site.inbox, every="1d", formats=("parquet",), dirty=False)
    report = take_in(site, simulated.plan.plant, opened.settings)
    refresh_signals(opened, days_to_follow(simulated.plan.plant, [moment for _, moment in report.touched]))
    return opened


def escapes(simulated: Simulated) -> pl.DataFrame:
    """Containers that got past all stations onto a pallet that was reported."""
    packed = simulated.feeds["pallets"].select("pallet", "item")
    return simulated.truth["defects"].filter(pl.col("station").is_null()).join(packed, on="pallet")


def reads_moulds(plant: Plant, line: str, defect: str) -> bool:
    return any(s.can_call(defect) and station_reads(s.id) for s in plant.stations_of(line))


def pallet_and_mould(
    reader: Reader, plant: Plant, simulated: Simulated, tally: Tally, rng: np.random.Generator
) -> None:
    """Mould number and pallet known."""
    drawn = escapes(simulated)
    for row in drawn.sample(min(60, drawn.height), seed=int(rng.integers(1 << 30))).iter_rows(named=True):
        trace = answer_trace(reader, plant, Question(pallet=row["pallet"], mould=row["mould"], defect=row["defect"]))
        first = trace.cavities[0]
        tally.say("mould and pallet: true cavity first", (first.section, first.gob) == (row["section"], row["gob"]))
        tally.say("mould and pallet: forming minute in the 95 % window", first.from_ <= row["formed_at"] <= first.to)


def in_faults(simulated: Simulated) -> Iterator[tuple[PlannedFault, dict[str, object]]]:
    """One escape of each fault, the middle one."""
    every, plan = escapes(simulated), simulated.plan
    for fault in plan.faults:
        places = [m.split("/")[1] for m in fault.members]
        mine = every.filter(
            (pl.col("line") == fault.line)
            & (pl.col("defect") == fault.defect)
            & (pl.col("section").cast(pl.String) + pl.col("gob")).is_in(places)
            & pl.col("formed_at").is_between(plan.at(fault.start), plan.at(fault.end))
        )
        if mine.height:
            yield fault, mine.row(mine.height // 2, named=True)


def unread(reader: Reader, plant: Plant, simulated: Simulated, tally: Tally, rng: np.random.Generator) -> None:
    """Mould number not read: defect, item and a window of four hours known; then the same with the mould number."""
    for fault, row in in_faults(simulated):
        start = _ten(simulated, row["formed_at"] - timedelta(minutes=int(rng.integers(10, 230))))  # type: ignore[operator]
        asked = Question(
            item=str(row["item"]), defect=str(row["defect"]), made_from=start, made_to=start + timedelta(hours=4)
        )
        trace = answer_trace(reader, plant, asked)
        kind = f"x5, {fault.scope}" if fault.factor == 5 else f"x10 to x40, {fault.scope}"
        kind += "" if reads_moulds(plant, fault.line, fault.defect) else ", called only where no mould is read"
        three = [(c.line, c.section, c.gob) for c in trace.cavities[:3]]
        tally.say(
            f"unread, 4 h: true cavity among the first three ({kind})",
            (row["line"], row["section"], row["gob"]) in three,
        )
        _held(trace, simulated, row, asked, "unread, 4 h", tally)
        known = Question(
            item=asked.item,
            line=str(row["line"]),
            mould=str(row["mould"]),
            defect=asked.defect,
            made_from=start,
            made_to=asked.made_to,
        )
        _held(answer_trace(reader, plant, known), simulated, row, known, "mould known, 4 h", tally)


def _ten(simulated: Simulated, moment: datetime) -> datetime:
    minutes = (moment - simulated.plan.start).total_seconds() // 600 * 10
    return simulated.plan.at(minutes)


def _held(trace: Trace, simulated: Simulated, row: dict[str, object], asked: Question, name: str, tally: Tally) -> None:
    """Whether the list holds the true pallet, and its units beside the smallest list that the true rates allow; pallets
    beyond the window left out.
    """
    here = {p.pallet for p in trace.pallets if not p.beyond}
    proposed = [p for p in trace.pallets if p.proposed and not p.beyond]
    tally.say(f"{name}: 95 % list holds the true pallet", row["pallet"] in {p.pallet for p in proposed})
    tally.say(f"{name}: list of everything possible holds it", row["pallet"] in here)
    truth = simulated.truth["expected"].filter(pl.col("defect") == row["defect"])
    if asked.mould is not None:
        truth = truth.filter(
            (pl.col("line") == row["line"]) & (pl.col("section") == row["section"]) & (pl.col("gob") == row["gob"])
        )
    low, high = (
        (moment - simulated.plan.start).total_seconds() // 600 for moment in (asked.made_from, asked.made_to) if moment
    )
    truth = (
        truth.filter((pl.col("ten") >= low) & (pl.col("ten") < high)).group_by("pallet").agg(pl.col("expected").sum())
    )
    truth = truth.join(simulated.feeds["pallets"].filter(pl.col("item") == asked.item), on="pallet")
    units = truth["units"].to_numpy().astype(float)
    chosen = smallest_cover(truth["expected"].to_numpy(), units)
    tally.units.setdefault(name, []).append((sum(p.units for p in proposed), float(units[chosen].sum())))


def calibration(reader: Reader, plant: Plant, simulated: Simulated, tally: Tally) -> None:
    """Expected defective containers on every pallet packed from a fault's time, from all cavities, beside those that
    were there.
    """
    plan = simulated.plan
    counts = escapes(simulated)
    for fault in plan.faults:
        if plan.plant.defects[fault.defect].severity == "minor":
            continue  # never challenged
        start, end = plan.at(fault.start - 60), plan.at(min(fault.end + 60, plan.minutes - 200))
        trace = answer_trace(
            reader, plant, Question(line=fault.line, defect=fault.defect, made_from=start, made_to=end)
        )
        mine = counts.filter(
            (pl.col("line") == fault.line)
            & (pl.col("defect") == fault.defect)
            & pl.col("formed_at").is_between(start, end)
        )
        true = dict(mine.group_by("pallet").len().iter_rows())
        for p in trace.pallets:
            if p.expected_defective is not None and not p.beyond and p.mould_units > 0.5 * p.units:
                tally.pallets.append(
                    (p.expected_defective, p.expected_low or 0.0, p.expected_high or 0.0, true.get(p.pallet, 0))
                )


def rows_of(tally: Tally) -> dict[str, str]:
    """What was measured, by what."""
    rows = {name: f"{100 * np.mean(right):.1f} % of {len(right)}" for name, right in sorted(tally.right.items())}
    for name, pairs in tally.units.items():
        ours, least = np.array(pairs).T
        known = least > 0
        ratio = f"{ours.sum() / least.sum():.3f}; 95th {np.quantile(ours[known] / least[known], 0.95):.2f}"
        rows[f"{name}: units listed / smallest list by true rates"] = ratio
    values = np.array(tally.pallets)
    if not len(values):
        return rows
    parts = {"all": values, "500 with most expected": values[np.argsort(-values[:, 0])[:500]]}
    parts |= {
        f"expected {low:g} to {high:g}": values[(values[:, 0] >= low) & (values[:, 0] < high)]
        for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 100))
    }
    for name, part in parts.items():
        if len(part):
            held = (part[:, 3] >= part[:, 1]) & (part[:, 3] <= part[:, 2])
            sums = part[:, 0].sum(), part[:, 3].sum()
            rows[f"defective on pallets, {name} (n): told / truth"] = f"{sums[0]:.1f} / {sums[1]:.0f} ({len(part)})"
            rows[f"defective on pallets, {name}: interval holds"] = f"{100 * held.mean():.1f} %"
    return rows


def one_works(seed: int, number: int, world: str) -> Tally:
    """One works lived through, taken in and asked."""
    tally, rng = Tally(), np.random.default_rng([seed, number])
    simulated = works(seed * 100 + number, WORLDS[world])
    plant = simulated.plan.plant
    with tempfile.TemporaryDirectory() as folder:
        opened = taken(simulated, Path(folder) / "site", WORLDS[world].text(seed * 100 + number))
        with opened.ledger.reading() as reader:
            pallet_and_mould(reader, plant, simulated, tally, rng)
            unread(reader, plant, simulated, tally, rng)
            calibration(reader, plant, simulated, tally)
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--world", choices=("tidy", "rough", "both"), default="both")
    parser.add_argument("--works", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    rows: dict[str, dict[str, str]] = {}
    with ProcessPoolExecutor(asked.jobs, mp_context=get_context("spawn")) as pool:
        running = {
            world.name: [pool.submit(one_works, asked.seed, n, world.name) for n in range(asked.works)]
            for world in asked_worlds(asked.world)
        }
        for world, futures in running.items():
            tally = Tally()
            for future in futures:
                tally.add(future.result())
            for what, value in rows_of(tally).items():
                rows.setdefault(what, {})[world] = value
    side_by_side(f"trace, seed {asked.seed}", rows)


if __name__ == "__main__":
    main()
