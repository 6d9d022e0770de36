"""Moulds are fitted before their job starts, and can stay for the next: what they made goes by the job that ran."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pipelines.answers.trace.contents import answer_contents, answer_mould
from pipelines.answers.trace.line_ware import stays_of
from pipelines.clock import Span
from tests.conftest import Place

START = datetime(2026, 3, 2, 6, tzinfo=UTC)  # of the second job
MINUTE = timedelta(minutes=1)
FIRST, SECOND = "359012340000000177", "359012340000000184"


def stamp(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.fixture(scope="module")
def changed(tmp_path_factory: pytest.TempPathFactory) -> Place:
    """K1 goes from J370 to P100 at six; mould 21 was fitted twenty minutes before, mould 12 stays in both jobs."""
    place = Place(tmp_path_factory.mktemp("jobs") / "site")
    place.put(
        "job_log.a.csv",
        f"started_at,line,job,item\n{stamp(START - timedelta(hours=40))},K1,a,J370\n{stamp(START)},K1,b,P100\n",
    )
    fitted = [
        (START - timedelta(hours=40), 1, "A", "11"),
        (START - timedelta(hours=40), 2, "A", "12"),
        (START - 20 * MINUTE, 1, "A", "21"),
    ]
    rows = "".join(f"{stamp(at)},K1,{section},{gob},mould,{number},\n" for at, section, gob, number in fitted)
    place.put("mould_log.a.csv", "fitted_at,line,section,gob,part,number,item\n" + rows)
    head, rows = "window_start,line,station,mould,window_s,inspected,rejected\n", ""
    for n in range(-180, 360):
        formed = START + n * MINUTE
        here = ("21" if formed >= START - 20 * MINUTE else "11", "12")
        rows += "".join(f"{stamp(formed + 95 * MINUTE)},K1,K1-side-a,{mould},60,10,0\n" for mould in here)
    place.put("station_counts.a.csv", head + rows)
    pallets = [(FIRST, "J370", START), (SECOND, "P100", START + 240 * MINUTE)]
    rows = "".join(f"{name},K1,{item},{stamp(at)},{stamp(at + 30 * MINUTE)},600,packed\n" for name, item, at in pallets)
    place.put("pallets.a.csv", "pallet,line,item,packed_from,packed_to,units,state\n" + rows)
    place.take()
    return place


def test_a_pallet_of_the_new_item_has_the_moulds_that_were_fitted_before_its_job(changed: Place) -> None:
    with changed.opened.ledger.reading() as reader:
        contents = answer_contents(reader, changed.plant, SECOND)
    assert {part.mould for part in contents.parts} == {"21", "12"}
    assert sum(part.units for part in contents.parts) == pytest.approx(600, rel=0.05)


def test_a_pallet_of_the_old_item_has_the_moulds_of_the_old_job(changed: Place) -> None:
    with changed.opened.ledger.reading() as reader:
        contents = answer_contents(reader, changed.plant, FIRST)
    assert {part.mould for part in contents.parts} == {"11", "12"}


def test_a_mould_that_stayed_made_both_items(changed: Place) -> None:
    with changed.opened.ledger.reading() as reader:
        stays = stays_of(reader, ["K1"], Span(START - 60 * MINUTE, START + 60 * MINUTE))
        life = answer_mould(reader, changed.plant, "K1", "12")
    mine = [(stay.item, stay.span) for stay in stays if stay.mould == "12"]
    assert mine == [("J370", Span(START - 60 * MINUTE, START)), ("P100", Span(START, START + 60 * MINUTE))]
    assert {row["pallet"] for row in life.pallets} == {FIRST, SECOND}
    assert [stay.item for stay in life.stays] == ["J370", "P100"]
