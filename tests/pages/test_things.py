"""Pallets, moulds, stations and signals by name: one box finds them, tables lead to them, and what is not there says
what is nearest.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from html import unescape
from urllib.parse import quote

import pytest

from pipelines.answers.find import Named, named
from pipelines.answers.now import newest_count
from pipelines.jobs.holds import decide
from pipelines.jobs.signals import _frame
from pipelines.ledger.marts import keep_hours
from pipelines.pages.leading_on import leading
from pipelines.reports.frame.sheet import Column, Sheet
from tests.conftest import HEAD, Place
from tests.measures.signals.test_acts import of_furnace
from tests.pages.conftest import Browser, served

Make = Callable[..., Browser]


@pytest.fixture(scope="module")
def pallets(site: Place) -> list[str]:
    with site.opened.ledger.reading() as reader:
        return sorted(reader.current("pallets")["pallet"].to_list())


@pytest.fixture(scope="module")
def signal(site: Place) -> str:
    """A furnace's signal, kept in the newest hour."""
    with site.opened.ledger.reading() as reader:
        newest = newest_count(reader)
    assert newest is not None
    hour, kept = newest.replace(minute=0), of_furnace("K1", 62, id="K1-STN-20260310T0500Z")
    rows = _frame("signal_hours", [("K1", hour, kept.id, kept.model_dump_json(by_alias=True))])
    keep_hours(site.opened.ledger, {"signal_hours": rows}, ["K1"], hour, hour + timedelta(hours=1))
    return kept.id


def goes_to(browser: Browser, text: str) -> str:
    answer = browser.client.get(f"/find?q={quote(text)}", follow_redirects=False)
    assert answer.status_code == 303, answer.text[-1500:]
    return answer.headers["location"]


def test_one_thing_of_a_name_is_shown_at_once(browser: Make, site: Place, pallets: list[str], signal: str) -> None:
    decide(site.opened, "place", None, pallets[:1], "Q. Quality", "a test", "a test")
    mine = browser()
    assert goes_to(mine, " k1 ") == "/hour/K1" and goes_to(mine, "F2") == "/laboratory/F2"
    assert goes_to(mine, "K1-foot") == "/station/K1-foot" and goes_to(mine, "bird swing") == "/signals?defect=BSW"
    assert goes_to(mine, pallets[3]) == f"/pallet/{pallets[3]}" and goes_to(mine, signal) == f"/signals/{signal}"
    assert goes_to(mine, "C-26-001") == "/trace?complaint=C-26-001"
    with site.opened.ledger.reading() as reader:
        hold = next(each for each in named(reader, site.plant, "H-0001"))
    assert hold == Named("hold", "H-0001") and goes_to(mine, "H-0001") == "/holds/H-0001"


def test_a_pallet_is_found_by_its_last_digits(browser: Make, pallets: list[str]) -> None:
    last = pallets[3][-6:]
    alike = [pallet for pallet in pallets if pallet.endswith(last)]
    if len(alike) == 1:
        assert goes_to(browser(), last) == f"/pallet/{pallets[3]}"
    grouped = f"{pallets[3][:5]} {pallets[3][5:11]} {pallets[3][11:]}"
    assert goes_to(browser(), grouped) == f"/pallet/{pallets[3]}", "blanks, as a label groups its digits"
    common = browser().get(f"/find?q={pallets[3][-4:]}")
    expected = [pallet for pallet in pallets if pallet.endswith(pallets[3][-4:])]
    assert all(f"/pallet/{pallet}" in common for pallet in expected) and len(expected) >= 1


def test_a_mould_of_two_lines_can_be_either(browser: Make, site: Place) -> None:
    with site.opened.ledger.reading() as reader:
        found = [each for each in named(reader, site.plant, "20") if each.kind == "mould"]
    if len(found) > 1:
        text = browser().get("/find?q=20")
        assert all(f"/mould/{each.of}/20" in text for each in found)
    else:
        assert goes_to(browser(), "20") == f"/mould/{found[0].of}/20"


def test_what_nothing_is_called_tells_the_nearest_and_is_no_markup(browser: Make, pallets: list[str]) -> None:
    wrong = pallets[3][:-1] + ("x" if pallets[3][-1] != "x" else "y")
    text = browser().get(f"/find?q={wrong}")
    assert "Nothing here is called so." in text and f"/pallet/{pallets[3]}" in text
    evil = browser().get(f"/find?q={quote('<script>alert(1)</script>')}")
    assert "<script>alert" not in evil and "Nothing here is called so." in evil
    assert "its last 4 digits" in browser().get("/find")


def test_a_pallet_tells_what_made_it_and_leads_on(browser: Make, pallets: list[str]) -> None:
    text = browser().get(f"/pallet/{pallets[3]}")
    assert f"Pallet {pallets[3]}" in text and f"/trace?pallet={pallets[3]}" in text
    assert re.search(r'href="/mould/K\d/\w+"', text)
    answer = browser().client.get("/pallet/nothing-of-the-kind")
    assert answer.status_code == 400 and "was ever received" in answer.text


def test_a_mould_tells_its_pallets_and_one_that_never_sat_there_says_so(browser: Make) -> None:
    text = browser().get("/mould/K1/20")
    assert "Pallets that carry what it made" in text and re.search(r'href="/pallet/\w+"', text)
    assert "Not told by the mould log" in browser().get("/mould/K1/no-such")
    assert browser().client.get("/mould/K9/20").status_code == 404


def test_a_station_says_what_to_do(browser: Make) -> None:
    text = unescape(browser().get("/station/K1-foot"))
    assert "What to do" in text and "What challenges say of it" in text
    assert ("Challenge the station again" in text) != ("Nothing of the last hours is in doubt" in text)
    assert browser().client.get("/station/K9-foot").status_code == 404


def test_signals_are_chosen_by_line_defect_and_state(browser: Make, signal: str) -> None:
    for address, there in (
        ("/signals", True),
        ("/signals?line=K1", True),
        ("/signals?line=K2", False),
        ("/signals?state=open&defect=STN", True),
        ("/signals?state=over", False),
        ("/signals?defect=CRD", False),
    ):
        assert (f'href="/signals/{signal}"' in browser().get(address)) is there, address
    assert browser().client.get("/signals?state=maybe").status_code == 400
    text = browser().get(f"/signals/{signal}")
    assert "Hour by hour" in text and "/trace?line=K1&amp;defect=STN&amp;made_from=" in text
    assert browser().client.get("/signals/none-such").status_code == 404


def test_names_in_tables_lead_on_but_lists_of_names_do_not() -> None:
    columns = (Column("pallet", "Pallet"), Column("id", "Name"), Column("station", "Station"))
    rows = [{"pallet": "A/1", "id": "S-1", "station": "K1-foot"}, {"pallet": "A, B", "id": None, "station": ""}]
    assert leading(Sheet("signals", "t", columns, rows, links={(0, "id"): "/mine"})) == {
        (0, "pallet"): "/pallet/A%2F1",
        (0, "id"): "/mine",
    }
    assert leading(Sheet("detection", "t", columns, rows))[0, "station"] == "/station/K1-foot"


def test_a_station_that_nobody_challenged_is_not_vouched_for(place: Place) -> None:
    place.put("station_counts.csv", HEAD + "2026-03-10T09:59:00Z,K1,K1-side-a,,60,12,1\n")
    place.take()
    client = served(place.site.root)
    text = client.get("/station/K1-side-a").text
    assert "what it lets by is not known" in text and "challenges vouch for it" not in text
