"""The same rows as CSV, CSV.gz, Parquet and JSON lines give the same ledger; columns in any order, optional ones
absent.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Callable

import polars as pl
import pytest

from sample_feeds.simulator import Simulated
from sample_feeds.simulator.write import encode
from schemas.feeds import ALL_FEEDS
from tests.conftest import HEAD, SAMPLES, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


def sampled(feed: str, place: Place) -> pl.DataFrame:
    """The rows of a feed that the small day brings, as the ledger has them."""
    for path in (SAMPLES / "day").glob(f"{feed}.*"):
        place.put(path.name, path.read_bytes())
    place.take()
    return place.facts(feed)


@pytest.mark.parametrize("feed", list(ALL_FEEDS))
def test_every_feed_reads_the_same_from_every_format(
    feed: str, day_of_truth: Simulated, new_place: Callable[[], Place]
) -> None:
    frame = day_of_truth.feeds[feed].head(300) if feed in day_of_truth.feeds else sampled(feed, new_place())
    ledgers = []
    for ending in ("csv", "csv.gz", "parquet", "jsonl"):
        place = new_place()
        place.put(f"{feed}.x.{ending}", encode(frame, ending, "Europe/Warsaw"))
        report = place.take()
        assert (report.rows_kept, report.rows_refused, report.messages) == (frame.height, 0, [])
        ledgers.append(place.facts(feed))
    assert all(ledger.equals(ledgers[0]) for ledger in ledgers)
    untold = [column for column in ALL_FEEDS[feed].columns if column not in frame.columns]  # optional, as `refed`
    assert set(untold) <= set(ALL_FEEDS[feed].optional)
    assert all(ledgers[0][column].is_null().all() for column in untold)
    answer = frame.with_columns(pl.lit(None).alias(column) for column in untold).select(ALL_FEEDS[feed].columns)
    assert ledgers[0].equals(answer.sort(answer.columns).cast(dict(ledgers[0].schema)))  # type: ignore[arg-type]


def test_columns_in_any_order_and_without_optional_ones(place: Place) -> None:
    place.put(
        "station_counts.K1.csv",
        "rejected,inspected,station,line,window_start\n1,12,K1-side-a,K1,2026-03-02T08:00:00Z\n",
    )
    assert place.take().rows_kept == 1
    row = place.facts("station_counts").row(0, named=True)
    assert (row["mould"], row["window_s"], row["inspected"]) == (None, 60, 12)


def test_a_byte_order_mark_and_windows_line_ends_are_no_fault(place: Place) -> None:
    place.put("station_counts.K1.csv", b"\xef\xbb\xbf" + (HEAD + ROW).replace("\n", "\r\n").encode())
    assert place.take().rows_kept == 1


def test_a_missing_last_line_break_is_kept_and_noted(place: Place) -> None:
    place.put("station_counts.K1.csv", (HEAD + ROW).rstrip("\n"))
    assert place.take().rows_kept == 1
    with place.opened.ledger.reading() as reader:
        assert "no line break at the end" in reader._con.table("batches").pl()["note"][0]


def test_parquet_with_dictionaries_and_integer_moulds(place: Place) -> None:
    frame = pl.DataFrame(
        {
            "window_start": ["2026-03-02T08:00:00Z"],
            "line": ["K1"],
            "station": ["K1-side-a"],
            "mould": [7],
            "inspected": [3],
            "rejected": [0],
        }
    )
    out = io.BytesIO()
    frame.with_columns(pl.col("line").cast(pl.Categorical)).write_parquet(out)
    place.put("station_counts.K1.parquet", out.getvalue())
    assert place.take().messages == []
    assert place.facts("station_counts")["mould"].to_list() == ["7"]


def test_several_gz_members_are_one_file(place: Place) -> None:
    place.put("station_counts.K1.csv.gz", gzip.compress(HEAD.encode()) + gzip.compress(ROW.encode()))
    assert place.take().rows_kept == 1


MAPPING = """
[[mapping]]
files = "sidecam_*.txt"
feed = "station_counts"
separator = ";"
timezone = "Europe/Warsaw"
time_format = "%d.%m.%Y %H:%M"
columns = { "Clock" = "window_start", "Form" = "mould", "Seen" = "inspected", "Out" = "rejected" }
constants = { line = "K1", station = "K1-side-a", window_s = 60 }
"""


def test_a_foreign_export_is_mapped_by_the_plant_file(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from tests.conftest import WORKS

    place = Place(tmp_path / "site", WORKS + MAPPING)
    lines = [
        "Clock;Form;Seen;Out;Operator",
        "02.03.2026 09:00;11;12;1;x",
        "29.03.2026 02:30;11;12;1;x",
        "02.03.2026 09:01;;9;0;y",
    ]
    place.put("sidecam_1.txt", "\n".join(lines) + "\n")
    assert place.take().rows_kept == 2
    assert place.refusals() == [("sidecam_1.txt", 3, "window_start", "time_in_gap")]
    rows = place.facts("station_counts")
    assert [f"{at:%H:%M}" for at in rows["window_start"]] == ["08:00", "08:01"]
    assert rows["mould"].to_list() == ["11", None]
