"""Ware that goes through a station again: the optional column `refed` of station_counts, from every format to every
copy.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.ledger.export import export_tables, place_at, reading_export
from pipelines.ledger.keeping import compact, roll_day
from tests.conftest import HEAD, NOW, WORKS, Place

SQL = Path(__file__).parents[2] / "sql"
AT = datetime(2026, 3, 10, 8, tzinfo=UTC)
ROW = {
    "window_start": AT,
    "line": "K1",
    "station": "K1-side-a",
    "mould": "11",
    "window_s": 60,
    "inspected": 12,
    "rejected": 1,
    "refed": 3,
}
FRAME = pl.DataFrame([ROW])
TEXT = HEAD.replace("rejected", "rejected,refed") + "2026-03-10T08:00:00Z,K1,K1-side-a,11,60,12,1,3\n"
MAPPING = """
[[mapping]]
files = "loop_*.csv"
feed = "station_counts"
separator = ";"
timezone = "Europe/Warsaw"
columns = { "at" = "window_start", "form" = "mould", "seen" = "inspected", "out" = "rejected", "again" = "refed" }
constants = { line = "K1", station = "K1-side-a", window_s = 60 }
"""


def parquet(path: Path) -> None:
    FRAME.write_parquet(path)


def jsonl(path: Path) -> None:
    FRAME.with_columns(pl.col("window_start").dt.strftime("%Y-%m-%dT%H:%M:%SZ")).write_ndjson(path)


@pytest.mark.parametrize(
    ("name", "write"),
    [
        ("station_counts.a.csv", lambda path: path.write_text(TEXT)),
        ("station_counts.a.parquet", parquet),
        ("station_counts.a.jsonl", jsonl),
        ("loop_a.csv", lambda path: path.write_text("at;form;seen;out;again\n2026-03-10T09:00:00;11;12;1;3\n")),
    ],
    ids=["csv", "parquet", "jsonl", "mapping"],
)
def test_the_column_is_read_from_every_format(tmp_path: Path, name: str, write: Callable[[Path], object]) -> None:
    place = Place(tmp_path / "site", WORKS + MAPPING)
    write(place.site.inbox / name)
    report = place.take()
    assert (report.rows_kept, report.rows_refused, report.messages) == (1, 0, [])
    assert place.facts("station_counts").to_dicts() == [ROW]


def test_a_works_that_does_not_send_it_says_nothing(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + "2026-03-10T08:00:00Z,K1,K1-side-a,11,60,12,1\n")
    place.take()
    assert place.facts("station_counts")["refed"].to_list() == [None]


def test_a_row_that_now_tells_it_replaces_the_one_that_did_not(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + "2026-03-10T08:00:00Z,K1,K1-side-a,11,60,12,1\n")
    place.take()
    place.put("station_counts.b.csv", TEXT)
    place.take()
    assert place.facts("station_counts")["refed"].to_list() == [3]
    with place.opened.ledger.reading() as reader:
        assert reader.replaced("station_counts")["refed"].to_list() == [None]


def test_hours_hold_the_sum_of_their_minutes_and_copies_keep_it(place: Place, tmp_path: Path) -> None:
    """Minutes of 3, 4 and none told, and of another mould that tells nothing: an hour of 7 and one of nothing."""
    answer = [(0, 11, "3"), (1, 11, "4"), (2, 11, ""), (0, 12, "")]
    rows = "".join(f"2026-03-10T08:{m:02d}:00Z,K1,K1-side-a,{mould},60,12,1,{refed}\n" for m, mould, refed in answer)
    place.put("station_counts.a.csv", HEAD.replace("rejected", "rejected,refed") + rows)
    place.take()
    minutes = place.facts("station_counts")
    day = place.plant.clock.day(date(2026, 3, 10))
    roll_day(place.opened.ledger, date(2026, 3, 10), day.start, day.end, NOW)
    hours = place.facts("station_counts")
    assert hours.select("mould", "window_s", "inspected", "refed").rows() == [
        ("11", 3600, 36, 7),
        ("12", 3600, 12, None),
    ]
    compact(place.opened.ledger)
    assert place.facts("station_counts").equals(hours)
    kept = place_at(str(tmp_path / "export"))
    with place.opened.ledger.reading() as reader:
        export_tables(reader, place.plant.clock, WORKS, [date(2026, 3, 10)], kept)
    with reading_export(kept, None) as reader:
        assert sorted(reader.current("station_counts")["refed"].to_list(), key=str) == [7, None]
    rebuild_from_archive(place.opened)
    assert place.facts("station_counts").equals(minutes)


def test_an_export_made_before_the_column_was_known_is_read(place: Place, tmp_path: Path) -> None:
    place.put("station_counts.a.csv", TEXT)
    place.take()
    kept = place_at(str(tmp_path / "export"))
    with place.opened.ledger.reading() as reader:
        export_tables(reader, place.plant.clock, WORKS, [date(2026, 3, 10)], kept)
    (path,) = (tmp_path / "export" / "station_counts").rglob("*.parquet")
    pl.read_parquet(path, hive_partitioning=False).drop("refed").write_parquet(path)
    with reading_export(kept, None) as reader:
        assert reader.current("station_counts").select("inspected", "refed").rows() == [(12, None)]


def test_a_ledger_kept_from_before_gets_the_column(place: Place) -> None:
    """A ledger as the version before this one left it, with a row in it; its next intake finds that row in force."""
    with duckdb.connect(str(place.site.ledger)) as con:
        con.execute(
            "create table migrations (number integer primary key, name varchar not null, applied_at timestamp not null)"
        )
        for path in sorted((SQL / "migrations").glob("*.sql")):
            if path.stem < "0032":
                con.execute(path.read_text())
                con.execute("insert into migrations values (?, ?, now())", [int(path.stem[:4]), path.stem])
        con.execute(
            "insert into station_counts values ('2026-03-10 08:00', 'K1', 'K1-side-a', '11', 60, 12, 1, 1, 2, null, "
            "null)"
        )
    assert place.facts("station_counts").to_dicts() == [ROW | {"refed": None}]
    place.put("station_counts.a.csv", TEXT)
    place.take()
    assert place.facts("station_counts").to_dicts() == [ROW]
