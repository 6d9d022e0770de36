"""Rows of SQLite files: of every kind its columns can be, locked, missing, written by others meanwhile."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines.jobs.sources import try_source
from pipelines.sources.database.trouble import SourceTrouble
from tests.conftest import NOW, WORKS, Place
from tests.sources.database.conftest import QUERY, only, pallets, progress, read, site

TABLE = "create table pallets (no text, line text, item text, packed_from, packed_to, units, state, closed_at)"
ROW = "insert into pallets values (?, 'K1', 'J370', '2026-03-02 08:00:00', '2026-03-02 09:00:00', 2016, 'packed', ?)"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "store.db"
    with sqlite3.connect(path) as connection:
        connection.execute(TABLE)
    return path


@pytest.fixture
def stored(tmp_path: Path, file: Path) -> Place:
    return site(tmp_path / "site", "sqlite:///../store.db", password=None)


def put(file: Path, *rows: tuple[object, ...]) -> None:
    with sqlite3.connect(file) as connection:
        connection.executemany(ROW, rows)


@pytest.mark.parametrize(
    ("values", "late", "begin"),
    [
        (("2026-03-02 09:05:00", "2026-03-02 09:06:30"), "2026-03-02 08:50:00", '"2026-01-01 00:00"'),
        (("2026-03-02T09:05:00.250Z", "2026-03-02T09:06:30.125Z"), "2026-03-02T08:50:00.500Z", "2026-01-01T00:00:00Z"),
        (("2026-03-02 09:05+01:00", "2026-03-02 09:06+01:00"), "2026-03-02 08:50+01:00", "2026-01-01T00:00:00"),
        (("2026-03-01", "2026-03-02"), "2026-03-02", "2026-01-01"),
        ((7, 2012), 1100, "0"),
        ((1772438700.25, 1772438800.5), 1772438790.75, "1000"),
    ],
)
@pytest.mark.parametrize("begins", [True, False])
def test_the_column_that_only_grows_can_be_of_any_kind(
    tmp_path: Path, file: Path, values: tuple[object, object], late: object, begin: str, begins: bool
) -> None:
    more = f"begin = {begin}" if begins else ""
    place = site(tmp_path / "site", "sqlite:///../store.db", more=more, password=None)
    put(file, ("P1", values[0]), ("P2", values[1]))
    assert read(place).rows == 2 and read(place).rows == 0
    put(file, ("P3", values[1]), ("P4", late))
    assert read(place).rows == 2 and read(place).rows == 0
    assert place.take().rows_kept == 4


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (("2026-03-02 09:05", 7), "two kinds"),
        (("02.03.2026 09:05",), "'02.03.2026 09:05', which is no time, day or number"),
        ((b"\x00\x01",), "no time, day or number"),
    ],
)
def test_a_column_that_cannot_grow_is_told(stored: Place, file: Path, values: tuple[object, ...], says: str) -> None:
    put(file, *((f"P{n}", value) for n, value in enumerate(values)))
    with pytest.raises(SourceTrouble, match=says):
        read(stored)
    assert not list(stored.site.inbox.iterdir())


def test_a_file_that_is_missing_is_told_and_not_made(tmp_path: Path, stored: Place, file: Path) -> None:
    file.unlink()
    with pytest.raises(SourceTrouble, match=r"there is no file .*store\.db"):
        read(stored)
    assert not file.exists()
    file.write_text("this is a letter and no database, however long it may be" * 20)
    with pytest.raises(SourceTrouble, match="not a database"):
        read(stored)


def test_a_locked_file_is_waited_for_and_then_told(tmp_path: Path, file: Path) -> None:
    place = site(tmp_path / "site", "sqlite:///../store.db", more="most_seconds = 1", password=None)
    put(file, ("P1", "2026-03-02 09:05:00"))
    writer = sqlite3.connect(file, isolation_level=None, check_same_thread=False)
    writer.execute("begin exclusive")
    with pytest.raises(SourceTrouble, match="database is locked"):
        read(place)
    timer = threading.Timer(0.3, writer.execute, ("commit",))
    timer.start()
    assert read(place).rows == 1
    timer.join()
    writer.close()


@pytest.mark.parametrize("journal", ["wal", "delete"])
def test_a_file_that_another_writes_meanwhile_loses_and_doubles_nothing(
    stored: Place, file: Path, journal: str
) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute(f"pragma journal_mode = {journal}")
    connection.close()
    ended = threading.Event()

    def write() -> None:
        with sqlite3.connect(file, timeout=20) as writer:
            for n in range(300):
                writer.execute(ROW, (f"P{n}", f"2026-03-02 09:{n // 60:02d}:{n % 60:02d}"))
                writer.commit()
        ended.set()

    thread = threading.Thread(target=write)
    thread.start()
    rows = 0
    while not ended.is_set():
        rows += read(stored).rows
    thread.join()
    rows += read(stored).rows
    assert rows == 300 and stored.take().rows_kept == 300 and len(pallets(stored)) == 300


def test_nothing_can_be_written(tmp_path: Path, file: Path) -> None:
    from pipelines.sources.database.reach import reached

    place = site(tmp_path / "site", "sqlite:///../store.db", password=None)
    with (
        pytest.raises(SourceTrouble, match="readonly database"),
        reached(place.site.root, only(place)) as here,
    ):
        here.connection.exec_driver_sql("delete from pallets")


def test_a_query_without_an_end_is_broken_off(tmp_path: Path, file: Path) -> None:
    endless = "with recursive n(i) as (select 1 union all select i + 1 from n) select i as closed_at, i as no from n "
    query = endless + "where i > $since and i < 0 order by i"
    place = site(tmp_path / "site", "sqlite:///../store.db", query, "most_seconds = 1", password=None)
    with pytest.raises(SourceTrouble, match="busy for more than 1 s"):
        read(place)


def test_a_bad_byte_is_refused_with_its_row_and_the_others_are_kept(stored: Place, file: Path) -> None:
    put(file, ("P1", "2026-03-02 09:05:00"))
    with sqlite3.connect(file) as connection:
        connection.execute(ROW.replace("?", "cast(x'50e4' as text)", 1), ("2026-03-02 09:06:00",))
        connection.execute(ROW, ("P\0x", "2026-03-02 09:07:00"))
    assert read(stored).rows == 3
    report = stored.take()
    assert report.rows_kept >= 1 and report.files_refused == 0
    assert (3, "not_text") in {(line, reason) for _, line, _, reason in stored.refusals()}


def test_trying_shows_what_rows_would_become_and_keeps_nothing(stored: Place, file: Path) -> None:
    assert list(try_source(stored.opened, only(stored))) == []
    put(file, ("P1", "2026-03-02 09:05:00"), ("P2", "2026-03-02 09:06:00"))
    (tried,) = try_source(stored.opened, only(stored))
    assert (tried.rows, tried.kept, tried.new, tried.whole) == (2, 2, 2, True)
    assert not list(stored.site.inbox.iterdir()) and progress(stored).so_far().watermark is None
    read(stored)
    stored.take()
    (tried,) = try_source(stored.opened, only(stored))
    assert (tried.new, tried.unchanged) == (0, 2)


def test_a_row_at_the_very_beginning_of_what_is_asked_again_is_given_out_once(tmp_path: Path, file: Path) -> None:
    query = QUERY.replace("> $since", ">= $since")
    place = site(tmp_path / "site", "sqlite:///../store.db", query, "again_minutes = 1", password=None)
    put(file, ("P1", "2026-03-02 09:05:00"), ("P2", "2026-03-02 09:06:00"))
    assert read(place).rows == 2 and read(place).rows == 0


def test_a_watermark_does_not_go_back_where_the_newest_rows_are_taken_away(stored: Place, file: Path) -> None:
    put(file, ("P1", "2026-03-02 09:05:00"), ("P2", "2026-03-02 09:06:00"))
    read(stored)
    with sqlite3.connect(file) as connection:
        connection.execute("delete from pallets where no = 'P2'")
    put(file, ("P3", "2026-03-02 09:04:00"))
    assert read(stored).rows == 1
    assert progress(stored).watermark() == "2026-03-02 09:06:00"


def test_another_column_that_grows_is_not_taken_for_the_former(stored: Place, file: Path) -> None:
    put(file, ("P1", "2026-03-02 09:05:00"))
    read(stored)
    works = stored.site.works_toml.read_text()
    stored.site.works_toml.write_text(works.replace('since = "closed_at"', 'since = "packed_to"'))
    with pytest.raises(SourceTrouble, match="--anew"):
        read(stored)
    assert read(stored, anew=True).rows == 1


def test_rows_that_are_wide_or_under_codes_are_mapped_as_in_a_file(tmp_path: Path, file: Path) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute("create table round (at integer, line, form_11, form_12)")
        connection.execute("insert into round values (1772438700, 1, 370.0, 371.25)")
    works = """
[[source]]
name = "scale"
url = "sqlite:///../store.db"
query = "select at, line, form_11, form_12 from round where at > $since order by at"
since = "at"
feed = "weight_checks"
time_format = "seconds since 1970"
columns = { "at" = "sampled_at" }
values = { line = { "1" = "K1" } }
wide = [{ columns = "form_*", name = "mould", value = "weight_g" }]
constants = { point = "cold", sample = 1 }
"""
    place = Place(tmp_path / "site", WORKS + works)
    assert read(place).rows == 1 and place.take().rows_kept == 2
    rows = place.facts("weight_checks").rows(named=True)
    assert [(row["mould"], row["weight_g"]) for row in rows] == [("11", 370.0), ("12", 371.25)]
    assert rows[0]["sampled_at"] == datetime(2026, 3, 2, 8, 5, tzinfo=UTC) < NOW


def test_a_query_in_quotes_comments_and_casts_is_asked_as_it_stands(tmp_path: Path, file: Path) -> None:
    query = QUERY.replace(
        "where ", "/* not $since */ where no <> ':since $since' and no not like '%:no%' and cast(units as int) > 0 and "
    )
    place = site(tmp_path / "site", "sqlite:///../store.db", query + ";", password=None)
    put(file, ("P1", "2026-03-02 09:05:00"), (":since $since", "2026-03-02 09:06:00"))
    assert read(place).rows == 1
