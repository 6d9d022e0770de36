"""How long a trace takes in a year of minutes of 12 lines, about a window eleven months back: each command a cold
process, run by hand.

    python -m tests.benchmarks.trace_speed --keep DIR [--lines 12] [--days 365]

A day of an invented plant of that size is simulated, taken in and followed; its rows are then copied to every day of
the year before it, under batches and pallets of their own. DIR is kept, so that a second run only asks. Times are given
beside the time in which Python and the ledger open.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from datetime import date, datetime, timedelta
from pathlib import Path

import duckdb
import numpy as np

from pipelines.intake import take_in
from pipelines.jobs.signals import days_to_follow, refresh_signals
from pipelines.plant.works import read_plant
from pipelines.settings import Settings
from pipelines.site.folder import init_site, open_site
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.benchmarks.signal_speed import works_toml

LAST = date(2026, 6, 1)
TIMES = {
    "station_counts": "window_start",
    "reject_counts": "window_start",
    "forming_counts": "window_start",
    "challenge_checks": "checked_at",
    "weight_checks": "sampled_at",
    "stoppages": "stopped_at",
    "melt_log": "window_start",
    "lehr_hours": "hour",
    "signal_hours": "hour",
    "mould_log": "fitted_at",
}


def build(root: Path, lines: int, days: int) -> None:
    """The site: one day simulated, and copied to the days before it."""
    site = init_site(root, works_toml(lines))
    plant = read_plant(site.works_toml.read_text())
    opened = open_site(root, Settings())
    write_feeds(simulate(make_plan(plant, LAST, 1, seed=17)), site.inbox, every="1d", formats=("parquet",), dirty=False)
    report = take_in(site, plant, opened.settings)
    refresh_signals(opened, days_to_follow(plant, [moment for _, moment in report.touched]))
    start = plant.clock.day(LAST).start.replace(tzinfo=None)
    with duckdb.connect(str(site.ledger)) as con:
        con.execute("set timezone = 'UTC'")
        step = con.execute("select max(batch) + 1 from batches").fetchone()
        assert step is not None
        for back in range(days - 1, 0, -1):
            _copy(con, back, int(step[0]), start)
            print(f"\rday {days - back} of {days}", end="", flush=True)
        for table, when in (("mould_log", "fitted_at"), ("job_log", "started_at")):
            con.execute(
                f"insert into {table} select * replace ({when} - interval {days} day as {when}) from {table} where "
                f"{when} between $start - interval 30 day and $start - interval 10 day",
                {"start": start},
            )
    print()


def _copy(con: duckdb.DuckDBPyConnection, back: int, step: int, start: datetime) -> None:
    shift = f"interval {back} day"
    for table, when in TIMES.items():
        more = f", batch + {back * step} as batch" if table not in ("lehr_hours", "signal_hours") else ""
        con.execute(
            f"insert into {table} select * replace ({when} - {shift} as {when}{more}) from {table} where {when} >= "
            f"$start and {when} < $start + interval 1 day",
            {"start": start},
        )
    con.execute(
        f"insert into pallets select * replace (pallet || '-{back}' as pallet, packed_from - {shift} as packed_from, "
        f"packed_to - {shift} as packed_to, batch + {back * step} as batch) "
        "from pallets where packed_from >= $start and pallet not like '%-%'",
        {"start": start},
    )
    con.execute(
        f"insert into batches select * replace (batch + {back * step} as batch, data_from - {shift} as data_from, "
        f"data_to - {shift} as data_to) from batches where batch < {step}"
    )


def asked(*args: str, site: Path) -> float:
    """Seconds of a command, a process of its own."""
    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", "from pipelines.cli import main; main()", *args, "--site", str(site)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0 and "Traceback" not in done.stderr, done.stderr
    return time.monotonic() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, required=True)
    parser.add_argument("--lines", type=int, default=12)
    parser.add_argument("--days", type=int, default=365)
    options = parser.parse_args()
    if not options.keep.exists():
        build(options.keep, options.lines, options.days)
    with duckdb.connect(str(options.keep / "ledger.duckdb"), read_only=True) as con:
        for table in ("station_counts", "reject_counts", "pallets"):
            print(table, con.execute(f"select count(*) from {table}").fetchall()[0][0], "rows")
        pallet = con.execute(
            "select pallet from pallets where pallet like '%-330' and line = 'L03' order by packed_from limit 1 "
            "offset 40"
        ).fetchall()[0][0]
    print(f"ledger {(options.keep / 'ledger.duckdb').stat().st_size / 1e9:.2f} GB")
    at = datetime.combine(LAST - timedelta(days=330), datetime.min.time()).replace(hour=9)
    window = ("--made-from", at.isoformat(), "--made-to", (at + timedelta(hours=4)).isoformat())
    questions = {
        "opening: a pallet that is not there": ("trace", "--pallet", "0"),
        "mould, defect, four hours": ("trace", "--line", "L03", "--mould", "20", "--defect", "D01", *window),
        "item and defect, no mould, four hours, all lines": ("trace", "--item", "I1", "--defect", "D01", *window),
        "pallet, mould and defect": ("trace", "--pallet", pallet, "--mould", "20", "--defect", "D01"),
        "what is on a pallet": ("pallet", pallet),
    }
    for name, args in questions.items():
        times = [asked(*args, "--format", "json", site=options.keep) for _ in range(5)]
        print(f"{name}: median {np.median(times):.2f} s, worst {max(times):.2f} s")


if __name__ == "__main__":
    main()
