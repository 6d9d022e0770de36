"""200 readers, 200 wrong sign-ins and the intake of a 12-line hour together: what anybody is answered, how long health
takes, what memory the pages need.

`python -m tests.benchmarks.crowd [--lines 12] [--readers 200] [--guesses 200] [--keep DIR]`

The site is that of `readers.py`. It must hold: no answer but 200, 303, 304 and 429 to readers and none but 401 and 429
to guesses, health under 1 s throughout, the pages' process under 800 MB. Readers are sessions on one computer without
sign-in, which is one reader to the limit
of questions: they meet 429 as no works would.
"""

from __future__ import annotations

import argparse
import asyncio
import http.client
import multiprocessing
import random
import re
import shutil
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Event as Flag
from pathlib import Path

from pipelines.plant.works import read_plant
from pipelines.settings import RunningClock
from tests.benchmarks import readers
from tests.benchmarks.signal_speed import DAYS, FIRST
from tests.serve.test_for_real import Served

PAUSE_S = 1.0  # between an answer and a reader's next click
HEALTH_S, MEMORY_MB = 1.0, 800
SPAWN = multiprocessing.get_context("spawn")


@dataclass
class Seen:
    """What came back: statuses of readers and guesses, seconds and statuses of health, the pages' memory [MB]."""

    read: Counter[int] = field(default_factory=Counter)
    guessed: Counter[int] = field(default_factory=Counter)
    took: list[float] = field(default_factory=list)
    health: list[float] = field(default_factory=list)
    said: dict[int, int] = field(default_factory=dict)
    memory: float = 0.0


def pages_process(root: Path, served: Served) -> int:
    """The process that answers the pages."""
    for number in served.children():
        if b"pages" in Path(f"/proc/{number}/cmdline").read_bytes().split(b"\0"):
            return number
    raise SystemExit(f"no pages are served of {root}")


def memory_mb(process: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text())
    return int(found[1]) / 1024 if found else 0.0


async def reader(addresses: list[str], seen: Seen, over: asyncio.Event, seed: int) -> None:
    """One reader: a connection that is kept, a page after the other; one of ten asks for a trace that nobody has
    asked.
    """
    rng = random.Random(seed)
    stream: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
    while not over.is_set():
        path = rng.choice(addresses)
        if rng.random() < 0.1:
            path = f"/trace?line=L{rng.randrange(12):02d}&mould={rng.randrange(1, 60)}"
            path += f"&made_from={FIRST}T{rng.randrange(10, 14)}:00"
            path += f"&made_to={FIRST}T{rng.randrange(15, 20)}:{rng.randrange(60):02d}"
        begun = time.perf_counter()
        try:
            if stream is None:
                stream = await asyncio.open_connection("127.0.0.1", readers.PORT, limit=1 << 22)
            seen.read[await asyncio.wait_for(readers.ask(*stream, path), 60)] += 1
        except (OSError, TimeoutError, ValueError, asyncio.IncompleteReadError):
            seen.read[0] += 1
            stream = None
        seen.took.append(time.perf_counter() - begun)
        await asyncio.sleep(PAUSE_S * rng.random() * 2)


async def guess(seen: Seen, number: int) -> None:
    """A wrong sign-in."""
    body = f"name=A.+Admin&password=guess+{number}"
    head = (
        "POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    try:
        source, to = await asyncio.open_connection("127.0.0.1", readers.PORT)
        to.write((head + body).encode())
        seen.guessed[int((await asyncio.wait_for(source.readline(), 60)).split()[1])] += 1
        to.close()
    except (OSError, TimeoutError, IndexError, ValueError):
        seen.guessed[0] += 1


def watch(process: int, over: Flag, found: Queue[tuple[list[float], dict[int, int], float]]) -> None:
    """Ask for health four times a second, on a connection of its own each time, in a process of its own as a watcher
    has; note the pages' memory.
    """
    took, said, memory = [], Counter[int](), 0.0
    while not over.is_set():
        begun = time.perf_counter()
        asked = http.client.HTTPConnection("127.0.0.1", readers.PORT, timeout=60)
        try:
            asked.request("GET", "/health")
            answer = asked.getresponse()
            answer.read()
            said[answer.status] += 1
        except OSError:
            said[0] += 1
        finally:
            asked.close()
        took.append(time.perf_counter() - begun)
        memory = max(memory, memory_mb(process))
        time.sleep(0.25)
    found.put((took, dict(said), memory))


def arrive(root: Path, files: list[Path]) -> None:
    """The files of an hour land in the inbox."""
    for path in files:
        shutil.copyfile(path, root / "inbox" / f".{path.name}")
    for path in files:
        (root / "inbox" / f".{path.name}").rename(root / "inbox" / path.name)


async def crowd(root: Path, files: list[Path], many: int, guesses: int, process: int) -> tuple[Seen, float]:
    """All of it at once, until the intake has ended; what was seen, and the intake's seconds."""
    seen, over = Seen(), asyncio.Event()
    every = readers.addresses(root)
    tasks = [asyncio.create_task(reader(every, seen, over, n)) for n in range(many)]
    watched, enough = SPAWN.Queue(), SPAWN.Event()
    watcher = SPAWN.Process(target=watch, args=(process, enough, watched))
    watcher.start()
    await asyncio.sleep(5)
    await asyncio.to_thread(
        arrive, root, files
    )  # a thread: what copies here must not be waited for in health's seconds
    tasks += [asyncio.create_task(guess(seen, n)) for n in range(guesses)]
    pair, until = None, time.monotonic() + 600
    while pair is None and time.monotonic() < until:
        await asyncio.sleep(0.5)
        pair = readers.last_intake(root, 0)
    await asyncio.sleep(10)
    enough.set()
    seen.health, seen.said, seen.memory = await asyncio.to_thread(watched.get, True, 90)
    over.set()
    await asyncio.gather(*tasks)
    return seen, pair[1] if pair else float("nan")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--lines", type=int, default=12)
    asked.add_argument("--readers", type=int, default=200)
    asked.add_argument("--guesses", type=int, default=200)
    asked.add_argument("--keep", type=Path, help="folder for the site as it is before; used again when it is there")
    options = asked.parse_args()
    kept = options.keep or Path(tempfile.mkdtemp()) / "site"
    if not kept.exists():
        readers.build(kept, options.lines)
    root = Path(tempfile.mkdtemp(prefix="crowd-")) / "site"
    shutil.copytree(kept, root)
    end = read_plant((root / "works.toml").read_text()).clock.day(FIRST + timedelta(days=DAYS - 1)).end
    hours: dict[str, list[Path]] = {}
    for path in sorted((root / "later").iterdir()):
        stamp = re.search(r"\.(\d{8}T\d{4})Z\.", path.name)
        if stamp and path.name.split(".")[0] in ("station_counts", "reject_counts", "forming_counts"):
            hours.setdefault(stamp[1], []).append(path)
    served = Served(root, RunningClock(end - timedelta(minutes=5), time.time()).text(), port=readers.PORT)
    served.until(lambda: served.get("/health")[0] != 0, 120, "the pages answer")
    time.sleep(15)
    seen, intake = asyncio.run(
        crowd(root, next(iter(hours.values())), options.readers, options.guesses, pages_process(root, served))
    )
    served.stop()
    shutil.rmtree(root.parent)
    report(seen, intake)


def report(seen: Seen, intake: float) -> None:
    """Print what was measured, and whether it holds."""
    took, said = sorted(seen.took), sorted(seen.health)
    print(
        f"intake {intake:.0f} s; readers {dict(seen.read)}, median {took[len(took) // 2]:.2f} s, 95 % "
        f"{took[int(0.95 * len(took))]:.2f} s, worst {took[-1]:.2f} s"
    )
    print(
        f"guesses {dict(seen.guessed)}; health {seen.said}, median {said[len(said) // 2]:.3f} s, 99 % "
        f"{said[int(0.99 * len(said))]:.3f} s, worst {said[-1]:.3f} s; pages {seen.memory:.0f} MB"
    )
    wrong = [f"readers {status}" for status in seen.read if status not in (200, 303, 304, 429)]
    wrong += [f"guesses {status}" for status in seen.guessed if status not in (401, 429)]
    wrong += ["health"] if said[-1] >= HEALTH_S else []
    wrong += ["memory"] if seen.memory >= MEMORY_MB else []
    print("holds" if not wrong else f"does not hold: {', '.join(wrong)}")


if __name__ == "__main__":
    main()
