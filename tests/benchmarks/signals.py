"""Signals against known truth on tidy and rough works: what is found, how soon, placed and dated how well; beside a
plain p chart.

    python -m tests.benchmarks.signals [--world both] [--works 6] [--quiet 6] [--coarse 4] [--seed 1] [--off 12] [--jobs
    2]

Simulated works of two days whose faults are drawn here: each multiplies a defect's rate at a mould, section, gob
position, line or furnace, or is called falsely by a station, for some hours. Every line is followed hour by hour as in
a running works, with lehr times estimated from the feeds while works.toml is `--off` minutes wrong. A plain p chart per
mould and defect with 3-sigma limits reads the same hours, once as it is and once with at least 3 calls. `--coarse`:
works whose stations report by the hour, all or some.
Seeds: tests/benchmarks/worlds.py.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor

import numpy as np

from tests.benchmarks.signal_told import Hit, Told, hourly_told, joined, mixed_told, works_told
from tests.benchmarks.worlds import asked_worlds, side_by_side

FAULTS = 14
TOTAL = 8  # rejects of a fault in all, from which on it is compared with the p chart


def percent(values: Sequence[bool | None]) -> str:
    return f"{100 * float(np.mean([bool(v) for v in values])):.1f} % of {len(values)}" if values else "-"


def of_faults(seen: Told, name: str, chosen: Sequence[Hit], within: float | None = None) -> dict[str, str]:
    """The rows that tell of one class of faults."""
    found = [h for h in chosen if h.delay is not None and (within is None or h.delay <= within)]
    delays = [h.delay for h in found if h.delay is not None]
    chart3 = [h.chart3 is not None and (within is None or h.chart3 <= within) for h in chosen]
    off = [abs(h.onset_off) <= 10 for h in found if h.onset_off is not None]
    rows = {
        f"{name}: found": percent([h in found for h in chosen]),
        f"{name}: p chart, 3 calls": percent(chart3),
        f"{name}: median delay [min]": f"{np.median(delays):.0f}" if delays else "-",
        f"{name}: scope right": percent([h.scope for h in found]),
        f"{name}: scope right where feeds can tell": percent([h.scope for h in found if h.case.tellable]),
        f"{name}: members right, scope right": percent([h.members for h in found if h.scope]),
        f"{name}: onset within 10 min": percent(off),
        f"{name}: onset interval covers": percent([h.covered for h in found]),
        f"{name}: signals a found fault": f"{np.mean([h.signals for h in found]):.2f}" if found else "-",
    }
    return rows if chosen else {}


def rows_of(kinds: dict[str, Told]) -> dict[str, str]:
    """What was measured on one world's works, by what."""
    faulty = joined([kinds["large"], kinds["small"], kinds["drift"]])
    big = [h for h in kinds["large"].hits if h.case.fault.factor >= 5 and h.case.extra >= 10]
    rows = of_faults(faulty, "x5 and more, 10/h and more", big)
    for scope in ("mould", "section", "gob", "line", "furnace", "station"):
        mine = [h for h in big if h.case.fault.scope == scope]
        rows[f"  {scope}: found"] = percent([h.delay is not None for h in mine])
        rows[f"  {scope}: scope right"] = percent([h.scope for h in mine if h.delay is not None])
    under = [h for h in kinds["large"].hits if h.case.extra < 10]
    rows["x5 and more, under 10/h: found"] = percent([h.delay is not None for h in under])
    small = [h for h in kinds["small"].hits if h.case.extra >= 10]
    rows["x2.5, 10/h and more, in 3 h: found"] = percent([h.delay is not None and h.delay <= 180 for h in small])
    drift = [h for h in kinds["drift"].hits if h.case.fault.drift and h.case.extra >= 10]
    rows["slow drifts to x5 and more: found"] = percent([h.delay is not None for h in drift])
    sure = [right for probability, right in faulty.places if probability >= 0.95]
    rows["places told with 0.95 and more: right"] = percent(sure)
    enough = [h for h in faulty.hits if h.case.total >= TOTAL]
    rows[f"{TOTAL} extra rejects in all: found"] = percent([h.delay is not None for h in enough])
    rows[f"{TOTAL} extra rejects in all: p chart, 3 calls"] = percent([h.chart3 is not None for h in enough])
    for kind in [kind for kind in kinds if kind.startswith("quiet")]:
        seen = kinds[kind]
        days = max(seen.line_days, 1e-9)
        rows[f"{kind}: false alarms a line-day"] = f"{seen.false / days:.2f} in {seen.line_days:.0f} line-days"
        rows[f"{kind}: p chart, all / 3 calls"] = f"{seen.false_chart / days:.1f} / {seen.false_chart3 / days:.1f}"
    rows["beside faults: false alarms a line-day"] = f"{faulty.false / max(faulty.line_days, 1e-9):.2f}"
    off = np.abs([x for this_seen in kinds.values() for x in this_seen.lehr_off])
    rows["lehr time off, median / 95 % [min]"] = (
        f"{np.median(off):.2f} / {np.quantile(off, 0.95):.2f}" if len(off) else "-"
    )
    return rows


def coarse_rows(hourly: Told, mixed: Sequence[tuple[Told, Told, Told]]) -> dict[str, str]:
    """Works whose stations report by the hour, all of them or one a line."""
    ten = hourly.hits
    rows = {
        "window 3600 s, mould x10 for 4 h: found": percent([h.delay is not None for h in ten]),
        "window 3600 s, mould x10 for 4 h: named": percent([bool(h.members) for h in ten]),
        "window 3600 s, mould x10 for 4 h: p chart, 3 calls": percent([h.chart3 is not None for h in ten]),
        "  of those with 8 extra rejects and more: named": percent([bool(h.members) for h in ten if h.case.total >= 8]),
    }
    for number, name in enumerate(("with the hourly station", "without its feed", "all by the minute")):
        hits = [h for found in mixed for h in found[number].hits if h.case.total >= TOTAL]
        rows[f"one hourly, the others by the minute, {name}: found"] = percent([h.delay is not None for h in hits])
    with_it, without = ([h.delay is not None for found in mixed for h in found[n].hits] for n in (0, 1))
    lost = sum(b and not a for a, b in zip(with_it, without, strict=True))
    rows["  found without its feed and lost with it"] = f"{lost} of {sum(without)}"
    return rows


def _tasks(pool: ProcessPoolExecutor, world: str, asked: argparse.Namespace) -> dict[str, list[Future[Told]]]:
    kinds = {"large": asked.works, "small": asked.works, "drift": -(-asked.works // 2), "quiet": asked.quiet}
    if world == "rough":
        kinds["quiet 25 %"] = asked.quiet
    return {
        kind: [
            pool.submit(
                works_told,
                asked.seed * 10_000 + 1000 * part + n,
                0 if "quiet" in kind else FAULTS,
                kind,
                asked.off,
                world,
            )
            for n in range(works)
        ]
        for part, (kind, works) in enumerate(kinds.items())
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--world", choices=("tidy", "rough", "both"), default="both")
    parser.add_argument("--works", type=int, default=6, help="works with large faults; as many with x2.5")
    parser.add_argument("--quiet", type=int, default=6, help="works without faults")
    parser.add_argument("--coarse", type=int, default=4, help="works with hourly windows, of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--off", type=float, default=12.0, help="minutes by which works.toml is wrong about the lehr")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    rows: dict[str, dict[str, str]] = {}
    add: Callable[[str, dict[str, str]], None] = lambda world, texts: [  # type: ignore[assignment]  # noqa: E731
        rows.setdefault(what, {}).__setitem__(world, value) for what, value in texts.items()
    ]
    with ProcessPoolExecutor(asked.jobs) as pool:
        running = {world.name: _tasks(pool, world.name, asked) for world in asked_worlds(asked.world)}
        seeds = [asked.seed * 10_000 + 9000 + n for n in range(asked.coarse if "rough" in running else 0)]
        hourly = [pool.submit(hourly_told, seed, asked.off) for seed in seeds]
        mixed = [pool.submit(mixed_told, seed + 500, asked.off) for seed in seeds]
        for world, kinds in running.items():
            add(
                world,
                rows_of({kind: joined([future.result() for future in futures]) for kind, futures in kinds.items()}),
            )
        if seeds:
            add(
                "rough",
                coarse_rows(joined([future.result() for future in hourly]), [future.result() for future in mixed]),
            )
    side_by_side(f"signals, seed {asked.seed}", rows)


if __name__ == "__main__":
    main()
