"""How long signals take: 12 lines of 24 moulds and 30 defects, a day of minutes, through the ledger.

    python -m tests.benchmarks.signal_speed [--lines 12] [--keep DIR]

An invented plant of that size is simulated for three days and taken in; then every line's signals of the last day are
asked for, as `coldledger signals` does, and one line's last hour. Times are given beside the time DuckDB itself needs
to read the same minutes.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from pipelines.answers.signals import answer_signals
from pipelines.clock import Span
from pipelines.intake import take_in
from pipelines.jobs.signals import refresh_signals
from pipelines.plant.works import read_plant
from pipelines.settings import Settings
from pipelines.site.folder import init_site, open_site
from sample_feeds.simulator import make_plan, simulate, write_feeds

FIRST, DAYS = date(2026, 6, 1), 3
ORIGINS = ("mould", "timing", "gob", "glass", "lehr", "handling")
ZONES = ("finish", "neck", "shoulder", "body", "heel", "base", "whole")


def works_toml(lines: int) -> str:
    """A plant of `lines` lines in twos on furnaces: 12 sections of 2 gobs, three stations, 30 defects."""
    parts = [
        '[works]\nname = "Invented works for timing"\ntimezone = "Europe/Warsaw"\nday_starts = "06:00"\nshifts = '
        '["06:00"]\n'
    ]
    codes = [f"D{n:02d}" for n in range(30)]
    for n in range(0, lines, 2):
        parts.append(f'[[furnace]]\nid = "F{n // 2}"\nsurface_m2 = 50.0\ndensity_g_cm3 = 2.5\n')
    for n in range(lines):
        line = f"L{n:02d}"
        parts.append(
            f'[[line]]\nid = "{line}"\nfurnace = "F{n // 2}"\nsections = 12\ngobs = 2\nlehr_minutes = {80.0 + n}\n'
        )
        for order, (kind, sees) in enumerate(
            (("side", codes[:16]), ("mouth", codes[16:24]), ("foot", codes[22:])), start=1
        ):
            seen = ", ".join(f'"{code}"' for code in sees)
            parts.append(
                f'[[station]]\nid = "{line}-{kind}"\nline = "{line}"\norder = {order}\nafter_minutes = '
                f"{order - 1}.0\nsees = [{seen}]\n"
            )
    for n, code in enumerate(codes):
        severity = "critical" if n % 10 == 9 else "major" if n % 2 else "minor"
        parts.append(
            f'[[defect]]\ncode = "{code}"\nname = "defect {n}"\nseverity = "{severity}"\nzone = "{ZONES[n % 7]}"\n'
            f'origin = "{ORIGINS[n % 6]}"\n'
        )
    for n in range(2):
        parts.append(f'[[item]]\nid = "I{n}"\nname = "item {n}"\nweight_g = {300.0 + n}\nunits_per_pallet = 2000\n')
    return "\n".join(parts)


def timed(name: str, asked: object) -> float:
    start = time.perf_counter()
    answer = asked()  # type: ignore[operator]
    took = time.perf_counter() - start
    print(f"{name:<58} {took:7.2f} s   {len(answer) if hasattr(answer, '__len__') else answer}")
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--lines", type=int, default=12)
    parser.add_argument("--keep", type=Path, help="folder for the site; used again when it is there")
    asked = parser.parse_args()
    root = asked.keep or Path(tempfile.mkdtemp()) / "site"
    plant = read_plant(works_toml(asked.lines))
    if not root.exists():
        site = init_site(root, works_toml(asked.lines))
        write_feeds(
            simulate(make_plan(plant, FIRST, DAYS, 5, faults=24)), site.inbox, dirty=False, every="1d", formats=("csv",)
        )
        take_in(site, plant, Settings())
    opened = open_site(root, Settings())
    day = plant.clock.day(FIRST + timedelta(days=DAYS - 1))
    with opened.ledger.reading() as reader:
        moments = {"from_time": day.start - timedelta(hours=60), "to_time": day.end}
        read = timed(
            "DuckDB reads these minutes of all lines",
            lambda: sum(
                reader.ask(name, line=line, **moments).height
                for line in plant.lines
                for name in ("ware_by_window", "calls_by_window")
            ),
        )
    kept = timed(
        "all lines followed through the day, and kept",
        lambda: refresh_signals(opened, [FIRST + timedelta(days=DAYS - 1)]),
    )
    with opened.ledger.reading() as reader:
        every = timed(
            "all signals of all lines, a day of minutes, asked anew", lambda: answer_signals(reader, plant, day)
        )
        last = Span(day.end - timedelta(hours=1), day.end)
        answer = timed("one line's last hour", lambda: answer_signals(reader, plant, last, next(iter(plant.lines))))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"ratios to DuckDB's reading: kept {kept / read:.1f}, asked anew {every / read:.1f}, one line's hour "
        f"{answer / read:.2f}; peak {peak:,.0f} MB"
    )


if __name__ == "__main__":
    main()
