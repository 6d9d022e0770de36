"""A checkpoint cut off in a write over what describes the tables: found by cutting the power at every call
(tests/faults); the guard puts it back.
"""

from __future__ import annotations

import subprocess
import sys
import threading

import duckdb
import pytest

from pipelines.errors import LedgerBroken
from pipelines.ledger.guard import Guard
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:{:02d}:00+01:00,K1,K1-side-a,11,60,12,1\n"


@pytest.fixture
def used(place: Place) -> Place:
    place.put("station_counts.a.csv", HEAD + "".join(ROW.format(n) for n in range(20)))
    place.take()
    return place


def torn(place: Place) -> None:
    """The first block half written over, as after a power cut in a checkpoint."""
    data = bytearray(place.site.ledger.read_bytes())
    data[12_288 + 131_072 : 12_288 + 262_144] = b"\x5a" * 131_072
    place.site.ledger.write_bytes(bytes(data))


def guarded(place: Place) -> Guard:
    with duckdb.connect(str(place.site.ledger), read_only=True) as con:
        blocks = [row[0] for row in con.execute("select block_id from pragma_metadata_info()").fetchall()]
    guard = Guard(place.site.ledger)
    guard.save(blocks, 262_144, here=True)
    return guard


def test_what_a_cut_off_checkpoint_tore_is_put_back(used: Place) -> None:
    before, guard = used.facts("station_counts"), guarded(used)
    torn(used)
    assert used.facts("station_counts").equals(before)
    assert not guard.there
    used.put("station_counts.b.csv", HEAD + ROW.format(30))
    assert used.take().rows_kept == 1


def test_without_a_guard_the_same_ledger_cannot_be_read(used: Place) -> None:
    torn(used)
    with pytest.raises(LedgerBroken):
        used.facts("station_counts")


def test_a_guard_of_a_ledger_that_is_well_is_dropped_and_changes_nothing(used: Place) -> None:
    guard = guarded(used)
    data = used.site.ledger.read_bytes()
    used.facts("station_counts")
    assert not guard.there and used.site.ledger.read_bytes() == data


def test_a_guard_that_is_not_whole_is_not_used(used: Place) -> None:
    guard = guarded(used)
    guard.path.write_bytes(guard.path.read_bytes()[:-100])
    assert not guard.restore()
    torn(used)
    with pytest.raises(LedgerBroken):
        used.facts("station_counts")


def test_no_guard_is_left_after_a_write(used: Place) -> None:
    assert not Guard(used.site.ledger).there


def test_a_process_that_reads_has_another_one_copy(used: Place) -> None:
    """To open and close the file in a process that reads it would drop DuckDB's lock, and a second program could write
    under the reader.
    """
    guard, reads, done = Guard(used.site.ledger), threading.Event(), threading.Event()

    def read() -> None:
        with used.opened.ledger.reading():
            reads.set()
            done.wait(20)

    thread = threading.Thread(target=read)
    thread.start()
    reads.wait(10)
    guard.save([0], 262_144, here=False)
    code = f"import duckdb; duckdb.connect({str(used.site.ledger)!r})"
    stranger = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    done.set()
    thread.join()
    assert guard.there and "lock" in stranger.stderr, "the reader's lock still holds"
