"""Foreign exports become feeds by works.toml alone: headers, wide tables, codes, numbers, times through the change of
the clock.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

from pipelines.intake.retry import retry_quarantine
from tests.conftest import SAMPLES, WORKS, Place

FOREIGN = SAMPLES / "foreign"
MAPPINGS = (FOREIGN / "mappings.toml").read_text(encoding="utf-8")
DST = """
[[mapping]]
files = "clock_*.csv"
feed = "station_counts"
timezone = "Europe/Warsaw"
columns = { "at" = "window_start", "station" = "station", "seen" = "inspected", "out" = "rejected" }
constants = { line = "K1" }
"""


@pytest.fixture
def mapped(tmp_path: Path) -> Callable[[str], Place]:
    return lambda text: Place(tmp_path / "site", WORKS + text)


def put_sample(place: Place, name: str) -> None:
    place.put(name, (FOREIGN / name).read_bytes())


def test_one_export_with_two_header_lines_and_a_column_a_defect_becomes_two_feeds(
    mapped: Callable[[str], Place],
) -> None:
    place = mapped(MAPPINGS)
    put_sample(place, "seite_K3_20260303.txt")
    report = place.take()
    assert (report.files, report.rows_refused, report.messages) == (2, 0, [])
    counts = place.facts("station_counts").select("window_start", "mould", "window_s", "inspected", "rejected").rows()
    eight, nine = datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 3, 2, 9, tzinfo=UTC)
    assert counts == [
        (eight, "11", 3600, 1012, 9),
        (eight, "12", 3600, 1009, 2),
        (nine, "11", 3600, 1011, 0),
        (nine, "12", 3600, 998, 1),
    ]
    calls = place.facts("reject_counts").select("window_start", "mould", "defect", "rejected").rows()
    assert calls == [(eight, "11", "BSW", 4), (eight, "11", "STN", 6), (eight, "12", "STN", 2), (nine, "12", "STN", 1)]
    archived = sorted(p.relative_to(place.site.archive).as_posix() for p in place.site.archive.rglob("*.txt"))
    assert archived == [
        "reject_counts/2026-03-02/seite_K3_20260303.txt",
        "station_counts/2026-03-02/seite_K3_20260303.txt",
    ]


def test_the_same_export_again_changes_nothing(mapped: Callable[[str], Place]) -> None:
    place = mapped(MAPPINGS)
    for _ in range(2):
        put_sample(place, "seite_K3_20260303.txt")
        report = place.take()
    assert (report.files, report.repeated) == (0, 2)
    assert list(place.site.inbox.iterdir()) == []


def test_a_corrected_wide_line_replaces_only_what_changed(mapped: Callable[[str], Place]) -> None:
    place = mapped(MAPPINGS)
    put_sample(place, "waage.K1-20260302.tsv")
    place.take()
    text = (FOREIGN / "waage.K1-20260302.tsv").read_text(encoding="utf-8").replace("341,25", "341,75")
    place.put("waage.K1-20260302-again.tsv", text)
    place.take()
    weights = place.facts("weight_checks").sort("sampled_at", "mould")
    assert weights["weight_g"].to_list() == [339.8, 341.75, 340.0, 340.1, 339.7]
    assert weights["mould"].to_list() == ["11", "12", "13", "11", "13"]
    assert weights["by"].to_list() == ["lab2"] * 5
    with place.opened.ledger.reading() as reader:
        assert reader.replaced("weight_checks").select("mould", "weight_g").rows() == [("12", 341.25)]


def test_running_totals_become_counter_reads(mapped: Callable[[str], Place]) -> None:
    place = mapped(MAPPINGS)
    put_sample(place, "totals-K2.log")
    place.take()
    rows = place.facts("counter_reads").sort("read_at", "counter").select("read_at", "counter", "total").rows()
    at, later = datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 3, 2, 8, 5, tzinfo=UTC)
    assert rows == [
        (at, "inspected", 48211),
        (at, "rejected", 310),
        (later, "inspected", 48391),
        (later, "rejected", 312),
    ]


def clock_rows(times: list[str], station: str = "K1-mouth") -> str:
    return "at,station,seen,out\n" + "".join(f"2025-10-26 {t},{station},{n + 1},0\n" for n, t in enumerate(times))


def utc(place: Place) -> list[str]:
    return place.facts("station_counts").sort("inspected")["window_start"].dt.strftime("%H:%M").to_list()


def test_the_hour_that_comes_twice_is_told_apart_by_the_order_of_the_rows(mapped: Callable[[str], Place]) -> None:
    place = mapped(DST)
    place.put("clock_1.csv", clock_rows(["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]))
    assert place.take().rows_refused == 0
    assert utc(place) == ["23:30", "00:00", "00:30", "01:00", "01:30", "02:00"]


def test_an_hourly_export_tells_it_by_the_same_time_standing_twice(mapped: Callable[[str], Place]) -> None:
    place = mapped(DST)
    place.put("clock_1.csv", clock_rows(["01:00", "02:00", "02:00", "03:00"]))
    place.take()
    assert utc(place) == ["23:00", "00:00", "01:00", "02:00"]


def test_newest_first_and_station_by_station_are_told_as_well(mapped: Callable[[str], Place]) -> None:
    place = mapped(DST)
    times = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    place.put("clock_1.csv", clock_rows(times[::-1]))
    text = clock_rows(times, "K1-foot") + clock_rows(times, "K1-side-a").split("\n", 1)[1]
    place.put("clock_2.csv", text)
    assert place.take().rows_refused == 0
    rows = place.facts("station_counts").group_by("station").agg(pl.col("window_start").n_unique())
    assert sorted(rows.rows()) == [("K1-foot", 6), ("K1-mouth", 6), ("K1-side-a", 6)]


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        (["01:50", "01:55", "02:00", "02:05"], ["23:50", "23:55", "00:00", "00:05"]),
        (["02:50", "02:55", "03:00"], ["01:50", "01:55", "02:00"]),
    ],
)
def test_rows_that_run_on_from_a_sure_time_are_sure(
    mapped: Callable[[str], Place], times: list[str], expected: list[str]
) -> None:
    place = mapped(DST)
    place.put("clock_1.csv", clock_rows(times))
    assert place.take().rows_refused == 0
    assert utc(place) == expected


@pytest.mark.parametrize(
    "times", [["02:10", "02:20", "02:30"], ["01:50", "02:00", "02:30", "02:59", "03:00"], ["01:00", "02:30", "04:00"]]
)
def test_what_the_order_cannot_tell_is_set_aside_and_can_be_mended(
    mapped: Callable[[str], Place], times: list[str]
) -> None:
    place = mapped(DST)
    place.put("clock_1.csv", clock_rows(times))
    place.take()
    assert {r[3] for r in place.refusals()} == {"time_twice"}
    mend = next(place.site.quarantine.iterdir())
    mend.write_text(mend.read_text().replace("2025-10-26T02:", "2025-10-26T01:").replace(":00,K1", ":00Z,K1"))
    assert retry_quarantine(place.site, place.plant, place.settings).rows_refused == 0


NUMBERS = """
[[mapping]]
files = "melt*.txt"
feed = "melt_log"
separator = ";"
decimal = ","
thousands = "."
header_lines = 0
timezone = "Europe/Warsaw"
time_format = "%d.%m.%y %H:%M"
columns = { "1" = "window_start", "2" = "batch_kg", "3" = "moisture_pct", "4" = "loss_pct", "5" = "cullet_kg" }
factors = { batch_kg = 1000, cullet_kg = 1000 }
constants = { furnace = "F1", window_s = 3600 }
"""


def test_numbers_with_a_comma_and_tonnes_without_a_header(mapped: Callable[[str], Place]) -> None:
    place = mapped(NUMBERS)
    place.put("melt1.txt", "02.03.26 09:00;9,1205;3,1;16,8;5,4\n02.03.26 10:00;1.009,0;3,1;16,8;5\n")
    assert place.take().messages == []
    rows = place.facts("melt_log").select("batch_kg", "moisture_pct", "cullet_kg").rows()
    assert rows == [(9120.5, 3.1, 5400.0), (1_009_000.0, 3.1, 5000.0)]


def test_a_point_where_a_comma_is_the_mark_is_no_number(mapped: Callable[[str], Place]) -> None:
    place = mapped(NUMBERS.replace('thousands = "."\n', ""))
    place.put("melt1.txt", "02.03.26 09:00;1.234;3,1;16,8;5,4\n")
    place.take()
    assert place.refusals() == [("melt1.txt", 1, "batch_kg", "not_a_number")]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (('"1" = "window_start"', '"clock" = "window_start"'), "wrong_header"),
        (('feed = "melt_log"', 'feed = "melting"'), "mapping_feed"),
        (('"2" = "batch_kg"', '"2" = "batch"'), "mapping_column"),
        (("header_lines = 0", 'header_lines = 0\nencoding = "ascii"'), "other_encoding"),
        (('furnace = "F1", window_s = 3600 }', 'window_s = 3600 }\nfrom_name = "melt_(?P<furnace>F.)"'), "name_lacks"),
        (("header_lines = 0", 'header_lines = 0\nfrom_name = "melt(?P<furnace>.)"'), "mapping_column"),
    ],
)
def test_a_mapping_that_does_not_fit_refuses_the_file_whole(
    mapped: Callable[[str], Place], change: tuple[str, str], reason: str
) -> None:
    place = mapped(NUMBERS.replace(*change))
    place.put("melt1.txt", "02.03.26 09:00;9,1;3,1;16,8;5,4\n# Öl\n")
    report = place.take()
    assert (report.files_refused, [r[3] for r in place.refusals()]) == (1, [reason])


def test_lines_left_out_are_told_with_the_file(mapped: Callable[[str], Place]) -> None:
    place = mapped(MAPPINGS)
    put_sample(place, "seite_K3_20260303.txt")
    place.take()
    with place.opened.ledger.reading() as reader:
        notes = reader._con.table("batches").pl().sort("feed")["note"].to_list()
    assert notes[0] == "1 lines left out as works.toml says; 1 rows added to others whose codes mean the same"


def test_mapped_rows_that_were_refused_are_mended_in_the_contracts_words(mapped: Callable[[str], Place]) -> None:
    place = mapped(MAPPINGS)
    place.put("waage.K1-1.tsv", "Datum\tZeit\tPrüfer\tForm 11\tForm 12\n02.03.2026\t08:15\tlab2\t339,8\tx\n")
    assert place.take().rows_kept == 1
    mend = next(place.site.quarantine.iterdir())
    text = mend.read_text()
    assert "2026-03-02T07:15:00Z" in text
    mend.write_text(text.replace(",x,", ",340.5,", 1))
    assert retry_quarantine(place.site, place.plant, place.settings).rows_refused == 0
    assert sorted(place.facts("weight_checks")["weight_g"]) == [339.8, 340.5]
