"""Whole blocks of a ledger's file written over: with noise, with zeros, with another block, cut away. Each is found by
`check`, or named as one of which nothing can be said.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from pipelines.jobs.check import check_site, places_of_blocks
from pipelines.ledger.blocks import Blocks, look_at_blocks, looked_at
from tests.conftest import HEAD, Place

SIZE, FIRST = 262_144, 12_288  # bytes of a block, of what stands before the first
NOISE = random.Random(7).randbytes(SIZE)


def fill(place: Place) -> None:
    """Blocks of every kind: three intakes leave some that are free, a day of minutes has some of its own."""
    for n in range(3):
        rows = (
            f"2026-03-0{n + 1}T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{k},60,{7 * k % 13 + m % 5 + 9},{(h * k + m) % 4}\n"
            for h in range(24)
            for m in range(60)
            for k in range(1, 4)
        )
        place.put(f"station_counts.{n}.csv", HEAD + "".join(rows))
        place.take()


@pytest.fixture(scope="module")
def kept(new_site: Callable[..., Place]) -> Place:
    """That site, to be read."""
    return new_site("blocks", fill)


@pytest.fixture
def spoiled(new_site: Callable[..., Place]) -> Place:
    return new_site("blocks", fill)


def kinds(place: Place) -> dict[str, int]:
    """A block of each kind."""
    blocks = look_at_blocks(place.site.ledger)
    with place.opened.ledger.reading() as reader:
        rows = places_of_blocks(reader)
    with duckdb.connect(str(place.site.ledger), read_only=True) as con:
        describes = {row[0] for row in con.execute("select block_id from pragma_metadata_info()").fetchall()}
    assert blocks.free is not None
    others = set(blocks.in_use) - set(rows) - describes
    return {"rows": max(rows.keys() - {-1}), "describes": min(describes), "index": min(others), "free": blocks.free[0]}


def write_over(path: Path, number: int, data: bytes) -> None:
    with path.open("r+b") as file:
        file.seek(FIRST + number * SIZE)
        file.write(data)


def read(path: Path, number: int) -> bytes:
    with path.open("rb") as file:
        file.seek(FIRST + number * SIZE)
        return file.read(SIZE)


def test_which_blocks_are_free_is_what_the_database_says(kept: Place) -> None:
    blocks = look_at_blocks(kept.site.ledger)
    with duckdb.connect(str(kept.site.ledger), read_only=True) as con:
        rows = con.execute("select total_blocks, used_blocks, free_blocks from pragma_database_size()").fetchall()
    assert blocks.free is not None
    assert [(blocks.count, len(blocks.in_use), len(blocks.free))] == rows and len(blocks.free) > 0
    assert (blocks.headers, blocks.broken, blocks.same) == ([], [], [])


@pytest.mark.parametrize("data", [NOISE, bytes(SIZE), b"\xff" * SIZE], ids=["noise", "zeros", "ones"])
def test_any_block_written_over_is_named(data: bytes, kept: Place, tmp_path: Path) -> None:
    path = tmp_path / "ledger.duckdb"
    path.write_bytes(kept.site.ledger.read_bytes())
    for number in range(looked_at(path).count):
        before = read(path, number)
        write_over(path, number, data)
        assert looked_at(path).broken == [number]
        write_over(path, number, before)


def test_a_block_that_stands_twice_is_named_with_its_double(kept: Place, tmp_path: Path) -> None:
    path = tmp_path / "ledger.duckdb"
    path.write_bytes(kept.site.ledger.read_bytes())
    blocks = looked_at(path)
    answer, *others = blocks.in_use
    data = read(path, answer)
    for number in others:
        before = read(path, number)
        write_over(path, number, data)
        assert one_and(looked_at(path)) == [answer, number]
        write_over(path, number, before)


def one_and(blocks: Blocks) -> list[int]:
    (alike,) = blocks.same
    return alike


@pytest.mark.parametrize("kind", ["rows", "describes", "index", "free"])
@pytest.mark.parametrize("data", [NOISE, bytes(SIZE)], ids=["noise", "zeros"])
def test_check_names_the_block(kind: str, data: bytes, spoiled: Place) -> None:
    number = kinds(spoiled)[kind]
    write_over(spoiled.site.ledger, number, data)
    checked = check_site(spoiled.opened)
    (level,) = {
        finding.level for finding in checked.findings if finding.where.startswith(f"ledger.duckdb, block {number} (")
    }
    assert (level, checked.whole) == (("warn", True) if kind == "free" else ("fail", False))
    if kind == "rows":
        assert any("station_counts." in finding.where for finding in checked.findings)


@pytest.mark.parametrize("kind", ["rows", "describes", "index"])
def test_check_tells_of_a_block_that_was_written_over_with_another(kind: str, spoiled: Place) -> None:
    number, other = kinds(spoiled)[kind], kinds(spoiled)["index" if kind == "rows" else "rows"]
    write_over(spoiled.site.ledger, number, read(spoiled.site.ledger, other))
    checked = check_site(spoiled.opened)
    named = [finding for finding in checked.findings if finding.where.startswith("ledger.duckdb, blocks ")]
    assert len(named) == 1 and all(f"{each} (" in named[0].where for each in (number, other)), checked.findings


def test_a_ledger_without_its_end_and_one_with_a_torn_header(spoiled: Place) -> None:
    path = spoiled.site.ledger
    whole = path.read_bytes()
    last = looked_at(path).in_use[-1]
    path.write_bytes(whole[: FIRST + last * SIZE])
    assert looked_at(path).count == last and not check_site(spoiled.opened).whole
    for number in range(3):
        path.write_bytes(whole[: 4096 * number + 100] + b"\xaa" * 8 + whole[4096 * number + 108 :])
        assert looked_at(path).headers == [("first", "second", "third")[number]]
    assert not check_site(spoiled.opened).whole
