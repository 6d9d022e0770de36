"""Pack-to-melt against the truth, and which meter is named, on tidy and rough works.

    python -m tests.benchmarks.yields [--world both] [--works 4] [--days 8] [--past 20] [--seed 1] [--jobs 2] [--only
    honest] [--drawn 40]

Works are simulated container by container, every meter errs by the uncertainty that works.toml states (anew each day)
or lies as the scenario says, the feeds are taken in, day after day is closed and compared. `--past`: days before, whose
readings are drawn without feeds. `--drawn`: readings of the tidy works drawn directly, for long pasts and for one lying
meter at a time. Seeds: tests/benchmarks/worlds.py.
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from pipelines.measures.yields.balance import balanced
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.plant.works import read_plant
from tests.benchmarks.worlds import asked_worlds, side_by_side
from tests.benchmarks.yield_days import SCENARIOS, Told, one_works, summed
from tests.benchmarks.yield_lies import cases, lied_to, summed_lies
from tests.benchmarks.yield_readings import day_of, read, works_state

WORKS = (Path(__file__).parents[2] / "sample_feeds" / "works.toml").read_text(encoding="utf-8")


def readings_only(job: tuple[int, int, int]) -> list[Told]:
    """Honest furnace-days whose readings are drawn without feeds."""
    past_days, days, seed = job
    plant, rng = read_plant(WORKS), np.random.default_rng([seed, past_days])
    rows: list[Told] = []
    for furnace in plant.furnaces:
        state = works_state(rng, plant, furnace)
        past = [read(rng, plant, day_of(rng, plant, furnace, state)) for _ in range(past_days)]
        for _ in range(days):
            truth = day_of(rng, plant, furnace, state)
            reading = read(rng, plant, truth)
            made = balanced(plant, reading, usual_of(plant, reading, past), past)
            value = made.pack_to_melt()
            assert value is not None and reading.melted is not None
            raw = sum((line.packed or 0.0) * line.packed_g for line in reading.lines) / 1000 / reading.melted
            accused = tuple(made.accused)
            rows.append(Told(past_days, truth.pack_to_melt, value.value, value.low, value.high, raw, accused, 0.0))
            past = [*past[1:], reading] if past else past
    return rows


def show(title: str, rows: list[Told]) -> None:
    numbers = [seen for seen in rows if seen.value is not None]
    error = np.array([100 * abs(number.value - number.truth) for number in numbers if number.value is not None])
    raw = np.array([100 * abs(seen.raw - seen.truth) for seen in rows])
    inside = np.mean(
        [seen.low <= seen.truth <= seen.high for seen in rows if seen.low is not None and seen.high is not None]
    )
    accused = np.mean([bool(seen.accused) for seen in rows])
    width = np.mean([100 * (seen.high - seen.low) for seen in rows if seen.low is not None and seen.high is not None])
    print(
        f"{title:<34} n {len(rows):4d}  |error| mean {error.mean():.2f}, 95 % {np.quantile(error, 0.95):.2f}, "
        f"greatest {error.max():.2f}, within 0.3: {100 * np.mean(error <= 0.3):.1f} %; raw quotient mean "
        f"{raw.mean():.2f}, 95 % {np.quantile(raw, 0.95):.2f}, within 0.3: {100 * np.mean(raw <= 0.3):.1f} %; "
        f"intervals hold the truth {100 * inside:.1f} %, width {width:.2f}; honest days that accuse "
        f"{100 * accused:.1f} %"
    )


def drawn(pool: ProcessPoolExecutor, works: int, seed: int) -> None:
    """Print how readings that are drawn fare: honest ones for long pasts, then one liar at a time."""
    print("\nReadings drawn, tidy works:")
    for past in (0, 10, 28, 91, 182):
        parts = list(pool.map(readings_only, [(past, 3, seed + n) for n in range(works)]))
        show(f"with {past} earlier days", [each for part in parts for each in part])
    print("\nReadings drawn, one meter lying:")
    for kind, size, when in cases():
        jobs = [(WORKS, kind, size, when, seed + 900 + n) for n in range(works)]
        print(summed_lies(kind, size, when, list(pool.map(lied_to, jobs))))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--world", choices=("tidy", "rough", "both"), default="both")
    asked.add_argument("--works", type=int, default=4, help="works of each scenario")
    asked.add_argument("--days", type=int, default=8, help="days with feeds")
    asked.add_argument("--past", type=int, default=20, help="earlier days whose readings are drawn")
    asked.add_argument(
        "--drawn", type=int, default=0, help="works of which readings are drawn, for each length of the past"
    )
    asked.add_argument("--only", default="", help="scenarios whose names hold this")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--jobs", type=int, default=2)
    options = asked.parse_args()
    chosen = [name for name in SCENARIOS if options.only in name]
    worlds = [world.name for world in asked_worlds(options.world)]
    seeds = [options.seed * 10_000 + n for n in range(options.works)]
    rows: dict[str, dict[str, str]] = {}
    with ProcessPoolExecutor(options.jobs, mp_context=get_context("spawn")) as pool:
        running = {
            (world, name): [pool.submit(one_works, options.days, seed, options.past, world, name) for seed in seeds]
            for world in worlds
            for name in chosen
        }
        for (world, name), futures in running.items():
            for what, value in summed([seen for future in futures for seen in future.result()], name).items():
                rows.setdefault(what, {})[world] = value
        side_by_side(
            f"yields, seed {options.seed}, {options.past} to {options.past + options.days - 1} earlier days", rows
        )
        if options.drawn:
            drawn(pool, options.drawn, options.seed)


if __name__ == "__main__":
    main()
