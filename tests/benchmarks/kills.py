"""A served site that is killed (SIGKILL to all of it, as a power cut does) at random moments, again and again, while
feeds come; then what is there is compared with what came.

`python -m tests.benchmarks.kills [--times 15] [--seed 1]`
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import sqlite3
import tempfile
import time
from datetime import date
from pathlib import Path

from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.conftest import WORKS
from tests.serve.test_for_real import Served, contents

DAY = date(2026, 3, 10)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--times", type=int, default=15)
    asked.add_argument("--seed", type=int, default=1)
    options = asked.parse_args()
    rng = random.Random(options.seed)
    folder = Path(tempfile.mkdtemp(prefix="kills-"))
    root = folder / "site"
    (root / "inbox").mkdir(parents=True)
    (root / "works.toml").write_text(WORKS)
    plant = read_plant(WORKS)
    files = write_feeds(simulate(make_plan(plant, DAY, 1, seed=3)), folder / "feeds", dirty=False)
    whole = contents(folder / "feeds")
    share = -(-len(files) // options.times)
    back: list[float] = []
    for number in range(options.times):
        for path in files[number * share : (number + 1) * share]:
            shutil.copyfile(path, root / "inbox" / f".{path.name}")
            (root / "inbox" / f".{path.name}").rename(root / "inbox" / path.name)
        served = Served(root)
        back.append(served.until(lambda answer=served: answer.get("/now")[0] in (200, 503), 60, "pages"))
        time.sleep(rng.uniform(0.0, 14.0))
        running = [flow for flow, state in served.runs() if state == "running"]
        for pid in (served.process.pid, *served.children()):
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        served.process.wait(10)
        print(
            f"kill {number + 1}: pages were back after {back[-1]:.1f} s; killed while {running or 'nothing'} ran",
            flush=True,
        )
    report(root, plant, whole, back)


def report(root: Path, plant: Plant, whole: set[str], back: list[float]) -> None:
    """Serve once more until the day is closed, and compare what is there with what came."""
    last = Served(root)
    last.until(lambda: ("close", "done") in last.runs(), 300, "the close")
    ended = last.stop()
    with sqlite3.connect(root / ".serve" / "serve.db") as con:
        states = con.execute("select flow, state, count(*) from runs group by flow, state").fetchall()
    opened = OpenSite(Site(root), Settings(), plant)
    with opened.ledger.reading() as reader:
        doubled = {
            feed: rows.height - rows.unique(keys).height
            for feed, keys in (
                ("station_counts", ["window_start", "line", "station", "mould"]),
                ("reject_counts", ["window_start", "line", "station", "mould", "defect"]),
            )
            if (rows := reader.current(feed)).height
        }
    lost = whole - contents(root / "archive")
    print(
        f"ended with {ended}; pages back after at most {max(back):.1f} s; files lost {len(lost)} of {len(whole)}, "
        f"left in the inbox {len(list((root / 'inbox').glob('*.*'))) - len(list((root / 'inbox').glob('.*')))}"
    )
    print(f"rows doubled {doubled}; runs {states}")


if __name__ == "__main__":
    main()
