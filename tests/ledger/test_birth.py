"""A ledger is born whole, or not at all."""

from __future__ import annotations

import duckdb
import pytest

from tests.conftest import Place

HEAD = "window_start,line,station,mould,window_s,inspected,rejected\n"
ROW = "2026-03-10T06:00:00Z,K1,K1-side-a,20,60,5,0\n"


def test_what_a_killed_birth_left_is_cleared_away(place: Place) -> None:
    for name in (".ledger.duckdb.part", ".ledger.duckdb.part.wal"):
        (place.site.root / name).write_bytes(b"half a ledger")
    place.put("station_counts.K1.csv", HEAD + ROW)
    assert place.take().rows_kept == 1
    assert not list(place.site.root.glob(".ledger*"))


def test_a_ledger_that_an_older_version_left_without_tables_is_used(place: Place) -> None:
    with duckdb.connect(str(place.site.ledger)) as con:
        con.execute("select 1")
    place.put("station_counts.K1.csv", HEAD + ROW)
    assert place.take().rows_kept == 1 and place.facts("station_counts").height == 1


def test_a_birth_that_fails_leaves_no_ledger(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(con: duckdb.DuckDBPyConnection) -> None:
        con.execute("create table half (i integer)")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pipelines.ledger.store.migrate", broken)
    with pytest.raises(Exception, match="full"), place.opened.ledger.writing():
        pass
    assert not place.site.ledger.exists()
