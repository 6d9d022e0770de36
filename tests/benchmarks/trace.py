"""How often a trace is right, on simulated works whose escapes are known: run by hand.

    python -m tests.benchmarks.trace --works 12 --seed 31000

Every works runs two days with faults that multiply a defect's rate at one cavity or section by 5, and some by 10 to 40; the lehr is up to some ten minutes off
works.toml, ware takes 1 to 15 min from the last station to the pallet, stations find each defect with a chance of their own, of which challenges (ten passes three times a day, thirty days) tell.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.trace import Question, answer_trace
from pipelines.intake import take_in
from pipelines.ledger.store import Reader
from pipelines.measures.exposure import smallest_cover
from pipelines.plant import Plant, read_plant
from pipelines.settings import Settings, Site
from pipelines.site import OpenSite
from pipelines.work.signals import days_to_follow, refresh_signals
from sample_feeds.simulator import Fault, Plan, Simulated, make_plan, simulate, write_feeds
from sample_feeds.simulator.plan import RUN_IN_MIN
from schemas.quality import Trace

FIRST = date(2026, 2, 16)
DAYS = 2
SAMPLES = Path(__file__).parents[2] / "sample_feeds"


@dataclass
class Tally:
    """Yes and no by question, and the pairs behind sums and ratios."""

    right: dict[str, list[bool]] = field(default_factory=dict)
    pallets: list[tuple[float, float, float, int]] = field(default_factory=list)
    units: dict[str, list[tuple[float, float]]] = field(default_factory=dict)

    def say(self, name: str, right: bool) -> None:
        self.right.setdefault(name, []).append(right)


def faults_for(plan: Plan, rng: np.random.Generator) -> list[Fault]:
    """Faults of one cavity or one section, no two of one defect on a line."""
    found: dict[tuple[str, str], Fault] = {}
    for number in range(24):
        line = str(rng.choice(list(plan.plant.lines)))
        cavities = plan.lines[line].cavities
        section, gob = cavities[int(rng.integers(len(cavities)))]
        scope = "mould" if number % 3 else "section"
        seen = {c for s in plan.plant.stations_of(line) for c in (s.sees or tuple(plan.plant.defects))}
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
            (line, code), Fault(scope, line, code, members, start, start + int(rng.integers(240, 500)), factor)
        )
    return list(found.values())


def works(seed: int, plant: Plant) -> Simulated:
    """A works lived through, with everything that differs from its plant file drawn anew."""
    rng = np.random.default_rng(seed)
    plan = make_plan(plant, FIRST, DAYS, seed, faults=0)
    for line in plan.lines.values():
        line.pack_after = float(rng.uniform(1, 15))
    plan.broken = 0.0003
    plan.faults.extend(faults_for(plan, rng))
    plan.rates_of = frozenset(fault.defect for fault in plan.faults)
    simulated = simulate(plan)
    simulated.feeds["challenge_checks"] = pl.concat([_earlier(simulated, rng), simulated.feeds["challenge_checks"]])
    return simulated


def _earlier(simulated: Simulated, rng: np.random.Generator) -> pl.DataFrame:
    """Challenges of the thirty days before."""
    truth, start = simulated.truth["detection"], simulated.plan.cold_from
    severe = [d.code for d in simulated.plan.plant.defect if d.severity != "minor"]
    rows = [
        {
            "checked_at": start - timedelta(hours=8 * n), "line": row["line"], "station": row["station"], "defect": row["defect"], "passes": 10,
            "caught": int(rng.binomial(10, row["chance"])), "by": "shift",
        }
        for row in truth.filter(pl.col("defect").is_in(severe)).iter_rows(named=True)
        for n in range(1, 91)
    ]  # fmt: skip
    return (
        pl.DataFrame(rows)
        .select(simulated.feeds["challenge_checks"].columns)
        .cast(dict(simulated.feeds["challenge_checks"].schema))
    )


def taken(simulated: Simulated, root: Path) -> OpenSite:
    """The works' feeds taken in, lehr times and signals followed."""
    site = Site(root)
    site.inbox.mkdir(parents=True)
    site.works_toml.write_text((SAMPLES / "works.toml").read_text(encoding="utf-8"), encoding="utf-8")
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
    return any(s.can_call(defect) and s.id.split("-")[1] in ("side", "mouth") for s in plant.stations_of(line))


def pallet_and_mould(
    reader: Reader, plant: Plant, simulated: Simulated, tally: Tally, rng: np.random.Generator
) -> None:
    """Mould number and pallet known."""
    drawn = escapes(simulated)
    for row in drawn.sample(min(60, drawn.height), seed=int(rng.integers(1 << 30))).iter_rows(named=True):
        told = answer_trace(reader, plant, Question(pallet=row["pallet"], mould=row["mould"], defect=row["defect"]))
        first = told.cavities[0]
        tally.say("mould and pallet: true cavity first", (first.section, first.gob) == (row["section"], row["gob"]))
        tally.say("mould and pallet: forming minute in the 95 % window", first.from_ <= row["formed_at"] <= first.to)


def in_faults(simulated: Simulated) -> Iterator[tuple[Fault, dict[str, object]]]:
    """One escape of each fault, the middle one."""
    every, plan = escapes(simulated), simulated.plan
    for fault in plan.faults:
        places = [m.split("/")[1] for m in fault.members]
        mine = every.filter(
            (pl.col("line") == fault.line) & (pl.col("defect") == fault.defect) & (pl.col("section").cast(pl.String) + pl.col("gob")).is_in(places)
            & pl.col("formed_at").is_between(plan.at(fault.start), plan.at(fault.end))
        )  # fmt: skip
        if mine.height:
            yield fault, mine.row(mine.height // 2, named=True)


def unread(reader: Reader, plant: Plant, simulated: Simulated, tally: Tally, rng: np.random.Generator) -> None:
    """Mould number not read: defect, item and a window of four hours known; then the same with the mould number."""
    for fault, row in in_faults(simulated):
        start = _ten(simulated, row["formed_at"] - timedelta(minutes=int(rng.integers(10, 230))))  # type: ignore[operator]
        asked = Question(
            item=str(row["item"]), defect=str(row["defect"]), made_from=start, made_to=start + timedelta(hours=4)
        )
        told = answer_trace(reader, plant, asked)
        kind = f"x5, {fault.scope}" if fault.factor == 5 else f"x10 to x40, {fault.scope}"
        kind += "" if reads_moulds(plant, fault.line, fault.defect) else ", called only where no mould is read"
        three = [(c.line, c.section, c.gob) for c in told.cavities[:3]]
        tally.say(
            f"unread, 4 h: true cavity among the first three ({kind})",
            (row["line"], row["section"], row["gob"]) in three,
        )
        _held(told, simulated, row, asked, "unread, 4 h", tally)
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


def _held(told: Trace, simulated: Simulated, row: dict[str, object], asked: Question, name: str, tally: Tally) -> None:
    """Whether the list holds the true pallet, and its units beside the smallest list that the true rates allow; pallets beyond the window left out."""
    here = {p.pallet for p in told.pallets if not p.beyond}
    proposed = [p for p in told.pallets if p.proposed and not p.beyond]
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
    """Expected defective containers on every pallet packed from a fault's time, from all cavities, beside those that were there."""
    plan = simulated.plan
    counts = escapes(simulated)
    for fault in plan.faults:
        if plan.plant.defects[fault.defect].severity == "minor":
            continue  # never challenged
        start, end = plan.at(fault.start - 60), plan.at(min(fault.end + 60, plan.minutes - 200))
        told = answer_trace(reader, plant, Question(line=fault.line, defect=fault.defect, made_from=start, made_to=end))
        mine = counts.filter(
            (pl.col("line") == fault.line)
            & (pl.col("defect") == fault.defect)
            & pl.col("formed_at").is_between(start, end)
        )
        true = dict(mine.group_by("pallet").len().iter_rows())
        for p in told.pallets:
            if p.expected_defective is not None and not p.beyond and p.mould_units > 0.5 * p.units:
                tally.pallets.append(
                    (p.expected_defective, p.expected_low or 0.0, p.expected_high or 0.0, true.get(p.pallet, 0))
                )


def report(tally: Tally) -> None:
    for name, right in sorted(tally.right.items()):
        print(f"{name}: {100 * np.mean(right):.1f} % of {len(right)}")
    for name, pairs in tally.units.items():
        ours, least = np.array(pairs).T
        print(
            f"{name}: units on the list {ours.sum() / least.sum():.3f} times the smallest by the true rates; mean of ratios {np.mean(ours / least):.3f}, 95th percentile {np.quantile(ours / least, 0.95):.2f}"
        )
    told = np.array(tally.pallets)
    held = (told[:, 3] >= told[:, 1]) & (told[:, 3] <= told[:, 2])
    print(
        f"expected defective, {len(told)} pallets: sum {told[:, 0].sum():.1f}, truth {told[:, 3].sum():.0f}, ratio {told[:, 0].sum() / told[:, 3].sum():.3f}; intervals hold the truth on {100 * held.mean():.1f} %"
    )
    top = told[np.argsort(-told[:, 0])[:500]]
    inside = (top[:, 3] >= top[:, 1]) & (top[:, 3] <= top[:, 2])
    print(
        f"  the {len(top)} with most expected: sum {top[:, 0].sum():.1f}, truth {top[:, 3].sum():.0f}, ratio {top[:, 0].sum() / top[:, 3].sum():.3f}, "
        f"held {100 * inside.mean():.1f} %"
    )
    for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 100)):
        part = (told[:, 0] >= low) & (told[:, 0] < high)
        if part.any():
            print(
                f"  expected {low:g} to {high:g}: {part.sum()} pallets, sum {told[part, 0].sum():.1f}, truth {told[part, 3].sum():.0f}, held {100 * held[part].mean():.1f} %"
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--works", type=int, default=12)
    parser.add_argument("--seed", type=int, default=31_000)
    told = parser.parse_args()
    plant, tally = read_plant((SAMPLES / "works.toml").read_text(encoding="utf-8")), Tally()
    for number in range(told.works):
        root = Path(tempfile.mkdtemp())
        rng = np.random.default_rng([told.seed, number])
        simulated = works(told.seed + number, plant)
        opened = taken(simulated, root / "site")
        with opened.ledger.reading() as reader:
            pallet_and_mould(reader, plant, simulated, tally, rng)
            unread(reader, plant, simulated, tally, rng)
            calibration(reader, plant, simulated, tally)
        shutil.rmtree(root)
        print(f"works {number + 1} of {told.works}", flush=True)
    report(tally)


if __name__ == "__main__":
    main()
