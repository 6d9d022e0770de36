"""Weeks of a works in an hour: `coldledger serve` on a clock that runs fast, fed hour by hour, read all the while;
memory, open files and databases sampled.

`python -m tests.benchmarks.soak --minutes 60 --speed 360 --days 16`
"""

from __future__ import annotations

import argparse
import re
import shutil
import sqlite3
import subprocess
import tempfile
import time
import urllib.request
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from pipelines.plant.works import read_plant
from pipelines.settings import RunningClock
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.conftest import WORKS
from tests.serve.test_for_real import Served

FIRST = date(2026, 3, 2)
PORT = 4290
PAGES = ("/now", "/hour/K2", "/moulds/K2", "/weights/K2", "/feeds", "/holds", "/trace", "/day", "/metrics")


def one_line(text: str) -> str:
    """The invented works with its smallest line alone."""
    tables = re.split(r"(?m)^(?=\[)", text)
    keep = [
        t for t in tables if not re.match(r"\[\[(line|station)\]\]", t) or re.search(r'^(id|line) = "K2"$', t, re.M)
    ]
    return "".join(t for t in keep if not (t.startswith("[[furnace]]") and 'id = "F2"' in t))


@dataclass
class Sample:
    """Memory [MB] and open files of each part; size of the books [MB], and the runs in them."""

    at: float
    memory: dict[str, float] = field(default_factory=dict)
    files: dict[str, int] = field(default_factory=dict)
    books: float = 0.0
    runs: int = 0


def parts() -> dict[str, int]:
    """Process number of each part of the served site."""
    row = {}
    for pid in (path.name for path in Path("/proc").iterdir() if path.name.isdigit()):
        with suppress(OSError):
            words = Path(f"/proc/{pid}/cmdline").read_bytes().decode().split("\0")
            if "pipelines.serve.child" in words:
                row[words[words.index("pipelines.serve.child") + 1]] = int(pid)
    return row


def sampled(root: Path, began: float) -> Sample:
    sample = Sample(time.monotonic() - began)
    for name, pid in parts().items():
        with suppress(OSError, StopIteration):
            status = Path(f"/proc/{pid}/status").read_text().splitlines()
            sample.memory[name] = int(next(line for line in status if line.startswith("VmRSS")).split()[1]) / 1024
            sample.files[name] = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    sample.books = sum(path.stat().st_size for path in (root / ".serve").glob("serve.db*")) / 1e6
    with suppress(sqlite3.Error), sqlite3.connect(root / ".serve" / "serve.db", timeout=5) as con:
        sample.runs = con.execute("select count(*) from runs").fetchone()[0]
    return sample


def feed(waiting: list[Path], inbox: Path, now: datetime) -> list[Path]:
    """Put what had come by now into the inbox; what still waits."""
    rest = []
    for path in waiting:
        stamp = re.search(r"\.(\d{8}T\d{4})Z\.", path.name)
        begin = datetime.strptime(stamp[1], "%Y%m%dT%H%M").replace(tzinfo=UTC) if stamp else now
        hours = 24 if ".works." in path.name else 1
        if begin + timedelta(hours=hours, minutes=2) <= now:
            part = inbox / f".{path.name}"
            shutil.copyfile(path, part)
            part.rename(inbox / path.name)
        else:
            rest.append(path)
    return rest


def read_pages() -> int:
    """Ask for every page once; how many did not answer well."""
    bad = 0
    for address in PAGES:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{PORT}{address}", timeout=20) as answer:
                answer.read()
        except OSError:
            bad += 1
    return bad


def slope(samples: list[Sample], of: str) -> str:
    """Memory of the second half against the first, and its trend [MB an hour]."""
    at = np.array([s.at for s in samples if of in s.memory]) / 3600
    mb = np.array([s.memory[of] for s in samples if of in s.memory])
    half = len(at) // 2
    if half < 4:
        return "too few samples"
    trend = float(np.polyfit(at[half:], mb[half:], 1)[0])
    files = [s.files[of] for s in samples if of in s.files]
    return (
        f"{np.median(mb[:half]):.0f} MB in the first half, {np.median(mb[half:]):.0f} MB in the second, trend there "
        f"{trend:+.0f} MB/h; open files {min(files)} to {max(files)}, last {files[-1]}"
    )


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--minutes", type=float, default=60)
    asked.add_argument("--speed", type=float, default=360)
    asked.add_argument("--days", type=int, default=16)
    options = asked.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="soak-"))
    root = folder / "site"
    (root / "inbox").mkdir(parents=True)
    works = one_line(WORKS)
    (root / "works.toml").write_text(works)
    plant = read_plant(works)
    waiting = write_feeds(simulate(make_plan(plant, FIRST, options.days, 5)), folder / "feeds", dirty=False)
    clock = RunningClock(plant.clock.day(FIRST).start + timedelta(minutes=30), time.time(), options.speed)
    served = Served(root, clock.text(), port=PORT)
    samples, bad, asked_for, began = run(served.process, root, waiting, clock, options.minutes)
    ended = served.stop()
    print(
        f"stopped with {ended} after {(time.monotonic() - began) / 60:.0f} min, "
        f"{(clock.now() - clock.start).total_seconds() / 86400:.1f} days of the works' clock (x{options.speed:g})"
    )
    report(root, samples, bad, asked_for)
    print(f"kept in {folder}")


def run(
    process: subprocess.Popen[bytes], root: Path, waiting: list[Path], clock: RunningClock, minutes: float
) -> tuple[list[Sample], int, int, float]:
    """Feed, read and sample until the time is over."""
    began = time.monotonic()
    samples: list[Sample] = []
    bad = asked_for = 0
    while time.monotonic() - began < minutes * 60 and process.poll() is None:
        waiting = feed(waiting, root / "inbox", clock.now())
        if time.monotonic() - began > 15:
            bad += read_pages()
            asked_for += len(PAGES)
            samples.append(sampled(root, began))
        time.sleep(2)
    return samples, bad, asked_for, began


def report(root: Path, samples: list[Sample], bad: int, asked_for: int) -> None:
    """What the samples say."""
    for name in ("pages", "clerk"):
        print(f"{name}: {slope(samples, name)}")
    for share in (0.1, 0.25, 0.5, 0.75, 1.0):
        answer = samples[int(share * (len(samples) - 1))]
        print(f"after {answer.at / 60:.0f} min: books {answer.books:.2f} MB with {answer.runs} runs")
    print(f"{asked_for} pages asked for, {bad} did not answer well")
    with sqlite3.connect(root / ".serve" / "serve.db") as con:
        print(con.execute("select flow, state, count(*) from runs group by flow, state").fetchall())


if __name__ == "__main__":
    main()
