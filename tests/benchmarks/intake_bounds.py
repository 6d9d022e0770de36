"""Time and greatest memory of intakes at their bounds. Run by hand: `python -m tests.benchmarks.intake_bounds [--files
20000] [--rows 5000000]`.

Many files of one row; one file of many rows, every row good; the same as JSON lines; the same with a byte in it that
sends it the careful way; and one of which every row is wrong.
Each in a process of its own. An intake may take two minutes for each of the first two and 1.5 GB for any.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.conftest import HEAD, Place

FIRST = datetime(2026, 1, 1, tzinfo=UTC)
STATIONS, MOULDS = ("K1-side-a", "K1-side-b", "K1-mouth", "K1-foot"), range(1, 17)


def rows(count: int, line: str = "K1") -> Iterator[str]:
    """So many rows with keys of their own, in pieces of a minute."""
    minute = 0
    while count > 0:
        at = (FIRST + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M:%SZ")
        sentences = [
            f"{at},{line},{s},{m},60,{(7 * m + minute) % 13 + 1},{(m + minute) % 2}\n" for s in STATIONS for m in MOULDS
        ]
        yield "".join(sentences[:count])
        count, minute = count - len(sentences), minute + 1


def many_files(place: Place, count: int) -> None:
    for number, text in enumerate(row for part in rows(count) for row in part.splitlines()):
        place.put(f"station_counts.{number:06d}.csv", f"{HEAD}{text}\n")


def one_file(place: Place, count: int, line: str = "K1", last: bytes = b"") -> None:
    with (place.site.inbox / "station_counts.great.csv").open("wb") as file:
        file.write(HEAD.encode())
        for part in rows(count, line):
            file.write(part.encode())
        file.write(last)


def json_lines(place: Place, count: int) -> None:
    names = HEAD.strip().split(",")
    with (place.site.inbox / "station_counts.great.jsonl").open("w") as file:
        for part in rows(count):
            for row in part.splitlines():
                file.write(json.dumps(dict(zip(names, row.split(","), strict=True))) + "\n")


CASES = {
    "files of one row": many_files,
    "rows in one file": one_file,
    "rows in one file, the careful way": lambda place, count: one_file(place, count, last=b"\xff\n"),
    "rows as JSON lines": json_lines,
    "rows in one file, all wrong": lambda place, count: one_file(place, count, "K9"),
}


def measured(name: str, count: int) -> None:
    """One case, in this process: printed with its time and the memory of it and of what made its files."""
    with tempfile.TemporaryDirectory() as folder:
        place = Place(Path(folder) / "site")
        CASES[name](place, count)
        begun = time.monotonic()
        answer = place.take()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
        print(
            f"{count:,} {name}: {time.monotonic() - begun:.1f} s, {peak:,} MB; {answer.rows_kept:,} rows kept, "
            f"{answer.rows_refused:,} refused, {answer.files_refused} files refused whole",
            flush=True,
        )


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--files", type=int, default=20_000)
    asked.add_argument("--rows", type=int, default=5_000_000)
    options = asked.parse_args()
    context = multiprocessing.get_context("spawn")
    for name in CASES:
        run = context.Process(target=measured, args=(name, options.files if name.startswith("files") else options.rows))
        run.start()
        run.join()


if __name__ == "__main__":
    main()
