"""A mould, a station and a line's weights on both clocks, in the page's own window."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from tests.conftest import HEAD, Place
from tests.pages.conftest import Browser, peopled, served

ACTIONS = (
    "acted_at,line,kind,section,gob,station,mould,part,defect,value,signal,note,by\n"
    "2026-03-11T02:10:00+01:00,K1,timing,3,,,,,LAP,,,,hot2\n"
    "2026-03-11T03:20:00+01:00,K1,station_setting,,,K1-mouth,,,,,,,cold1\n"
)


@pytest.fixture(scope="module")
def browser(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    place = peopled(day_taken, tmp_path_factory.mktemp("in time") / "site")
    place.put("actions.csv", ACTIONS)
    place.take()
    client = served(place.site.root)
    with client:
        yield Browser(client)
    client.app.state.web.desk.close()  # type: ignore[attr-defined]


def words(page: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)))


def mould_of(browser: Browser) -> str:
    """The mould of the first cavity."""
    found = re.search(r'href="/mould/K1/([^"]+)"', browser.get("/moulds/K1"))
    assert found
    return found[1]


def test_a_mould_stands_against_the_mean_of_its_machine(browser: Browser) -> None:
    number = mould_of(browser)
    page = browser.get(f"/mould/K1/{number}")
    picture = re.search(r'<svg class="times wide"[^>]*aria-label="([^"]*)"', page)
    assert picture and f"Mould {number}:" in picture[1] and "expected" in picture[1]
    assert "cold end" in page and "formed" in page and "the mean of the machine's moulds" in words(page)
    assert 'data-from="' in page, "a window can be drawn in it"


def test_where_no_cavity_can_be_judged_none_is_said_to_be_well(place: Place) -> None:
    rows = "".join(f"2026-03-11T04:{m:02d}:00Z,K1,K1-side-a,,60,50,1\n" for m in range(60))
    place.put("station_counts.K1.csv", HEAD + rows)
    place.take()
    with served(place.site.root) as client:
        text = words(client.get("/moulds/K1?hours=4").text)
    assert "– cavities beyond what signals explain not judged" in text


def test_what_nobody_counted_is_no_zero_and_what_stood_is_not_silent(place: Place) -> None:
    """K1's first station counts that no ware comes; its foot says nothing; weights are of an item nobody knows."""
    rows = "".join(f"2026-03-11T04:{m:02d}:00Z,K1,K1-side-a,,60,0,0\n" for m in range(60))
    place.put("station_counts.K1.csv", HEAD + rows)
    weighed = "".join(f"2026-03-10T09:{n:02d}:00Z,K1,cold,11,1,18{n % 5},lab\n" for n in range(20))
    place.put("weight_checks.csv", "sampled_at,line,point,mould,sample,weight_g,by\n" + weighed)
    place.take()
    with served(place.site.root) as client:
        silent, stood = (client.get(f"/station/{each}").text for each in ("K1-foot", "K1-side-a"))
        weights, wall = (words(client.get(at).text) for at in ("/weights/2026-03-10/K1.html", "/now?wall=1"))
    assert "Calls there: no ware or no counts" in silent and "Calls there: 0" not in words(silent)
    assert "– defects in doubt" in words(silent), "nobody challenged it: what it lets by is not known"
    assert ">no counts<" in silent and ">no ware<" in stood and ">no ware<" not in silent
    assert "K1 no ware" in wall and "K2 no counts" in wall
    assert "moulds that stand out, an unknown item" in weights and "None" not in weights


def test_the_window_is_the_pages_and_its_address_holds_it(browser: Browser) -> None:
    page = browser.get(f"/mould/K1/{mould_of(browser)}?from=2026-03-10T12:00&to=2026-03-10T16:00")
    assert 'class="chosen"' in page and 'value="2026-03-10T12:00"' in page
    station = browser.get("/station/K1-mouth?from=2026-03-10T12:00&to=2026-03-10T16:00")
    assert "10 Mar 2026, 12:00 to 16:00" in words(station) and 'class="chosen"' in station
    wrong = browser.client.get("/station/K1-mouth?from=2026-03-10T16:00&to=2026-03-10T12:00")
    assert wrong.status_code == 400 and 'aria-invalid="true"' in wrong.text


def test_weights_are_told_of_the_chosen_window(browser: Browser, day_taken: Place) -> None:
    address = "/weights/2026-03-10/K4.html"
    whole = browser.get(address)
    assert 'data-from="' in whole and 'name="from"' in whole, "a window can be drawn, or typed"
    page = browser.get(f"{address}?from=2026-03-10T12:00&to=2026-03-10T16:00")
    assert "10 Mar 2026, 12:00 to 16:00" in words(page) and 'class="chosen"' in page
    lehr_s = 3600
    rows = day_taken.ask(
        "weights_of_line",
        line="K4",
        from_time=datetime(2026, 3, 10, 11, tzinfo=UTC),
        to_time=datetime(2026, 3, 10, 15, tzinfo=UTC),
        lehr_s=lehr_s,
    )
    (item,) = rows["item"].unique().to_list()
    assert f"{rows.height} weighings" in words(page).split("mean of " + item)[1][:40]
    assert f"{rows.height} weighings" not in words(whole).split("mean of " + item)[1][:40]
    wrong = browser.client.get(f"{address}?from=2026-03-10T16:00&to=2026-03-10T12:00")
    assert wrong.status_code == 400 and 'aria-invalid="true"' in wrong.text


def test_a_station_has_its_own_calls_challenges_and_settings(browser: Browser) -> None:
    page = browser.get("/station/K1-mouth")
    text = words(page)
    assert "Calls of this station alone" in text and "nothing to compare with" in text
    assert (
        "station setting K1-mouth" in text
        and "K1-foot" not in text.split("What happened")[1].split("What challenges")[0]
    )


def test_what_was_done_stands_on_the_line_in_time(browser: Browser) -> None:
    text = words(browser.get("/times/K1?hours=12"))
    assert "timing 3 for LAP" in text and "Done" in text and "station setting K1-mouth" in text


def test_weights_stand_on_both_clocks(browser: Browser) -> None:
    page = browser.get("/weights/2026-03-10/K1.html")
    picture = re.search(r'<svg class="times wide"[^>]*aria-label="([^"]*)"', page)
    assert picture and re.search(r"\d+ weighings, [\d.]+ to [\d.]+ g, \d+ beyond limits", picture[1])
    assert 'class="dots"' in page and "Weights on two clocks" in page


def test_a_reading_that_moved_is_written_as_other_figures_are(browser: Browser) -> None:
    at = [f"2026-03-11T0{1 + n // 6}:{n % 6}0:00Z" for n in range(15)]
    rows = "".join(f"{moment},K1,forehearth_c,{1122.5 if n < 14 else 98123.5},\n" for n, moment in enumerate(at))
    place = Place.at(browser.client.app.state.web.desk.opened.site.root)  # type: ignore[attr-defined]
    place.put("process_reads.csv", "read_at,at,quantity,value,by\n" + rows)
    place.take()
    text = words(browser.get("/times/K1?hours=12"))
    assert "98 123.5, +97 001 from what it was" in text.replace("\u202f", " ").replace("\u00a0", " ")


def test_a_number_of_any_letters_leads_to_its_own_trace(place: Place) -> None:
    place.put("mould_log.csv", "fitted_at,line,section,gob,part,number,item\n2026-03-10T04:00:00Z,K1,1,A,mould,7&8#,\n")
    place.put("station_counts.csv", HEAD + "2026-03-11T04:00:00Z,K1,K1-side-a,7&8#,60,50,1\n")
    place.take()
    with served(place.site.root) as client:
        page = html.unescape(client.get("/mould/K1/7%268%23").text)
    assert 'href="/trace?line=K1&mould=7%268%23"' in page
