"""An hour beside its own minutes is told and never counted twice, nor does one take the other's place; other places,
moulds and lengths in turn are no overlap.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.from_archive import rebuild_from_archive
from tests.conftest import HEAD, Place


def row(
    minute: int,
    length: int = 60,
    mould: str = "11",
    station: str = "K1-side-a",
    second: int = 0,
    seen: int | None = None,
) -> str:
    count = length // 5 if seen is None else seen
    return (
        f"2026-03-02T{8 + minute // 60:02d}:{minute % 60:02d}:{second:02d}Z,K1,{station},{mould},{length},{count},1\n"
    )


MINUTES = "".join(row(n) for n in range(60))


def seen(place: Place) -> int:
    return int(place.facts("station_counts")["inspected"].sum())


@pytest.mark.parametrize("apart", [True, False], ids=["in two intakes", "in one"])
def test_an_hour_over_its_minutes_is_refused_and_the_minutes_stay(place: Place, apart: bool) -> None:
    place.put("station_counts.a.csv", HEAD + MINUTES)
    if apart:
        place.take()
    place.put("station_counts.b.csv", HEAD + row(0, 3600) + row(60, 3600))
    report = place.take()
    assert report.rows_refused == 1 and report.needs_a_person
    assert seen(place) == 60 * 12 + 720
    assert place.refusals() == [("station_counts.b.csv", 2, "window_start", "window_overlaps")]
    assert place.facts("station_counts").height == 61


def test_minutes_under_an_hour_that_is_there_are_refused_the_first_of_them_too(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + row(0, 3600))
    place.take()
    place.put("station_counts.b.csv", HEAD + MINUTES)
    assert place.take().rows_refused == 60
    assert seen(place) == 720
    assert {why for _, _, _, why in place.refusals()} == {"window_overlaps"}
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 0
    assert seen(place) == 720


@pytest.mark.parametrize("first, second", [(3600, 60), (60, 3600)], ids=["the hour first", "the minute first"])
@pytest.mark.parametrize("apart", [True, False], ids=["in two intakes", "in one"])
def test_a_window_of_another_length_at_the_same_start_never_takes_the_others_place(
    place: Place, first: int, second: int, apart: bool
) -> None:
    place.put("station_counts.a.csv", HEAD + row(0, first))
    if apart:
        place.take()
    place.put("station_counts.b.csv", HEAD + row(0, second))
    report = place.take()
    assert report.rows_refused == 1 and report.needs_a_person
    assert place.refusals() == [("station_counts.b.csv", 2, "window_start", "window_overlaps")]
    assert seen(place) == first // 5


def test_within_one_file_the_first_of_two_lengths_at_one_start_stays(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + row(0) + row(0, 3600) + row(0, seen=13))
    place.take()
    assert [(line, reason) for _, line, _, reason in place.refusals()] == [(3, "window_overlaps")]
    assert seen(place) == 13  # the same minute again with another count: a correction


def test_a_length_is_corrected_by_the_same_counts_and_all_rows_of_a_file_together(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + "".join(row(n, 3600, seen=12) for n in range(3)))
    place.take()
    place.put("station_counts.b.csv", HEAD + "".join(row(n, 60, seen=12) for n in range(3)))
    assert place.take().rows_refused == 0
    assert set(place.facts("station_counts")["window_s"]) == {60}


def test_within_one_file_the_later_row_is_refused(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + row(1) + row(2) + row(0, 300) + row(7, 300) + row(8))
    assert place.take().rows_refused == 2
    assert [(line, reason) for _, line, _, reason in place.refusals()] == [
        (4, "window_overlaps"),
        (6, "window_overlaps"),
    ]


@pytest.mark.parametrize(
    "text",
    [
        row(0) + row(0, 3600, mould="12"),
        row(0) + row(0, 3600, mould=""),
        row(0) + row(0, 3600, station="K1-side-b"),
        row(0) + row(1, 3600) + row(61, 60) + row(62, 300),
        row(0) + row(0, 3600, seen=12),  # corrected: the same counts, of an hour
        row(0, second=20) + row(1, 300),  # a third of a minute: clocks are not so exact
        row(0, 300) + row(4, 300),  # of one length: a matter of the clock, not of two reports of one thing
    ],
    ids=[
        "another mould",
        "mould not read",
        "another station",
        "one after the other",
        "a correction",
        "by a little",
        "one length",
    ],
)
def test_what_is_no_overlap_is_kept(place: Place, text: str) -> None:
    place.put("station_counts.a.csv", HEAD + text)
    report = place.take()
    assert (report.rows_refused, report.messages) == (0, [])


def test_other_feeds_of_windows_are_looked_at_too(place: Place) -> None:
    head = "window_start,line,station,mould,defect,window_s,rejected\n"
    text = "2026-03-02T08:{:02d}:00Z,K1,K1-side-a,11,{},{},1\n"
    place.put(
        "reject_counts.a.csv",
        head + text.format(5, "BSW", 60) + text.format(0, "BSW", 3600) + text.format(0, "CHS", 3600),
    )
    place.put(
        "melt_log.a.csv",
        "window_start,furnace,window_s,batch_kg,moisture_pct,loss_pct,cullet_kg\n"
        "2026-03-02T08:00:00Z,F1,3600,1000,3,15,500\n2026-03-02T09:00:00Z,F1,3600,1000,3,15,500\n"
        "2026-03-02T06:00:00Z,F1,28800,8000,3,15,4000\n",
    )
    place.take()
    assert [(file, line) for file, line, _, _ in place.refusals()] == [
        ("melt_log.a.csv", 4),
        ("reject_counts.a.csv", 3),
    ]


def test_made_again_from_the_archive_it_is_the_same(place: Place, new_place: Callable[[], Place]) -> None:
    place.put("station_counts.a.csv", HEAD + MINUTES)
    place.take()
    place.put("station_counts.b.csv", HEAD + row(0, 3600))
    place.take()
    place.put("station_counts.c.csv", HEAD + row(60, 3600) + row(70) + row(60) + row(60, 300))
    place.take()
    before = place.facts("station_counts"), place.refusals()
    rebuild_from_archive(place.opened)
    assert place.facts("station_counts").equals(before[0]) and place.refusals() == before[1]
