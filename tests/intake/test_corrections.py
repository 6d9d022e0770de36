"""Repeats, corrections, history: same bytes change nothing, a newer row replaces, the older stays readable."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest

from pipelines.ledger import delivery
from pipelines.ledger.delivery import plan_versions
from pipelines.settings import Settings
from tests.conftest import HEAD, NOW, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


def later(place: Place, hours: int) -> None:
    place.settings = Settings(fixed_now=NOW + timedelta(hours=hours), lock_wait_s=5)


def test_the_same_bytes_again_change_nothing_and_it_is_said(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    before = place.facts("station_counts")
    place.put("station_counts.another-name.csv", HEAD + ROW)
    report = place.take()
    assert (report.files, report.repeated, report.needs_a_person) == (0, 1, False)
    assert place.facts("station_counts").equals(before)
    assert not list(place.site.inbox.iterdir())
    assert len(list(place.site.archive.rglob("*.csv"))) == 1
    assert place.ask("arrivals_by_feed")["came_again"].to_list() == [1]


def test_two_copies_in_one_inbox_are_one(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + ROW)
    place.put("station_counts.b.csv", HEAD + ROW)
    report = place.take()
    assert (report.files, report.repeated) == (1, 1)


def test_a_row_with_the_same_key_and_other_values_replaces(place: Place) -> None:
    place.put("station_counts.a.csv", HEAD + ROW)
    place.take()
    later(place, 3)
    place.put("station_counts.b.csv", HEAD + ROW.replace(",12,1", ",13,2"))
    place.take()
    assert place.facts("station_counts").select("inspected", "rejected").rows() == [(13, 2)]
    with place.opened.ledger.reading() as reader:
        old = reader.replaced("station_counts").row(0, named=True)
    assert (old["inspected"], old["replaced_at"], old["batch"], old["replaced_by"]) == (
        12,
        NOW + timedelta(hours=3),
        1,
        2,
    )


def test_old_bytes_after_a_correction_do_not_bring_the_old_values_back(place: Place) -> None:
    for name, text in (("a", ROW), ("b", ROW.replace(",12,", ",13,")), ("c", ROW)):
        place.put(f"station_counts.{name}.csv", HEAD + text)
        place.take()
    assert place.facts("station_counts")["inspected"].to_list() == [13]


def test_unread_moulds_have_a_key_of_their_own(place: Place) -> None:
    unread = ROW.replace(",11,", ",,")
    place.put("station_counts.a.csv", HEAD + ROW + unread)
    place.take()
    place.put("station_counts.b.csv", HEAD + unread.replace(",12,", ",14,"))
    place.take()
    assert place.facts("station_counts").select("mould", "inspected").rows() == [(None, 14), ("11", 12)]


def test_of_two_files_in_one_inbox_the_later_made_holds(place: Place) -> None:
    new = place.put("station_counts.a.csv", HEAD + ROW.replace(",12,", ",99,"))
    old = place.put("station_counts.b.csv", HEAD + ROW)
    os.utime(old, (1_000_000, 1_000_000))
    os.utime(new, (2_000_000, 2_000_000))
    place.take()
    assert place.facts("station_counts")["inspected"].to_list() == [99]


def test_within_one_file_the_last_line_holds_and_the_others_are_history(place: Place) -> None:
    place.put(
        "station_counts.a.csv",
        HEAD + ROW + ROW.replace(",12,", ",13,") + ROW.replace(",12,", ",13,") + ROW.replace(",12,", ",14,"),
    )
    place.take()
    assert place.facts("station_counts")["inspected"].to_list() == [14]
    with place.opened.ledger.reading() as reader:
        assert sorted(reader.replaced("station_counts")["inspected"].to_list()) == [12, 13]


def test_a_pallets_states_are_its_history(place: Place) -> None:
    head = "pallet,line,item,packed_from,packed_to,units,state\n"
    for hours, state in enumerate(("packed", "held", "released")):
        later(place, hours)
        place.put(
            f"pallets.{state}.csv",
            head + f"P1,K1,J370,2026-03-02T09:00:00Z,2026-03-02T10:00:00Z,1944,{state}\n",
        )
        place.take()
    assert place.facts("pallets")["state"].to_list() == ["released"]
    with place.opened.ledger.reading() as reader:
        frame = reader.replaced("pallets").sort("batch")
    assert frame["state"].to_list() == ["packed", "held"]
    assert frame["replaced_at"].to_list() == [NOW + timedelta(hours=1), NOW + timedelta(hours=2)]


def test_plan_versions_by_hand() -> None:
    at = datetime(2026, 3, 2, tzinfo=UTC)
    types = {"k": pl.String, "v": pl.Int64, "batch": pl.Int32, "file_line": pl.Int32}
    existing = pl.DataFrame([("a", 1, 1, 2), (None, 5, 1, 3), ("z", 9, 1, 4)], schema=types, orient="row")
    incoming = pl.DataFrame(
        [("a", 1, 2, 2), ("a", 2, 2, 3), (None, 5, 3, 2), ("n", 7, 3, 3), ("a", 3, 3, 4)],
        schema=types,
        orient="row",
    )
    versions = plan_versions(existing, incoming, ("k",), at)
    held = versions.insert.sort("batch", "file_line").select("k", "v", "batch", "file_line", "replaced_by").rows()
    assert held == [("a", 2, 2, 3, 3), ("n", 7, 3, 3, None), ("a", 3, 3, 4, None)]
    assert versions.gone.rows() == [("a", 1, 2, 2)]
    assert versions.unchanged == {2: 1, 3: 1}
    assert versions.replacing == {2: 1, 3: 1}


def test_two_rows_a_year_apart_replace_what_has_their_keys_and_read_no_year_between(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    def row(day: str, inspected: int, mould: str = "") -> str:
        return f"{day}T09:00:00Z,K1,K1-side-a,{mould},60,{inspected},1\n"

    days = [f"2025-{month:02d}-{day:02d}" for month in range(1, 13) for day in range(1, 29)]
    place.put("station_counts.a.csv", HEAD + "".join(row(day, 12) + row(day, 12, "11") for day in days))
    place.take()
    real, read = delivery.in_force, []

    def counted(*args: Any) -> pl.DataFrame:
        read.append(real(*args))
        return read[-1]

    monkeypatch.setattr(delivery, "in_force", counted)
    place.put("station_counts.b.csv", HEAD + row(days[0], 13) + row(days[-1], 12, "11") + row("2025-12-30", 5))
    place.take()
    rows = place.facts("station_counts")
    assert (rows.height, rows["inspected"].sum()) == (2 * len(days) + 1, 12 * 2 * len(days) + 1 + 5)
    assert [frame.height for frame in read] == [2]
    with place.opened.ledger.reading() as reader:
        assert reader.replaced("station_counts").height == 1, "what says the same replaces nothing"
