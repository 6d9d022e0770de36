"""A ledger kept open between answers: whoever wants to write gets it at once, whoever reads sees what was written, and
nothing is kept of a file that is there no more.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Iterator

import duckdb
import pytest

from pipelines.errors import LedgerBusy
from pipelines.ledger import resting
from pipelines.ledger.resting import Keeper
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:{:02d}:00+01:00,K1,K1-side-a,11,60,12,1\n"
TAKE = (
    "import sys, time; from pathlib import Path; from pipelines.site.folder import open_site; from "
    "pipelines.settings import Settings; from pipelines.intake import take_in; from datetime import datetime; "
    "o = open_site(Path(sys.argv[1]), Settings(fixed_now=datetime.fromisoformat(sys.argv[2]), lock_wait_s=20)); "
    "print(take_in(o.site, o.plant, o.settings).rows_kept)"
)


@pytest.fixture
def kept(place: Place) -> Iterator[Keeper]:
    place.put("station_counts.a.csv", HEAD + "".join(ROW.format(n) for n in range(20)))
    place.take()
    keeper = place.opened.ledger.keeper()
    keeper.begin()
    try:
        yield keeper
    finally:
        keeper.end()


def rows(place: Place) -> int:
    with place.opened.ledger.reading() as reader:
        return reader.current("station_counts").height


def is_open(place: Place) -> bool:
    """Whether this process has the ledger open: another one cannot have it to write then."""
    code = "import duckdb, sys; duckdb.connect(sys.argv[1]).close()"
    return subprocess.run([sys.executable, "-c", code, str(place.site.ledger)], capture_output=True).returncode != 0


def test_it_stays_open_after_an_answer_and_another_process_can_write_nevertheless(place: Place, kept: Keeper) -> None:
    assert rows(place) == 20 and is_open(place)
    place.put("station_counts.b.csv", HEAD + ROW.format(30))
    texts = [sys.executable, "-c", TAKE, str(place.site.root), place.settings.now().isoformat()]
    done = subprocess.run(texts, capture_output=True, text=True)
    assert done.stdout.strip() == "1", done.stderr
    assert not kept.wanted.exists()
    assert rows(place) == 21 and is_open(place)


def test_this_process_can_write_while_it_keeps_it_open(place: Place, kept: Keeper) -> None:
    assert rows(place) == 20
    place.put("station_counts.b.csv", HEAD + ROW.format(30))
    assert place.take().rows_kept == 1
    assert rows(place) == 21


def test_nothing_is_kept_while_somebody_wants_to_write_and_none_begins_meanwhile(place: Place, kept: Keeper) -> None:
    with place.opened.ledger.reading():
        kept.wanted.touch()
    assert not is_open(place)
    kept.wanted.unlink()
    assert rows(place) == 20 and is_open(place)
    with place.opened.ledger.gate():
        assert not is_open(place)


def test_what_a_killed_writer_left_costs_speed_and_the_next_one_takes_it_away(place: Place, kept: Keeper) -> None:
    kept.wanted.touch()
    assert rows(place) == 20 and not is_open(place)
    place.put("station_counts.b.csv", HEAD + ROW.format(30))
    assert place.take().rows_kept == 1
    assert rows(place) == 21 and is_open(place)


def test_a_file_put_in_its_place_is_the_one_that_is_read(place: Place, kept: Keeper) -> None:
    other = place.site.root / "other.duckdb"
    shutil.copyfile(place.site.ledger, other)
    with duckdb.connect(str(other)) as con:
        con.execute("delete from station_counts where file_line > 6")
    assert rows(place) == 20
    other.replace(place.site.ledger)
    assert rows(place) == 5


def test_what_nobody_asks_of_is_closed(place: Place, kept: Keeper, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(resting, "IDLE_S", 0.1)
    assert rows(place) == 20
    until = time.monotonic() + 5
    while is_open(place):
        assert time.monotonic() < until
        time.sleep(0.05)


def test_a_reader_of_other_settings_is_not_kept_out(place: Place, kept: Keeper) -> None:
    from dataclasses import replace

    assert rows(place) == 20
    other = replace(place.settings, reader_memory="500MB", lock_wait_s=2)
    with type(place.opened)(place.site, other, place.opened.plant).ledger.reading() as reader:
        assert reader.current("station_counts").height == 20


def test_an_answer_that_fails_leaves_nothing_open(place: Place, kept: Keeper) -> None:
    with pytest.raises(LedgerBusy), place.opened.ledger.reading():
        raise LedgerBusy("anything")
    assert not is_open(place)
