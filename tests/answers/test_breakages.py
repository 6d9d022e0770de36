"""Where ware broke, and the pallets beside it: on the answer, on Now and on the day's page."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from pipelines.answers.breakages import answer_breakages
from pipelines.answers.now import answer_now
from pipelines.clock import Span
from pipelines.measures.holds.breakages import endangered
from pipelines.pages.places.now import now_view
from pipelines.reports.breakages import TITLE, breakage_sections
from pipelines.reports.day.report import HOLDS, behind_page, day_page
from tests.conftest import HEAD, Place

NINE = datetime(2026, 3, 10, 9, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
PALLETS = "pallet,line,item,packed_from,packed_to,units,state\n"


def taken(place: Place, breakages: str) -> None:
    """A pallet a quarter of an hour on K1 from 08:00 to 11:00, named for its beginning, and some breakages."""
    rows = []
    for number in range(12):
        start = NINE - 60 * MINUTE + number * 15 * MINUTE
        rows.append(f"P{start:%H%M},K1,J370,{start.isoformat()},{(start + 14 * MINUTE).isoformat()},1944,packed")
    place.put("pallets.csv", PALLETS + "\n".join(rows) + "\n")
    place.put("breakages.csv", "broke_at,line,place,cleared_at,note\n" + breakages)
    place.put("station_counts.csv", HEAD + "2026-03-10T10:59:00Z,K1,K1-side-a,,60,12,1\n")
    assert place.take().rows_refused == 0


def beside(place: Place) -> list[list[str]]:
    with place.opened.ledger.reading() as reader:
        window = Span(NINE - 60 * MINUTE, NINE + 120 * MINUTE)
        return [b.pallets["pallet"].to_list() for b in answer_breakages(reader, place.plant, window, window.end)]


def test_packed_in_the_minutes_around_it_means_beside_it(place: Place) -> None:
    """08:45 to 09:20 of a breakage at 09:00, cleared at 09:05, with a quarter of an hour on both sides."""
    taken(place, "2026-03-10T09:00:00Z,K1,packing,2026-03-10T09:05:00Z,\n")
    assert beside(place) == [["P0845", "P0900", "P0915"]]
    works = place.site.works_toml.read_text(encoding="utf-8") + "\n[warehouse]\nbreakage_minutes = 0\n"
    place.site.works_toml.write_text(works, encoding="utf-8")
    assert beside(place) == [["P0900"]]


def test_a_place_that_nobody_cleared_endangers_all_that_followed(place: Place) -> None:
    taken(place, "2026-03-10T10:00:00Z,K1,K1-foot,,\n2026-03-10T10:00:00Z,K3,packing,,\n")
    assert beside(place) == [["P0945", "P1000", "P1015", "P1030", "P1045"], []]


def test_the_lehr_lies_between_the_hot_end_and_the_pallet() -> None:
    cleared, end = NINE + 5 * MINUTE, NINE + 600 * MINUTE
    around = {place: endangered(place, NINE, cleared, 15, 92, end) for place in ("hot_end", "lehr", "packing")}
    assert around["packing"] == Span(NINE - 15 * MINUTE, NINE + 20 * MINUTE)
    assert around["lehr"] == Span(NINE - 15 * MINUTE, NINE + 112 * MINUTE)
    assert around["hot_end"] == Span(NINE + 77 * MINUTE, NINE + 112 * MINUTE)
    assert endangered("hot_end", NINE, None, 15, 92, NINE + 10 * MINUTE).seconds == 0


def test_now_lists_them_with_the_caution_and_what_left(place: Place) -> None:
    taken(place, "2026-03-10T09:00:00Z,K1,packing,2026-03-10T09:05:00Z,swept twice\n")
    place.put("dispatches.csv", "pallet,dispatched_at,delivery,customer\nP0900,2026-03-10T10:30:00Z,D-7,C-1\n")
    place.take()
    with place.opened.ledger.reading() as reader:
        now = answer_now(reader, place.plant, NINE + 120 * MINUTE)
        later = answer_now(reader, place.plant, NINE + timedelta(hours=13))
    section = next(part for part in now_view(place.plant, now, 30).page.sections if part.title == TITLE)
    said = "K1 packing, 10:00, cleared 10:05: 3 pallets beside it, 1 of them dispatched (swept twice)"
    assert section.items == (said,)
    assert section.sheet is not None and "authorised people" in section.sheet.caption
    assert "15 minutes before" in section.sheet.caption
    assert [(row["pallet"], row["state"]) for row in section.sheet.rows] == [
        ("P0845", "packed"),
        ("P0900", "left with D-7"),
        ("P0915", "packed"),
    ]
    assert not later.breakages and breakage_sections(place.plant, later.breakages) == ()


def test_the_days_page_lists_them(place: Place) -> None:
    taken(place, "2026-03-10T09:00:00Z,K1,packing,2026-03-10T09:05:00Z,\n2026-03-11T09:00:00Z,K1,packing,,\n")
    with place.opened.ledger.reading() as reader:
        page = behind_page(reader, place.plant, HOLDS, date(2026, 3, 10))
        sheet_of_paper = day_page(reader, place.plant, date(2026, 3, 10))
    doubts = [str(item) for part in sheet_of_paper.sections for item in getattr(part, "items", ())]
    assert "K1: 1 breakage, 3 pallets beside it." in doubts
    sections = {part.title: part for part in page.sections}
    assert [item.split(":")[0] for item in sections[TITLE].items] == ["K1 packing, 10"]
    sheet = sections[TITLE].sheet
    assert sheet is not None and [row["pallet"] for row in sheet.rows] == ["P0845", "P0900", "P0915"]
