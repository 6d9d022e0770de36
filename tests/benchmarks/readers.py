"""Twenty readers who click without pause while the hourly intake of a 12-line hour runs: how long pages take, and what
it costs the intake.

`python -m tests.benchmarks.readers [--lines 12] [--readers 20] [--pause 0.0] [--keep DIR]`

An invented plant of 12 lines of 24 moulds is simulated for three days and taken in but for its last hours; `coldledger
serve` then gets one of those hours after the other, by turns with nobody reading and with all readers, who ask for
pages at random. Times of the intake are those of its runs.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import re
import shutil
import sqlite3
import tempfile
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from pipelines.intake import take_in
from pipelines.jobs.pages import hours_of_days, write_hour_pages
from pipelines.jobs.signals import refresh_signals
from pipelines.plant.works import read_plant
from pipelines.settings import RunningClock, Settings
from pipelines.site.folder import init_site, open_site
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.benchmarks.signal_speed import DAYS, FIRST, works_toml
from tests.serve.test_for_real import Served

PORT, HOURS = 4291, 6


def build(root: Path, lines: int) -> None:
    """The site with all but its last hours taken in and followed; those lie in `later/`."""
    site = init_site(root, works_toml(lines) + "\n[schedule]\nintake_minute = 59\n")
    plant = read_plant(site.works_toml.read_text())
    end = plant.clock.day(FIRST + timedelta(days=DAYS - 1)).end
    written = write_feeds(
        simulate(make_plan(plant, FIRST, DAYS, 5, faults=24)), site.inbox, dirty=False, formats=("csv",)
    )
    later = root / "later"
    later.mkdir()
    for path in written:
        stamp = re.search(r"\.(\d{8}T\d{4})Z\.", path.name)
        if (
            stamp
            and path.name.split(".")[0] in ("station_counts", "reject_counts", "forming_counts")
            and datetime.strptime(stamp[1], "%Y%m%dT%H%M").replace(tzinfo=UTC) >= end - timedelta(hours=HOURS)
        ):
            path.rename(later / path.name)
    take_in(site, plant, Settings())
    opened, last = open_site(root, Settings()), FIRST + timedelta(days=DAYS - 1)
    refresh_signals(opened, [FIRST + timedelta(days=n) for n in range(DAYS)])
    write_hour_pages(opened, hours_of_days(plant, list(plant.lines), [last]))  # as the intakes of that day would have


@dataclass
class Seen:
    """How long answers took [s], and how many were bad."""

    took: list[float] = field(default_factory=list)
    bad: int = 0
    worst: tuple[float, str] = (0.0, "")
    running: bool = False
    worst_running: tuple[float, str] = (0.0, "")


async def reader(addresses: list[str], seen: Seen, until: asyncio.Event, pause: float, seed: int) -> None:
    """One reader: a connection that is kept, a page after the other."""
    rng = random.Random(seed)
    stream: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
    while not until.is_set():
        path = rng.choice(addresses)
        begun = time.perf_counter()
        try:
            if stream is None:
                stream = await asyncio.open_connection("127.0.0.1", PORT, limit=1 << 22)
            status = await asyncio.wait_for(ask(*stream, path), 30)
            seen.bad += status not in (200, 303)
        except (OSError, TimeoutError, ValueError, asyncio.IncompleteReadError):
            seen.bad += 1
            stream = None
        took = time.perf_counter() - begun
        seen.took.append(took)
        seen.worst = max(seen.worst, (took, path))
        if seen.running:
            seen.worst_running = max(seen.worst_running, (took, path))
        await asyncio.sleep(pause)


async def ask(source: asyncio.StreamReader, to: asyncio.StreamWriter, path: str) -> int:
    """The status of a page, read whole."""
    to.write(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept-Encoding: gzip\r\n\r\n".encode())
    head = (await source.readuntil(b"\r\n\r\n")).decode().lower()
    length = re.search(r"content-length: (\d+)", head)
    if length:
        await source.readexactly(int(length[1]))
    elif "chunked" in head:
        while True:
            size = int((await source.readline()).strip() or b"0", 16)
            await source.readexactly(size + 2)
            if size == 0:
                break
    return int(head.split()[1])


def addresses(root: Path) -> list[str]:
    """What people click: now, the lines' newest hours and those before, moulds, weights, trace, holds, feeds."""
    plant = read_plant((root / "works.toml").read_text())
    day = FIRST + timedelta(days=DAYS - 1)
    texts = ["/now", "/now?wall=1", "/feeds", "/holds", "/trace", "/metrics", f"/day/{day}.html"]
    for n, line in enumerate(plant.lines):
        texts += [
            f"/hour/{line}",
            f"/moulds/{line}",
            f"/moulds/{line}?hours=8",
            f"/hour/{day}/{line}-{10 + n % 4:02d}-{15 + n % 4:02d}00.html",
        ]
    return texts


def last_intake(root: Path, after: int) -> tuple[int, float] | None:
    """The newest intake that ended after run number `after`: its number and seconds."""
    with sqlite3.connect(root / ".serve" / "serve.db", timeout=10) as con:
        row = con.execute(
            "select number, begun_at, ended_at, state from runs where flow = 'intake' and number > ? and ended_at is "
            "not null and told not like '0 files%' order by number limit 1",
            (after,),
        ).fetchone()
    return (
        (int(row[0]), (datetime.fromisoformat(row[2]) - datetime.fromisoformat(row[1])).total_seconds())
        if row
        else None
    )


async def hour(root: Path, files: list[Path], readers: int, pause: float, after: int) -> tuple[int, float, Seen]:
    """Give one hour's files to the started site, with so many readers; the run's number, its seconds, what readers
    saw.
    """
    seen, over = Seen(), asyncio.Event()
    tasks = [asyncio.create_task(reader(addresses(root), seen, over, pause, n)) for n in range(readers)]
    await asyncio.sleep(8 if readers else 4)
    parts = [root / "inbox" / f".{path.name}" for path in files]
    for path, part in zip(files, parts, strict=True):
        shutil.copyfile(path, part)
    for part in parts:  # all at once: else a first intake takes some of them, and the next the rest
        part.rename(part.with_name(part.name[1:]))
    pair, seen.running = None, True
    while pair is None:
        await asyncio.sleep(0.5)
        pair = last_intake(root, after)
    seen.running = False
    await asyncio.sleep(8 if readers else 0)
    over.set()
    await asyncio.gather(*tasks)
    return (*pair, seen)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--lines", type=int, default=12)
    asked.add_argument("--readers", type=int, default=20)
    asked.add_argument(
        "--pause",
        type=float,
        default=0.0,
        help="seconds between an answer and the next click; a browser needs about 0.25 to show a page",
    )
    asked.add_argument("--hours", type=int, default=HOURS, help="of those left: how many are taken in")
    asked.add_argument("--keep", type=Path, help="folder for the site as it is before; used again when it is there")
    options = asked.parse_args()
    kept = options.keep or Path(tempfile.mkdtemp()) / "site"
    if not kept.exists():
        build(kept, options.lines)
    root = Path(tempfile.mkdtemp(prefix="readers-")) / "site"
    shutil.copytree(kept, root)
    plant = read_plant((root / "works.toml").read_text())
    end = plant.clock.day(FIRST + timedelta(days=DAYS - 1)).end
    hours: dict[str, list[Path]] = {}
    for path in sorted((root / "later").iterdir()):
        if path.name.split(".")[0] in ("station_counts", "reject_counts", "forming_counts"):
            hours.setdefault(re.search(r"\.(\d{8}T\d{4})Z\.", path.name)[1], []).append(path)  # type: ignore[index]
    clock = RunningClock(end - timedelta(minutes=5), time.time())
    served = Served(root, clock.text(), port=PORT)
    time.sleep(15)
    asyncio.run(turns(root, list(hours.values())[: options.hours], options.readers, options.pause))
    served.stop()


async def turns(root: Path, hours: list[list[Path]], readers: int, pause: float) -> None:
    """By turns without and with readers; prints each and the ratio."""
    after, alone, read, every = 0, [], [], Seen()
    for number, files in enumerate(hours):
        busy = number % 2 == 1
        after, seconds, seen = await hour(root, files, readers if busy else 0, pause, after)
        (read if busy else alone).append(seconds)
        every.took += seen.took
        every.bad += seen.bad
        every.worst = max(every.worst, seen.worst)
        every.worst_running = max(every.worst_running, seen.worst_running)
        print(f"hour of {len(files)} files {'with' if busy else 'without'} readers: intake {seconds:.0f} s", flush=True)
    took = np.array(every.took)
    print(
        f"{len(took)} answers by {readers} readers, pause {pause:g} s: median {1000 * np.median(took):.0f} ms, 95 % "
        f"{1000 * np.quantile(took, 0.95):.0f} ms, worst {every.worst[0]:.2f} s ({every.worst[1]}), worst while the "
        f"intake ran {every.worst_running[0]:.2f} s ({every.worst_running[1]}), bad {every.bad}"
    )
    print(
        f"intake with readers / without: {np.mean(read) / np.mean(alone):.2f} ({np.mean(read):.1f} s / "
        f"{np.mean(alone):.1f} s)"
    )


if __name__ == "__main__":
    main()
