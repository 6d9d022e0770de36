"""Faults of a works' computers that no single call shows: clocks that jump, a stranger's notebook, several at once,
what is broken on the disk. Each is one clear sentence, and nothing is lost or doubled. catalogue.md names every fault
with its test.
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipelines.errors import ColdledgerError, LedgerBroken, LedgerBusy, SiteError
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.ledger.store import _CURRENT
from pipelines.settings import Settings
from tests.conftest import HEAD, NOW, Place
from tests.pages.conftest import served

HERE, ROOT = Path(__file__).parent, Path(__file__).parent.parent.parent
ROW = "2026-03-02T09:{:02d}:00+01:00,K1,K1-side-a,11,60,12,{}\n"


def rows(first: int, last: int, rejected: int = 1) -> str:
    return HEAD + "".join(ROW.format(n, rejected) for n in range(first, last))


def at(place: Place, **later: float) -> Place:
    place.settings = Settings(fixed_now=NOW + timedelta(**later), lock_wait_s=5)
    return place


def test_a_clock_that_jumps_back_changes_nothing_that_was_kept(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 10))
    place.take()
    place.put("station_counts.b.csv", rows(0, 10, rejected=2))
    assert at(place, days=-3).take().rows_kept == 10
    place.put("station_counts.c.csv", rows(5, 10, rejected=3))
    at(place, hours=1).take()
    before = place.facts("station_counts")
    assert before["rejected"].to_list() == [2] * 5 + [3] * 5
    rebuild_from_archive(place.opened)
    assert place.facts("station_counts").equals(before), (
        "the order of receipt is that of the batches, not of a clock that jumped"
    )


def test_rows_that_came_while_the_clock_was_a_month_slow_are_set_aside_and_can_be_taken_in(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 10))
    report = at(place, days=-60).take()
    assert (report.rows_kept, report.rows_refused) == (0, 10)
    assert {r[3] for r in place.refusals()} == {"in_future"}
    at(place)
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 10


def test_a_strangers_notebook_holds_the_ledger_for_many_intakes(place: Place) -> None:
    """Ten minutes of a minute each are ten tries of an instant here: what counts is that each ends with its sentence,
    and that the first after it takes all in, once.
    """
    place.put("station_counts.a.csv", rows(0, 5))
    place.take()
    script = (
        f"import duckdb, sys; con = duckdb.connect({str(place.site.ledger)!r}); print('held', flush=True); "
        "sys.stdin.read()"
    )
    holder = subprocess.Popen([sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert holder.stdout is not None and holder.stdout.readline() == "held\n"
    place.settings = Settings(fixed_now=NOW, lock_wait_s=0.1)
    try:
        for minute in range(10):
            place.put(f"station_counts.b{minute}.csv", rows(10 + minute, 11 + minute))
            with pytest.raises(LedgerBusy, match="is held by another program"):
                place.take()
        answer = served(place.site.root).get("/now")
        assert answer.status_code == 503 and "Traceback" not in answer.text
    finally:
        holder.communicate("")
    at(place)
    assert place.take().rows_kept == 10 and place.facts("station_counts").height == 15
    assert check_site(place.opened, rows=True).findings == []


def test_intakes_of_several_processes_at_once_take_everything_once(place: Place) -> None:
    for n in range(12):
        place.put(f"station_counts.{n}.csv", rows(n, n + 1))
    code = (
        "import sys; from pathlib import Path; from tests.faults.cutter import at; from pipelines.errors import "
        "ColdledgerError\n"
        "place = at(Path(sys.argv[1]))\n"
        "try:\n    print(place.take().rows_kept)\nexcept ColdledgerError as error:\n    print(error)\n"
    )
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(place.site.root)], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        for _ in range(3)
    ]
    said = [run.communicate(timeout=120)[0].strip() for run in runs]
    assert sum(int(text) for text in said if text.isdigit()) == 12
    assert all(text.isdigit() or "still running" in text for text in said), said
    assert place.facts("station_counts").height == 12
    assert check_site(place.opened, rows=True).findings == []


def test_a_file_that_is_taken_back_or_changed_while_it_is_read_is_lost_to_nobody(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read is what counts and what is archived; the other file that meanwhile has its name is taken in by the
    next intake.
    """
    first = place.put("station_counts.a.csv", rows(0, 3))
    real, once = Path.read_bytes, threading.Event()

    def read(path: Path) -> bytes:
        data = real(path)
        if path == first and not once.is_set():
            once.set()
            place.put("station_counts.a.csv", rows(3, 9))
        return data

    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", read)
        place.take()
    place.take()
    assert place.facts("station_counts").height == 9
    assert check_site(place.opened, rows=True).findings == []


def test_another_programs_file_in_the_ledgers_place_asks_no_network(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 5))
    place.take()
    place.site.ledger.unlink()
    with closing(sqlite3.connect(place.site.ledger)) as other:
        other.execute("create table notes (text)")
        other.commit()
    before = place.site.ledger.read_bytes()
    for ask in (lambda: place.facts("station_counts"), place.take):
        with pytest.raises(
            LedgerBroken, match=r"another program's SQLite file; .* rebuild --from-archive"
        ) as exception_info:
            ask()
        assert "extension" not in str(exception_info.value).lower()
    assert place.site.ledger.read_bytes() == before


def test_another_programs_database_in_the_ledgers_place_is_said_to_be_one_and_left_as_it_is(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 5))
    place.take()
    place.site.ledger.unlink()
    with closing(duckdb.connect(str(place.site.ledger))) as other:
        other.execute("create table notes (text varchar)")
    before = place.site.ledger.read_bytes()
    place.put("station_counts.b.csv", rows(5, 5))
    for ask in (lambda: place.facts("station_counts"), place.take):
        with pytest.raises(LedgerBroken, match=r"another program's database .*notes.* rebuild --from-archive"):
            ask()
    (finding,) = check_site(place.opened, rows=True).findings
    assert finding.level == "fail" and "another program's database" in finding.what
    assert place.site.ledger.read_bytes() == before and (place.site.inbox / "station_counts.b.csv").exists()


def test_a_retry_without_the_ledger_says_so(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 5).replace(",60,", ",x,", 1))
    place.take()
    place.site.ledger.unlink()
    with pytest.raises(SiteError, match=r"is gone.* rebuild --from-archive"):
        retry_quarantine(place.site, place.plant, place.settings)


@pytest.mark.parametrize("how", ["header", "middle", "end", "empty", "text"])
def test_a_corrupt_ledger_is_one_sentence_everywhere_and_comes_back_from_the_archive(place: Place, how: str) -> None:
    place.put("station_counts.a.csv", rows(0, 50))
    place.take()
    before = place.facts("station_counts")
    data = bytearray(place.site.ledger.read_bytes())
    spans = {
        "header": (0, 4096),
        "middle": (len(data) // 2 - 2**18, len(data) // 2 + 2**18),
        "end": (len(data) - 2**18, len(data)),
    }
    if how in spans:
        first, last = spans[how]
        data[max(0, first) : last] = b"\xaa" * (last - max(0, first))
    place.site.ledger.write_bytes({"empty": b"", "text": b"not a ledger\n" * 400}.get(how, bytes(data)))
    place.put("station_counts.b.csv", rows(50, 55))
    found = []
    for ask in (lambda: place.facts("station_counts"), place.take):
        try:
            ask()
        except ColdledgerError as error:
            found.append(str(error))
    if how in ("header", "text"):
        assert found and all("\n" not in text and "rebuild --from-archive" in text for text in found), found
    answer = served(place.site.root).get("/now")
    assert "Traceback" not in answer.text and answer.status_code in (200, 503)
    rebuild_from_archive(place.opened)
    place.take()
    assert place.facts("station_counts").height == before.height + 5
    assert check_site(place.opened, rows=True).findings == []


def test_a_corrupt_ledger_that_opens_is_still_found_by_check(place: Place) -> None:
    for n in range(4):
        place.put(
            f"station_counts.{n}.csv",
            HEAD
            + "".join(
                f"2026-03-{d:02d}T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{k},60,{7 * k % 13 + m % 5},{(d * k + m) % 4}\n"
                for d in range(1 + n, 3 + n)
                for h in range(24)
                for m in range(60)
                for k in range(3)
            ),
        )
    place.take()
    data = bytearray(place.site.ledger.read_bytes())
    for here in range(len(data) // 3, len(data), 1 << 14):
        data[here] ^= 0xFF
    place.site.ledger.write_bytes(bytes(data))
    checked = check_site(place.opened, rows=True)
    assert not checked.whole and any(
        "from-archive" in finding.what or "not in" in finding.what for finding in checked.findings
    ), checked


def test_a_ledger_of_a_newer_program_is_not_touched(place: Place) -> None:
    place.put("station_counts.a.csv", rows(0, 5))
    place.take()
    with place.opened.ledger.writing() as con:
        con.execute("insert into migrations values (9000, '9000_later', now())")
    _CURRENT.clear()  # as a new process finds it
    before = place.site.ledger.read_bytes()
    place.put("station_counts.b.csv", rows(5, 9))
    with pytest.raises(LedgerBroken, match="newer coldledger"):
        place.take()
    assert place.site.ledger.read_bytes() == before


def test_every_fault_of_the_catalogue_names_a_test_that_is_there() -> None:
    text = (HERE / "catalogue.md").read_text(encoding="utf-8")
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", text)
    assert len(named) >= 20
    for path, name in named:
        assert re.search(rf"def {name}\b", (ROOT / "tests" / path).read_text(encoding="utf-8")), (path, name)
