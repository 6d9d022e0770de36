"""Fuzzing of every parser: bytes made of good files with parts changed, and of nothing. By hand: `python -m
tests.fuzz.parsers --minutes 60 [--seed 1]`.

What must hold: nothing but FileRefused (or WrongUse, PlantError for those) is raised; every row of a file is kept or
refused, none is lost, none made up; what is kept satisfies its feed's schema.
A find is written to `finds/` beside the temporary folder's name that is printed, and becomes a case of
tests/fuzz/test_parsers.py.
"""

from __future__ import annotations

import argparse
import gzip
import json
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import polars as pl

from pipelines.clock import BadTime, parse_timestamp
from pipelines.errors import FileRefused, PlantError, WrongUse
from pipelines.intake.find import kinds_of
from pipelines.intake.foreign.propose import propose
from pipelines.intake.parse import parse_file, reading_for
from pipelines.intake.validate import sort_rows
from pipelines.plant.mapping import BrokerTopic
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings, clock_of
from pipelines.sources.broker.rows import rows_of
from sample_feeds.simulator.write import encode
from tests.conftest import SAMPLES, WORKS

FOREIGN = SAMPLES / "foreign"
LATEST = datetime(2030, 1, 1, tzinfo=UTC)
SETTINGS = Settings(longest_line=20_000, largest_file=1 << 20)
TOKENS = (
    b",",
    b";",
    b"\t",
    b'"',
    b'""',
    b"\n",
    b"\r\n",
    b"\r",
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xc3",
    b"-1",
    b"1e308",
    b"1e999",
    b"nan",
    b"inf",
    b"-0",
    b"0x10",
    b"1_000",
    b"99999999999999999999",
    "١٢".encode(),
    "２".encode(),
    b"2026-02-30T00:00:00Z",
    b"2026-03-02T24:00:00Z",
    b"2026-03-29T02:30:00",
    b"9999-12-31T23:59:59-23:59",
    b"0001-01-01T00:00:00+23:59",
    b"=1+1",
    b"{",
    b"}",
    b"[",
    b"null",
    b"true",
    b'{"a":1}',
    b"K1",
    b"refused_",
    b" ",
    "\u2028".encode(),
    b"'",
    b"\\",
    b"%d",
    b"{0}",
    b"{value}",
)


def seeds() -> list[tuple[str, bytes]]:
    """Good and faulty files of every feed and form, with their names."""
    found = [
        (p.name, p.read_bytes()[:6000])
        for folder in ("day", "faults", "foreign")
        for p in sorted((SAMPLES / folder).iterdir())
        if p.is_file() and p.suffix != ".toml"
    ]
    rows = pl.DataFrame(
        {
            "window_start": [datetime(2026, 3, 2, 8, tzinfo=UTC)] * 3,
            "line": ["K1"] * 3,
            "station": ["K1-side-a"] * 3,
            "mould": ["11", "12", None],
            "window_s": [60] * 3,
            "inspected": [12, 11, 3],
            "rejected": [1, 0, 0],
        }
    )
    return found + [
        (f"station_counts.x.{ending}", encode(rows, ending, "Europe/Warsaw"))
        for ending in ("csv", "csv.gz", "parquet", "jsonl")
    ]


def spoiled(rng: random.Random, data: bytes) -> bytes:
    """The bytes with a few parts changed, cut, doubled, moved."""
    answer = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        at = rng.randint(0, len(answer))
        to = min(len(answer), at + rng.choice((0, 1, 1, 2, 8, 40, 400)))
        kind = rng.randint(0, 6)
        if kind == 0:
            answer[at:to] = rng.choice(TOKENS)
        elif kind == 1:
            answer[at:at] = rng.choice(TOKENS) * rng.choice((1, 1, 2, 50))
        elif kind == 2:
            del answer[at:to]
        elif kind == 3:
            answer[at:at] = answer[at:to]
        elif kind == 4:
            answer = answer[:at]
        elif kind == 5 and answer:
            answer[min(at, len(answer) - 1)] ^= 1 << rng.randint(0, 7)
        else:
            answer[at:to] = rng.randbytes(to - at)
    return bytes(answer)


def read_file(plant: Plant, name: str, data: bytes) -> None:
    """One file through the whole way up to the ledger."""
    for kind in kinds_of(name, plant):
        raw = parse_file(data, kind, SETTINGS, name)
        rows = sort_rows(kind.feed, [(0, raw)], reading_for(plant, kind.mapping, LATEST))
        refused = rows.refused_rows.height
        assert rows.kept.height + refused == raw.rows, (rows.kept.height, refused, raw.rows)
        kind.feed.schema.validate(rows.kept.select(kind.feed.columns))
        assert set(rows.refusals["file_line"]) == set(rows.refused_rows["file_line"])
        for text in rows.refused_rows["row_text"]:
            json.loads(text)


def tries(plant: Plant) -> dict[str, Callable[[random.Random], bytes]]:
    """What is fuzzed: each gives the bytes that it tried, and raises where something must not be."""
    files = seeds()
    return {
        "feed files": partial(_feed, plant, files),
        "proposals": partial(_proposal, plant, files),
        "messages": partial(_message, plant),
        "works.toml": _works,
        "times": partial(_words, plant),
    }


def _feed(plant: Plant, files: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    name, data = rng.choice(files)
    if name.endswith(".gz") and rng.random() < 0.7:
        try:
            data = gzip.compress(spoiled(rng, gzip.decompress(data)), mtime=0)
        except (OSError, EOFError):
            data = spoiled(rng, data)
    else:
        data = spoiled(rng, data)
    _expected(lambda: read_file(plant, name, data), (FileRefused,), name.encode() + b"\n" + data)
    return data


def _proposal(plant: Plant, files: list[tuple[str, bytes]], rng: random.Random) -> bytes:
    name, data = rng.choice(files)
    data = spoiled(rng, data)
    _expected(lambda: read_plant(WORKS + "\n" + propose(data, name, plant).toml), (WrongUse, FileRefused), data)
    return data


def _message(plant: Plant, rng: random.Random) -> bytes:
    topic = BrokerTopic(topic="cold-end/{line}/{station}/counts", name="station_counts", arrival="window_start")
    data = spoiled(rng, MESSAGE)

    def whole() -> None:
        lines = rows_of(topic, "cold-end/K1/K1-side-a/counts", data, LATEST)
        assert all("\n" not in line for line in lines)
        read_file(
            plant, "station_counts.heard.jsonl", "".join(f"{line}\n" for line in lines).encode("utf-8", "replace")
        )

    _expected(whole, (FileRefused,), data)
    return data


def _works(rng: random.Random) -> bytes:
    data = spoiled(rng, WORKS[: rng.randint(200, 6000)].encode() + b"\n" + MAPPINGS[: rng.randint(0, 3000)].encode())
    _expected(lambda: read_plant(data.decode("utf-8", "replace")), (PlantError,), data)
    return data


def _words(plant: Plant, rng: random.Random) -> bytes:
    data = spoiled(
        rng,
        rng.choice((b"2026-03-02T09:00:00+01:00", b"2026-10-25T02:30:00", b"2026-03-05T05:05:00+00:00@1700000000x600")),
    )
    text = data.decode("utf-8", "replace")
    _expected(lambda: parse_timestamp(text, plant.clock.zone), (BadTime,), data)
    _expected(lambda: clock_of(text), (WrongUse,), data)
    return data


MESSAGE = (
    b'{"window_start": "2026-03-02T09:00:00+01:00", "mould": "11", "inspected": 12, "rejected": 1, "more": {"a": [1, '
    b"2.50]}}"
)
MAPPINGS = (FOREIGN / "mappings.toml").read_text(encoding="utf-8")


def _expected(work: Callable[[], object], allowed: tuple[type[Exception], ...], data: bytes) -> None:
    try:
        work()
    except allowed:
        return
    except Exception as error:
        raise Found(data, "".join(traceback.format_exception(error))) from error


class Found(Exception):
    """Bytes for which something happened that must not."""

    def __init__(self, data: bytes, text: str):
        super().__init__(text)
        self.data = data


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--minutes", type=float, default=60.0)
    asked.add_argument("--seed", type=int, default=int(time.time()))
    options = asked.parse_args()
    plant = read_plant(WORKS + "\n" + MAPPINGS)
    rng, folder = random.Random(options.seed), Path(tempfile.mkdtemp(prefix="fuzz-"))
    counts: dict[str, int] = {}
    finds: dict[str, int] = {}
    until = time.monotonic() + 60 * options.minutes
    every = tries(plant)
    while time.monotonic() < until:
        name = rng.choice(list(every))
        counts[name] = counts.get(name, 0) + 1
        try:
            every[name](rng)
        except Found as find:
            where = str(find).strip().splitlines()[-1][:120]
            finds[where] = finds.get(where, 0) + 1
            if finds[where] == 1:
                path = folder / f"{len(finds):03d}.bin"
                path.write_bytes(find.data)
                print(f"{name}: {where}\n  {path}\n{find}", flush=True)
    print(
        f"seed {options.seed}: {sum(counts.values()):,} inputs ({', '.join(f'{n:,} {k}' for k, n in counts.items())}); "
        f"{len(finds)} kinds of finds in {folder}"
    )
    sys.exit(bool(finds))


if __name__ == "__main__":
    main()
