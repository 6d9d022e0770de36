"""What is typed in a page is an ordinary feed file: by form and by file the ledger is the same; nothing twice."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape
from typing import Any

import polars as pl
import pytest

from pipelines.people.access import People
from pipelines.people.books import Books
from schemas.feeds import ALL_FEEDS
from tests.conftest import HEAD, Place
from tests.pages.conftest import AT, PASSWORDS, ROLES, Browser, peopled, served

DAY = "2026-03-11"
# A row of each feed as a person at the invented works types it, by the works' clock.
_TYPED = """
weight_checks: sampled_at={day}T05:50; line=K4; point=cold; mould=12; sample=1; weight_g=206,4
capacity_checks: sampled_at={day}T05:40; line=K4; mould=12; sample=1; empty_g=206.1; filled_g=552.3; water_c=20,5;
 fill=brimful
density_checks: sampled_at={day}T05:30; furnace=F1; density_g_cm3=2.4961
temper_checks: sampled_at={day}T05:30; line=K1; mould=; lane=left; temper=2
visual_checks: sampled_at={day}T05:35; line=K1; item=O250; mould=; defect=CHS; sample_units=50; found=0
challenge_checks: checked_at={day}T05:45; line=K1; station=K1-mouth; defect=CHN; passes=10; caught=10
mould_log: fitted_at={day}T05:20; line=K1; section=1; gob=A; part=mould; number=99; item=O250
job_log: started_at={day}T05:00; line=K1; job=J-77; item=O250; ordered_units=400000; due=2026-03-20
stoppages: stopped_at={day}T05:10; line=K1; section=3; restarted_at={day}T05:16; cause=swab
actions: acted_at={day}T05:12; line=K1; kind=timing; section=3; gob=A; defect=CHS; note=delivery later by 2
breakages: broke_at={day}T05:25; line=K1; place=K1-side-a; cleared_at={day}T05:40; note=one container
complaints: complaint=C-26-090; received_on=2026-03-11; item=O250; defect=CHS; units=3; note=found at filling
pallets: pallet=359012340020099995; line=K1; item=O250; packed_from={day}T05:00; packed_to={day}T05:20; units=1400;
 state=packed
"""
TYPED = {
    feed: dict(pair.strip().split("=", 1) for pair in row.split(";"))
    for feed, row in re.findall(r"^(\w+): (.*(?:\n .*)*)", _TYPED.replace("{day}", DAY), re.M)
}
NAMES = {**PASSWORDS, "L. Lab": "weights of every mould"}


@pytest.fixture
def place(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    place = peopled(day_taken, tmp_path_factory.mktemp("typed") / "site")
    People(Books(place.site.root / ".serve")).add("L. Lab", ["laboratory"], NAMES["L. Lab"], AT)
    return place


@pytest.fixture
def browser(place: Place) -> Iterator[Browser]:
    client = served(place.site.root)
    with client:
        yield Browser(client)
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


def sign_in(browser: Browser, name: str = "L. Lab") -> None:
    answer = browser.client.post("/sign-in", data={"name": name, "password": NAMES[name]}, follow_redirects=False)
    assert answer.status_code == 303


def send(browser: Browser, address: str, fields: dict[str, str]) -> Any:
    page = browser.get(address)
    found = re.search(r'name="form_token" value="([^"]+)"', page)
    assert found
    return browser.client.post(address, data={"form_token": found[1], **fields}, follow_redirects=False)


def said(browser: Browser, address: str) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", browser.get(address)))


@pytest.mark.parametrize("feed", list(ALL_FEEDS))
def test_every_feed_has_a_form_with_a_field_for_every_column(feed: str, browser: Browser) -> None:
    page = browser.get(f"/enter/{feed}")
    names = set(re.findall(r'<(?:input|select)[^>]* name="([a-z_0-9]+)"', page))
    assert set(ALL_FEEDS[feed].columns) - {"by"} <= names
    for column in ALL_FEEDS[feed].columns:
        quantity = ALL_FEEDS[feed].quantity(column)
        if quantity.choices:
            assert all(f'value="{word}"' in page for word in quantity.choices), column


@pytest.mark.parametrize("feed", list(TYPED))
def test_the_same_row_by_form_and_by_file_gives_the_same_ledger(
    feed: str, place: Place, browser: Browser, tmp_path: Any
) -> None:
    other = place.copied(tmp_path / "by file")
    sign_in(browser)
    answer = send(browser, f"/enter/{feed}", TYPED[feed])
    assert answer.status_code == 303, unescape(answer.text)[:3000]
    row = dict(TYPED[feed])
    for column in ALL_FEEDS[feed].columns:
        kind = ALL_FEEDS[feed].quantity(column).kind
        if kind == "time" and row.get(column):
            row[column] += ":00+01:00"
        if kind in ("number", "count"):
            row[column] = row.get(column, "").replace(",", ".")
    if "by" in ALL_FEEDS[feed].columns:
        row["by"] = "L. Lab"
    other.put(f"{feed}.csv", ",".join(row) + "\n" + ",".join(row.values()) + "\n")
    report = other.take()
    assert report.rows_kept == 1, other.refusals()
    assert place.facts(feed).equals(other.facts(feed))
    assert "Saved: 1 row." in said(browser, f"/enter/{feed}")


def test_typed_twice_it_is_there_once_and_corrected_it_keeps_its_history(place: Place, browser: Browser) -> None:
    sign_in(browser)
    row = TYPED["weight_checks"]
    before = place.facts("weight_checks").height
    for _ in range(2):
        assert send(browser, "/enter/weight_checks", row).status_code == 303
    assert "This was saved before; nothing changed." in said(browser, "/enter/weight_checks")
    assert place.facts("weight_checks").height == before + 1
    other = {**row, "weight_g": "205.0"}
    clash = send(browser, "/enter/weight_checks", other)
    assert clash.status_code == 400 and "is there already with other values" in unescape(clash.text)
    assert 'value="205.0"' in clash.text, "what was typed is kept"
    mine = pl.col("by") == "L. Lab"
    assert place.facts("weight_checks").filter(mine)["weight_g"].to_list() == [206.4]
    page = browser.get("/enter/weight_checks")
    address = unescape(re.search(r'href="(/enter/weight_checks\?batch=\d+&amp;row=0)"', page)[1])  # type: ignore[index]
    begun = browser.get(address)
    assert 'value="206.4"' in begun and f'value="{DAY}T05:50"' in begun and " checked" in begun
    assert send(browser, "/enter/weight_checks", {**other, "replace": "yes"}).status_code == 303
    assert place.facts("weight_checks").height == before + 1
    with place.opened.ledger.reading() as reader:
        assert reader.replaced("weight_checks").filter(mine)["weight_g"].to_list() == [206.4]
    assert place.facts("weight_checks").filter(mine)["weight_g"].to_list() == [205.0]
    assert send(browser, "/enter/weight_checks", {**row, "replace": "yes"}).status_code == 303
    assert place.facts("weight_checks").filter(mine)["weight_g"].to_list() == [206.4], "and back again"


@pytest.mark.parametrize(
    ("feed", "column", "value", "says"),
    [
        ("weight_checks", "weight_g", "20640000000", "20640000000"),
        ("weight_checks", "weight_g", "heavy", "heavy"),
        ("weight_checks", "line", "", "must be filled in"),
        ("weight_checks", "sampled_at", "25:70", "25:70"),
        ("weight_checks", "mould", "", "must be filled in"),
        ("challenge_checks", "caught", "-1", "-1"),
        ("mould_log", "section", "77", "77"),
    ],
)
def test_a_wrong_value_is_told_at_its_field_and_nothing_is_written(
    feed: str, column: str, value: str, says: str, place: Place, browser: Browser
) -> None:
    sign_in(browser)
    before = place.facts(feed).height
    answer = send(browser, f"/enter/{feed}", {**TYPED[feed], column: value})
    text = unescape(answer.text)
    assert answer.status_code == 400, text[:500]
    assert re.search(rf'name="{column}"[^>]*aria-invalid="true"', answer.text), "told at its field"
    assert says in text
    kept = next(
        name for name, typed in TYPED[feed].items() if typed and name not in (column, "sampled_at", "checked_at")
    )
    assert TYPED[feed][kept] in text
    assert place.facts(feed).height == before and not list(place.site.inbox.glob(f"{feed}*"))


def test_a_round_saves_what_was_filled_in_and_no_more(place: Place, browser: Browser) -> None:
    sign_in(browser)
    page = browser.get("/enter/weights/K4")
    moulds = re.findall(r'name="w:([^"]+)"', page)
    assert len(moulds) > 10 and "B330" in page and "201" in page and "211" in page, "the moulds fitted now; the limits"
    before = place.facts("weight_checks").height
    typed = {f"w:{mould}": f"{205 + n / 10:.1f}" for n, mould in enumerate(moulds[:7])}
    about = {"sampled_at": f"{DAY}T05:58", "point": "cold", "sample": "1"}
    answer = send(browser, "/enter/weights/K4", {**about, **typed, f"w:{moulds[8]}": ""})
    assert answer.status_code == 303, unescape(answer.text)[:2000]
    assert "Typed last" in said(browser, "/enter/weights/K4") and "205.6" in said(browser, "/enter/weights/K4")
    rows = place.facts("weight_checks").filter(pl.col("by") == "L. Lab")
    assert place.facts("weight_checks").height == before + 7 == before + rows.height
    assert dict(rows.select("mould", "weight_g").iter_rows()) == {m: 205 + n / 10 for n, m in enumerate(moulds[:7])}
    wrong = send(browser, "/enter/weights/K4", {**about, "sample": "2", **typed, f"w:{moulds[3]}": "20O"})
    assert wrong.status_code == 400
    assert re.search(rf'name="w:{moulds[3]}"[^>]*aria-invalid="true"', wrong.text)
    assert all(f'value="{value}"' in wrong.text for name, value in typed.items() if name != f"w:{moulds[3]}")
    assert place.facts("weight_checks").height == before + 7
    assert send(browser, "/enter/weights/K4", about).status_code == 400
    slipped = {**about, "sample": "3", f"w:{moulds[0]}": "2060"}
    asked = send(browser, "/enter/weights/K4", slipped)
    assert asked.status_code == 400 and "Far from the limits" in asked.text
    assert send(browser, "/enter/weights/K4", {**slipped, "meant": "yes"}).status_code == 303


def test_a_form_begins_with_what_its_address_has_in_hand(browser: Browser) -> None:
    page = browser.get("/enter/actions?line=K3&defect=CHS&section=4")
    assert re.search(r'<option value="K3" selected', page) and re.search(r'<option value="CHS" selected', page)
    assert re.search(r'name="section"[^>]* value="4"', page)
    assert browser.client.get("/enter/actions?weight_g=4").status_code == 400


def test_only_who_may_types_in(place: Place, browser: Browser) -> None:
    assert browser.client.post("/enter/weight_checks", data=TYPED["weight_checks"]).status_code in (401, 403)
    for name, role in ROLES.items():
        browser.client.cookies.clear()
        sign_in(browser, name)
        status = send(browser, "/enter/density_checks", {**TYPED["density_checks"], "replace": "yes"}).status_code
        assert (status == 303) is (role in ("supervisor", "quality")), name


def test_an_empty_works_begins_by_typing(new_place: Callable[[], Place]) -> None:
    place = new_place()
    People(Books(place.site.root / ".serve")).add("L. Lab", ["laboratory"], NAMES["L. Lab"], AT)
    client = served(place.site.root)
    with client:
        browser = Browser(client)
        sign_in(browser)
        assert "No mould of this line is known" in browser.get("/enter/weights/K4")
        assert send(browser, "/enter/weight_checks", TYPED["weight_checks"]).status_code == 303
        assert "206.4" in browser.get("/enter/weight_checks")
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


def test_a_line_without_a_mould_log_says_so(new_place: Callable[[], Place]) -> None:
    place = new_place()
    hour = f"{(AT - timedelta(hours=1)):%Y-%m-%dT%H:%M:%SZ}"
    place.put("station_counts.csv", f"{HEAD}{hour},K1,K1-side-a,,60,50,1\n")
    place.take()
    client = served(place.site.root)
    with client:
        assert "No mould of this line is known" in client.get("/enter/weights/K1").text
    client.app.state.web.desk.close()  # type: ignore[attr-defined]
