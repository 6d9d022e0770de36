"""Pack-to-melt against the truth, and which meter is named: `python -m tests.benchmarks.yields`.

Part 1 simulates works container by container, lets every meter err by the uncertainty that works.toml states (anew each day), takes the feeds in,
closes day after day and compares. Part 2 draws readings of the same works directly, for long pasts and for one lying meter at a time.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.yields import yield_and_readings
from pipelines.intake import take_in
from pipelines.ledger import Ledger
from pipelines.ledger.history import keep_balances
from pipelines.ledger.queries import query
from pipelines.measures.balance import balanced, usual_of
from pipelines.measures.usual import DAYS
from pipelines.plant import Plant, read_plant
from pipelines.settings import Settings
from pipelines.site import init_site, open_site
from sample_feeds.simulator import Plan, Simulated, make_plan, misread, simulate, write_feeds
from schemas.results import FurnaceYield, Yield
from tests.benchmarks.yield_readings import State, day_of, read, works_state

WORKS = (Path(__file__).parents[2] / "sample_feeds" / "works.toml").read_text(encoding="utf-8")
FIRST = date(2026, 4, 1)


@dataclass(frozen=True)
class Told:
    """One furnace-day: how many earlier days were known, the truth, what was told, the plain quotient, who was accused."""

    past: int
    truth: float
    value: float
    low: float
    high: float
    raw: float
    accused: tuple[str, ...]
    left_open: float


def true_yield(simulated: Simulated, plant: Plant, furnace: str, day: date) -> float:
    """Good mass over melted mass of the ware that met the first stations in a day."""
    span = plant.clock.day(day)
    mine = pl.col("line").is_in([line.id for line in plant.lines_of(furnace)])
    good = simulated.truth["good"].filter(
        mine & (pl.col("arrived_at") >= span.start) & (pl.col("arrived_at") < span.end)
    )
    lag = timedelta(minutes=float(np.mean([line.lehr_minutes for line in plant.lines_of(furnace)])))
    melt = simulated.feeds["melt_log"].filter(
        (pl.col("furnace") == furnace)
        & (pl.col("window_start") >= span.start - lag)
        & (pl.col("window_start") < span.end - lag)
    )
    glass = plant.furnaces[furnace]
    held = float(melt["level_change_mm"].sum()) * glass.surface_m2 * glass.density_g_cm3
    unseen = simulated.truth["melt"].filter(pl.col("furnace") == furnace)["unseen"][0]
    return float(good["good_kg"].sum() / (good["cut_kg"].sum() / (1 - unseen) + held))


def one_works(days: int, seed: int, past: int = 0) -> list[Told]:
    """A works of its own, from the feeds to the yields of its days; past: earlier days whose readings are drawn without feeds."""
    plant, rng = read_plant(WORKS), np.random.default_rng([seed, 99])
    plan = make_plan(plant, FIRST, days + 1, seed, faults=2 * days)
    plan.window_s, plan.broken = 300, float(rng.uniform(0, 0.001))
    plan.unseen = {furnace: abs(float(rng.normal(0, 0.005))) for furnace in plant.furnaces}
    simulated = misread(simulate(plan), seed)
    found = []
    with tempfile.TemporaryDirectory() as folder:
        site = init_site(Path(folder) / "site", WORKS)
        write_feeds(simulated, site.inbox, dirty=False, every="7d", formats=("parquet",))
        settings = Settings(fixed_now=plan.at(plan.minutes) + timedelta(hours=2))
        assert not take_in(site, plant, settings).needs_a_person
        opened = open_site(site.root, settings)
        _past(opened.ledger, plant, plan, past)
        for number in range(days):
            day = FIRST + timedelta(days=number)
            with opened.ledger.reading() as reader:
                told, kept = yield_and_readings(reader, plant, day)
            with opened.ledger.writing() as con:
                keep_balances(con, day, 1, kept, told)
            found += [_told(number, simulated, plant, told, one, day) for one in told.furnaces]
    return found


def _past(ledger: Ledger, plant: Plant, plan: Plan, days: int) -> None:
    """Readings of the days before, of a works that loses as much unseen."""
    rng = np.random.default_rng([plan.seed, 77])
    with ledger.writing() as con:
        for furnace in plant.furnaces:
            state = State(plan.unseen[furnace], {line.id: np.full(5, plan.broken) for line in plant.lines_of(furnace)})
            for back in range(days, 0, -1):
                reading = read(rng, plant, day_of(rng, plant, furnace, state))
                row = {
                    "day": FIRST - timedelta(days=back),
                    "revision": 1,
                    "furnace": furnace,
                    "usual": "{}",
                    "told": "{}",
                }
                con.execute(query("keep_balance", "writes"), {**row, "reading": json.dumps(reading.kept())})


def _told(number: int, simulated: Simulated, plant: Plant, told: Yield, one: FurnaceYield, day: date) -> Told:
    accused = tuple(s.meter for s in told.suspect_meters if s.furnace == one.furnace)
    left = [abs(row.after) for row in told.balances if row.furnace == one.furnace and row.unit == "containers"]
    assert one.pack_to_melt is not None and one.low is not None and one.high is not None and one.raw is not None
    truth = true_yield(simulated, plant, one.furnace, day)
    return Told(number, truth, one.pack_to_melt, one.low, one.high, one.raw, accused, max(left))


def readings_only(job: tuple[int, int, int]) -> tuple[list[Told], dict[str, list[tuple[bool, bool]]]]:
    """Furnace-days whose readings are drawn without feeds; and who is named, who accused, when one meter lies by 3."""
    past_days, days, seed = job
    plant, rng = read_plant(WORKS), np.random.default_rng([seed, past_days])
    told: list[Told] = []
    named: dict[str, list[tuple[bool, bool]]] = {}
    for furnace in plant.furnaces:
        state = works_state(rng, plant, furnace)
        past = [read(rng, plant, day_of(rng, plant, furnace, state)) for _ in range(past_days)]
        for _ in range(days):
            truth = day_of(rng, plant, furnace, state)
            reading = read(rng, plant, truth)
            usual = usual_of(plant, reading, past)
            made = balanced(plant, reading, usual)
            value, nodes = made.pack_to_melt(), made.network.nodes
            assert value is not None and reading.melted is not None
            raw = sum((one.packed or 0.0) * one.packed_g for one in reading.lines) / 1000 / reading.melted
            accused = tuple(nodes[s.meter].name for s in made.suspects if nodes[s.meter].is_meter)
            told.append(Told(past_days, truth.pack_to_melt, value.value, value.low, value.high, raw, accused, 0.0))
            for node in (one for one in nodes if one.is_meter):
                lied = balanced(plant, read(rng, plant, truth, node.name), usual)
                first = lied.network.nodes[lied.ranked[0][0]].name == node.name
                accused_first = bool(lied.suspects) and lied.network.nodes[lied.suspects[0].meter].name == node.name
                named.setdefault(node.kind, []).append((first, accused_first))
            past = [*past[1:], reading] if past else past
    return told, named


def show(title: str, told: list[Told]) -> None:
    error = np.array([100 * abs(one.value - one.truth) for one in told])
    raw = np.array([100 * abs(one.raw - one.truth) for one in told])
    inside = np.mean([one.low <= one.truth <= one.high for one in told])
    accused = np.mean([bool(one.accused) for one in told])
    print(
        f"{title:<34} n {len(told):4d}  |error| mean {error.mean():.2f}, 95 % {np.quantile(error, 0.95):.2f}, greatest {error.max():.2f}, "
        f"within 0.3: {100 * np.mean(error <= 0.3):.1f} %; raw quotient mean {raw.mean():.2f}, 95 % {np.quantile(raw, 0.95):.2f}, "
        f"within 0.3: {100 * np.mean(raw <= 0.3):.1f} %; intervals hold the truth {100 * inside:.1f} %; honest days that accuse {100 * accused:.1f} %"
    )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--works", type=int, default=8)
    asked.add_argument("--days", type=int, default=30)
    asked.add_argument(
        "--drawn", type=int, default=40, help="works of which readings are drawn, for each length of the past"
    )
    asked.add_argument("--seed", type=int, default=7001)
    told = asked.parse_args()
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        parts = list(pool.map(one_works, [told.days] * told.works, range(told.seed, told.seed + told.works)))
        every = [one for part in parts for one in part]
        print("Containers simulated, feeds taken in; points of pack-to-melt:")
        show("all days", every)
        for low, high in ((0, 0), (1, 6), (7, 13), (14, 10_000)):
            chosen = [one for one in every if low <= one.past <= high]
            if chosen:
                show(f"  with {low} to {high} earlier days" if high < 10_000 else f"  with {low} and more", chosen)
        seeds = range(told.seed + 500, told.seed + 500 + told.works)
        parts = list(pool.map(one_works, [told.days] * told.works, seeds, [DAYS] * told.works))
        show(f"with {DAYS} earlier days drawn", [one for part in parts for one in part])
        print(
            f"greatest opening of a balance of containers after reconciliation: {max(one.left_open for one in every):g}"
        )
        print("\nReadings drawn:")
        for past in (28, 91, 182):
            found = list(pool.map(readings_only, [(past, 3, told.seed + n) for n in range(told.drawn)]))
            show(f"with {past} earlier days", [one for part, _ in found for one in part])
            kinds: dict[str, list[tuple[bool, bool]]] = {}
            for _, named in found:
                for kind, hits in named.items():
                    kinds.setdefault(kind, []).extend(hits)
            for kind, hits in kinds.items():
                first, accused = (100 * np.mean([hit[place] for hit in hits]) for place in (0, 1))
                print(
                    f"    {kind:<10} off by 3 standard uncertainties: named first {first:5.1f} %, accused first {accused:5.1f} %  (n {len(hits)})"
                )


if __name__ == "__main__":
    main()
