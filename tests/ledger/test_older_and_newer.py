"""A ledger of another version: an older one is read without being changed and kept before it is written to; a newer one
is left alone.
"""

from __future__ import annotations

import hashlib
import re
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipelines import __version__
from pipelines.errors import LedgerBroken, SiteError
from pipelines.ledger import upgrade
from pipelines.ledger.migrations import newest
from pipelines.ledger.queries import statements
from tests.conftest import HEAD, Place

ROW = "2026-03-10T06:00:00Z,K1,K1-side-a,20,60,5,0\n"
MORE = "2026-03-10T06:01:00Z,K1,K1-side-a,20,60,7,1\n"


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def made_older(place: Place, to: int = 31) -> None:
    """The ledger as a version that knew the migrations up to `to` left it: without the columns and tables that the
    later ones add.
    """
    later = "\n".join(text for name, text in statements("migrations") if int(name[:4]) > to)
    with duckdb.connect(str(place.site.ledger)) as con:
        for (view,) in con.execute("select view_name from duckdb_views() where not internal").fetchall():
            con.execute(f"drop view {view}")
        for table, column in re.findall(r'^alter table (\w+) add column ("?\w+"?)', later, re.M):
            con.execute(f"alter table {table} drop column {column}")
        for table in re.findall(r"^create table (\w+)", later, re.M):
            con.execute(f"drop table {table}")
        con.execute("delete from migrations where number > $to or number = 0", {"to": to})


def made_newer(place: Place) -> None:
    with duckdb.connect(str(place.site.ledger)) as con:
        con.execute("insert into migrations values ($n, 'later', now())", {"n": newest() + 1})


@pytest.fixture
def older(place: Place) -> Place:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    made_older(place)
    return place


def test_reading_an_older_ledger_changes_no_byte_of_it(older: Place, capsys: pytest.CaptureFixture[str]) -> None:
    before = digest(older.site.ledger)
    counts = older.facts("station_counts")
    assert counts["inspected"].to_list() == [5] and counts["refed"].to_list() == [None]
    with older.opened.ledger.reading() as reader:
        assert reader.whole("expected_cells").num_rows == 0
    later = older.settings.now() + timedelta(hours=1)
    with older.opened.ledger.reading(later) as reader:
        assert reader.current("station_counts").height == 1
    with older.opened.ledger.reading(older.settings.now() - timedelta(days=999)) as reader:
        assert reader.current("station_counts").height == 0
    assert digest(older.site.ledger) == before and not (older.site.root / ".upgrade").exists()
    assert capsys.readouterr().err == ""


def test_a_writer_keeps_it_as_it_was_says_so_once_and_brings_it_on(
    older: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    before = digest(older.site.ledger)
    older.put("station_counts.K1.later.csv", HEAD + MORE)
    assert older.take().rows_kept == 1
    (copy,) = (older.site.root / ".upgrade").iterdir()
    assert (copy.name, digest(copy)) == ("ledger-0031.duckdb", before)
    said = capsys.readouterr().err
    assert said.count("older coldledger") == 1 and str(copy) in said
    assert older.facts("station_counts")["inspected"].sort().to_list() == [5, 7]
    older.put("station_counts.K1.third.csv", HEAD + MORE.replace("06:01", "06:02"))
    assert older.take().rows_kept == 1 and capsys.readouterr().err == ""


def test_the_copy_is_a_ledger_to_go_back_to(older: Place, tmp_path: Path) -> None:
    older.put("station_counts.K1.later.csv", HEAD + MORE)
    older.take()
    older.site.ledger.write_bytes((older.site.root / ".upgrade" / "ledger-0031.duckdb").read_bytes())
    assert older.facts("station_counts")["inspected"].to_list() == [5]


def test_without_room_for_the_copy_nothing_is_changed(older: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    before = digest(older.site.ledger)
    monkeypatch.setattr(upgrade.shutil, "disk_usage", lambda _: type("Usage", (), {"free": 1000})())
    with pytest.raises(SiteError, match="no room for the copy"), older.opened.ledger.writing():
        pass
    assert digest(older.site.ledger) == before


def test_a_newer_ledger_is_neither_read_nor_written(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    made_newer(place)
    before = digest(place.site.ledger)
    with pytest.raises(LedgerBroken, match=r"newer coldledger .* install that version"):
        place.facts("station_counts")
    with pytest.raises(LedgerBroken, match="newer coldledger"), place.opened.ledger.writing():
        pass
    assert digest(place.site.ledger) == before


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    from pipelines.cli import app

    with pytest.raises(SystemExit):
        app(["--version"])
    assert capsys.readouterr().out == f"coldledger {__version__}\n"
