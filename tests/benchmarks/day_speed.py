"""How long a close and a rebuild take: `python -m tests.benchmarks.day_speed [--lines 12] [--days 2] [--keep DIR]`.

An invented plant of 12 lines of 24 moulds and 30 defects is simulated and taken in; then each day's signals are
followed, the days closed, and all of them rebuilt in one process and in two. Times stand beside the time DuckDB needs
to read one day's minutes.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from pipelines.intake import take_in
from pipelines.jobs import pool
from pipelines.jobs.days import close_day
from pipelines.jobs.rebuild import rebuild_days
from pipelines.jobs.signals import refresh_signals
from pipelines.plant.works import read_plant
from pipelines.settings import Settings
from pipelines.site.folder import init_site, open_site
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.benchmarks.signal_speed import FIRST, timed, works_toml


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--lines", type=int, default=12)
    asked.add_argument("--days", type=int, default=2)
    asked.add_argument("--keep", type=Path, help="folder for the site; used again when it is there")
    options = asked.parse_args()
    root = options.keep or Path(tempfile.mkdtemp()) / "site"
    plant = read_plant(works_toml(options.lines))
    if not root.exists():
        site = init_site(root, works_toml(options.lines))
        plan = make_plan(plant, FIRST, options.days, 5, faults=8 * options.days)
        write_feeds(simulate(plan), site.inbox, dirty=False, every="1d", formats=("parquet",))
        take_in(site, plant, Settings())
    opened = open_site(root, Settings())
    days = [FIRST + timedelta(days=n) for n in range(options.days)]
    span = plant.clock.day(days[-1])
    with opened.ledger.reading() as reader:
        about = {"from_time": span.start, "to_time": span.end}
        read = timed(
            "DuckDB reads the minutes of one day",
            lambda: sum(
                reader.ask(name, line=line, **about).height
                for line in plant.lines
                for name in ("ware_by_window", "calls_by_window")
            ),
        )
    timed("signals of all days, two processes", lambda: refresh_signals(opened, days))
    closes = [timed(f"close of {day}", lambda day=day: close_day(opened, day).page.name) for day in days]
    both = timed(
        "rebuild of all days with their hour pages, two processes", lambda: rebuild_days(opened, days[0], days[-1])
    )
    before, pool.PROCESSES = pool.PROCESSES, 1
    answer = timed("the same in one process", lambda: rebuild_days(opened, days[0], days[-1]))
    pool.PROCESSES = before
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"close over reading {max(closes) / read:.1f}; rebuild {both / options.days:.1f} s a day, {answer / both:.2f} "
        f"times as fast as in one process; peak of this process {peak:,.0f} MB ({time.strftime('%Y-%m-%d')})"
    )


if __name__ == "__main__":
    main()
