"""Every form keeps what was typed, shows a mistake at its field, and does nothing dangerous by Enter; every error leads
back.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from pipelines.intake.filing import quarantine_entries
from pipelines.pages.around import LARGEST_FORM
from tests.conftest import HEAD, Place
from tests.pages.conftest import PASSWORDS, Browser, peopled
from tests.pages.test_who_may_write import pallets

Make = Callable[..., Browser]
PAGES = (
    "/holds",
    "/trace",
    "/signals",
    "/times/K1",
    "/moulds/K1",
    "/people",
    "/feeds",
    "/sign-in",
    "/hour/K1",
    "/now",
)


class Forms(HTMLParser):
    """The forms of a page, each with the tags in it; labels and ids of the whole page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: list[list[tuple[str, dict[str, str]]]] = []
        self.ids: list[str] = []
        self.named: set[str] = set()
        self._label = self._form = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = {name: value or "" for name, value in attrs}
        self.ids += [has["id"]] if "id" in has else []
        if tag == "label":
            self._label = True
            self.named.add(has.get("for", ""))
        if tag == "form":
            self._form = True
            self.forms.append([])
        if self._form:
            self.forms[-1].append((tag, {**has, **({"labelled": ""} if self._label else {})}))

    def handle_endtag(self, tag: str) -> None:
        self._label = self._label and tag != "label"
        self._form = self._form and tag != "form"


def tags(text: str, name: str) -> Iterator[dict[str, str]]:
    yield from (has for form in Forms(text).forms for tag, has in form if tag == name)


@pytest.fixture(scope="module")
def held(site: Place) -> str:
    """A hold that a quality manager placed, on two pallets."""
    from pipelines.jobs.holds import decide

    return decide(site.opened, "place", None, pallets(site)[:2], "Q. Quality", "cracks", "seen at the line").hold


@pytest.fixture(scope="module")
def refused(site: Place) -> int:
    """A file with two refused rows."""
    row = "2026-03-10T10:{}:00Z,K1,K1-side-a,1,60,few,1\n"
    site.put("station_counts.K1.forms.csv", HEAD + row.format("00") + row.format("01"))
    before = {*quarantine_entries(site.site)}
    site.take()
    return ({*quarantine_entries(site.site)} - before).pop()


def with_mistake(text: str) -> dict[str, str]:
    """The one field that is wrong, as it is shown."""
    wrong = [has for name in ("input", "textarea", "select") for has in tags(text, name) if "aria-invalid" in has]
    assert len(wrong) == 1 and "autofocus" in wrong[0], wrong
    described = wrong[0]["aria-describedby"].split()
    assert f"{wrong[0]['id']}-wrong" in described and set(described) <= set(Forms(text).ids)
    assert f'<a href="#{wrong[0]["id"]}">' in text and text.count("autofocus") == 1 and 'role="alert"' in text
    return wrong[0]


@pytest.mark.parametrize("address", [*PAGES, "a hold", "refused rows"])
def test_every_field_has_its_label_and_no_form_begins_with_what_is_dangerous(
    address: str, browser: Make, held: str, refused: int
) -> None:
    address = {"a hold": f"/holds/{held}", "refused rows": f"/feeds/refused/{refused}"}.get(address, address)
    for name in ("Q. Quality", "S. Shift", "A. Admin"):
        answer = browser(name).client.get(address)
        if answer.status_code == 403:
            continue
        page = Forms(answer.text)
        assert len(page.ids) == len(set(page.ids)) and page.forms
        for form in page.forms:
            for tag, has in form:
                if tag in ("input", "select", "textarea") and has.get("type") != "hidden":
                    assert has.get("id") in page.named or "labelled" in has or "aria-label" in has, has
                for each in has.get("aria-describedby", "").split():
                    assert each in page.ids
            presses = [has for tag, has in form if tag == "button" and has.get("type") != "button"]
            assert not presses or presses[0].get("class") != "careful", form[0]


def test_a_hold_that_cannot_be_placed_is_asked_for_again_with_what_was_typed(browser: Make, site: Place) -> None:
    quality, good = browser("Q. Quality"), pallets(site)[0]
    answer: Any = quality.post("/holds", pallets=f"{good} 12345", why='cracks "at" <neck>', evidence="seen")
    assert answer.status_code == 400 and "no pallet" in answer.text and "What is held" not in answer.headers
    assert with_mistake(answer.text)["name"] == "pallets" and f">{good} 12345</textarea>" in answer.text
    assert 'value="cracks &#34;at&#34; &lt;neck&gt;"' in answer.text and 'value="seen"' in answer.text
    assert "Nothing was done: 1 mistake." in answer.text
    both: Any = quality.post("/holds", pallets="", why="", evidence="x")
    assert both.text.count("aria-invalid") == 2 and both.text.count("autofocus") == 1 and "2 mistakes" in both.text
    german = quality.client.post(
        "/holds", data={"form_token": quality.token(), "why": "x", "evidence": "y"}, headers={"Accept-Language": "de"}
    )
    assert "Noch nicht geschehen" in german.text and "welche Paletten" in german.text


def test_a_form_begins_with_what_is_in_hand(browser: Make, site: Place) -> None:
    with site.opened.ledger.reading() as reader:
        pallet = reader.current("pallets")["pallet"].sort()[-1]
    text = browser("Q. Quality").get(f"/holds?pallets={pallet}&why=cracks")
    assert f">{pallet}</textarea>" in text and 'value="cracks"' in text and "autofocus" not in text
    assert f'href="/holds?pallets={pallet}#form-place-a-hold"' in browser().get(f"/pallet/{pallet}")


def test_enter_releases_nothing(browser: Make, site: Place, held: str) -> None:
    quality, address, mine = browser("Q. Quality"), f"/holds/{held}", pallets(site)[:2]
    page = Forms(quality.get(address))
    form = next(form for form in page.forms if form[0][1].get("id") == "form-release-or-scrap")
    presses = [has for tag, has in form if tag == "button"]
    assert [has.get("name") for has in presses] == ["look", "action", "action"]
    assert [has.get("class") for has in presses] == [None, "careful", "careful"]
    looked: Any = quality.post(address, look="held", pallet=mine[:1], why="counted", evidence="all whole")
    assert looked.status_code == 400 and "nothing was done yet" in looked.text and "aria-invalid" not in looked.text
    boxes = {has["value"]: "checked" in has for has in tags(looked.text, "input") if has.get("name") == "pallet"}
    assert boxes == {mine[0]: True, mine[1]: False} and 'value="all whole"' in looked.text
    lacking: Any = quality.post(address, look="held", pallet=mine[:1], why="", evidence="all whole")
    assert with_mistake(lacking.text)["name"] == "why"
    assert "2 pallets: held" in quality.get(address)
    done: Any = quality.post(address, action="release", pallet=mine, why="counted", evidence="all whole")
    assert done.status_code == 303 and "2 pallets: released" in quality.get(address)


def test_rows_are_given_up_by_their_own_button_alone(browser: Make, site: Place, refused: int) -> None:
    shift, address = browser("S. Shift"), f"/feeds/refused/{refused}"
    fields = {"2:inspected": "50", "2:give_up": "yes", "3:inspected": "61"}
    answer: Any = shift.post(address, token_from=address, **fields)
    assert answer.status_code == 400 and "press the button that gives up" in answer.text
    assert with_mistake(answer.text)["name"] == "2:give_up"
    kept = {has["name"]: has for has in tags(answer.text, "input") if has.get("name") in fields}
    assert kept["2:inspected"]["value"] == "50" and kept["3:inspected"]["value"] == "61"
    assert "checked" in kept["2:give_up"] and refused in quarantine_entries(site.site)
    done: Any = shift.post(address, token_from=address, action="give_up", **fields)
    assert done.status_code == 303 and refused not in quarantine_entries(site.site)


@pytest.mark.parametrize(
    ("address", "name", "says", "kept"),
    [
        ("/times/K1?from=04/03/2026 10:00&to=2026-03-10T12:00", "from", "can be 04 Mar or 03 Apr", "04/03/2026 10:00"),
        ("/times/K1?from=2026-03-10T10:00&to=2026-03-10T09:00", "to", "must lie before", "2026-03-10T09:00"),
        ("/signals?from=2025-10-26T02:30&to=2025-10-26T05:00", "from", "came twice", "2025-10-26T02:30"),
        ("/signals?from=2026-03-10T02:30", "to", "give both", "2026-03-10T02:30"),
        ("/moulds/K1?hours=900", "hours", "hours is a whole number from 1 to 168", "900"),
        ("/trace?made_from=half past two&mould=17", "made_from", "is not a time such as", "half past two"),
        ("/trace?complaint=C-00-000&mould=17", "complaint", "C-00-000", "C-00-000"),
        ("/trace?received=31.2.2026&mould=17", "received", "is not a time such as", "31.2.2026"),
    ],
)
def test_a_mistake_of_an_address_stands_at_its_field_with_what_was_typed(
    address: str, name: str, says: str, kept: str, browser: Make
) -> None:
    answer = browser().client.get(address)
    assert answer.status_code == 400 and says in answer.text
    wrong = with_mistake(answer.text)
    assert wrong["name"] == name and wrong["type"] in ("text", "number")
    assert f'value="{kept}"' in answer.text and ("mould=17" not in address or 'value="17"' in answer.text)


@pytest.mark.parametrize(
    ("address", "leads_to"),
    [
        ("/times/K1?from=10.3. 10:00&to=10.3. 12.30", "from=2026-03-10T10%3A00&to=2026-03-10T12%3A30"),
        ("/signals?from=yesterday 10:00&to=today 06:00", "from=2026-03-10T10%3A00&to=2026-03-11T06%3A00"),
        ("/hour/K1?at=10 March 11:30", "at=2026-03-10T11%3A30"),
        ("/trace?mould=17&received=yesterday", "mould=17&received=2026-03-10"),
    ],
)
def test_a_time_as_people_write_it_gets_an_address_that_keeps_its_meaning(
    address: str, leads_to: str, browser: Make
) -> None:
    answer = browser().client.get(address, follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"].endswith(f"?{leads_to}"), answer.headers["location"]
    assert browser().client.get(answer.headers["location"]).status_code == 200


def test_times_are_picked_by_the_works_clock_which_is_named(browser: Make) -> None:
    for address in ("/trace", "/signals", "/times/K1"):
        text = browser().get(address)
        assert len([has for has in tags(text, "input") if has.get("type") == "datetime-local"]) == 2
        assert "the clock of Europe/Warsaw" in text and "data-write" in text
    text = browser().get("/trace?line=K1&made_from=2026-03-10T09:00Z")
    assert 'value="2026-03-10T10:00"' in text, "an address of another clock begins the field by the works' own"


def test_a_sign_in_that_fails_keeps_the_name_and_never_the_password(browser: Make) -> None:
    answer = browser().client.post("/sign-in", data={"name": "Q. Qality", "password": "honest amber", "to": "/holds"})
    assert answer.status_code == 401 and 'value="Q. Qality"' in answer.text and "honest amber" not in answer.text
    assert with_mistake(answer.text)["name"] == "name" and 'name="to" value="/holds"' in answer.text


def test_people_are_taken_out_with_a_tick_and_a_press(browser: Make, site: Place) -> None:
    admin = browser("A. Admin")
    short: Any = admin.post("/people", token_from="/people", name="N. New", password="short", role=["quality"])
    assert with_mistake(short.text)["name"] == "password" and 'value="N. New"' in short.text
    assert 'value="short"' not in short.text
    boxes = {has["value"]: "checked" in has for has in tags(short.text, "input") if has.get("name") == "role"}
    assert boxes["quality"] and sum(boxes.values()) == 1
    for fields in ({"end": "R. Reader"}, {"look": "take out"}):
        answer: Any = admin.post("/people", token_from="/people", **fields)
        assert answer.status_code == 400 and with_mistake(answer.text)["name"] == "sure"
    assert browser("R. Reader").client.get("/now").status_code == 200, "nobody was taken out"


@pytest.mark.parametrize(
    ("ask", "status"),
    [
        (lambda b: b.client.get("/nothing-here", headers=b.came), 404),
        (lambda b: b.client.get("/now?nonsense=1", headers=b.came), 400),
        (lambda b: b.client.post("/holds", data={"why": "cracks", "form_token": "x"}, headers=b.came), 403),
        (lambda b: b.client.post("/signals/S/acknowledge", data={"note": "cracks" * 90}, headers=b.came), 400),
        (lambda b: b.client.post("/holds", content=b"x" * (LARGEST_FORM + 1), headers=b.came), 413),
        (lambda b: b.client.post("/holds", content=iter([b"x"]), headers=b.came), 411),
        (lambda b: b.client.put("/holds", headers=b.came), 405),
    ],
)
def test_every_error_leads_back(ask: Callable[[Any], Any], status: int, browser: Make) -> None:
    this_browser: Any = browser("S. Shift")
    this_browser.came = {"Referer": "http://testserver/signals?state=open"}
    answer = ask(this_browser)
    assert answer.status_code == status
    assert '<a href="/signals?state=open">← back to where you were</a>' in answer.text
    assert '<a href="/now">Now</a>' in answer.text
    typed = status == 403 or "acknowledge" in str(answer.url)
    assert ("What you typed" in answer.text and "cracks" in answer.text) == typed
    this_browser.came = {"Referer": "http://elsewhere.example/signals?state=open"}
    assert "back to where you were" not in ask(this_browser).text, "only within this site"


def test_a_failure_and_a_busy_ledger_lead_back_too(browser: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipelines.errors import LedgerBusy
    from pipelines.pages.places import holds

    shift = browser("S. Shift")
    for error, status in ((LedgerBusy("x"), 503), (RuntimeError("secret"), 500)):

        def failing(*_: object, error: Exception = error) -> None:
            raise error

        monkeypatch.setattr(holds, "decide", failing)
        answer = shift.client.post(
            "/holds",
            data={"form_token": shift.token(), "pallets": "1", "why": "cracks", "evidence": "e"},
            headers={"Referer": "http://testserver/holds"},
        )
        assert answer.status_code == status and "secret" not in answer.text
        assert '<a href="/holds">← back' in answer.text and "why: cracks" in answer.text


def test_nothing_secret_is_kept(browser: Make) -> None:
    admin = browser("A. Admin")
    fields = {"form_token": "x", "name": "N. New", "password": PASSWORDS["A. Admin"]}
    answer = admin.client.post("/people", data=fields)
    assert answer.status_code == 403 and "name: N. New" in answer.text and PASSWORDS["A. Admin"] not in answer.text


@pytest.mark.parametrize(
    ("address", "status"), [("/times/NOPE?hours=x", 400), ("/moulds/NOPE?hours=x", 400), ("/holds/H-9?steady=9", 400)]
)
def test_what_has_no_page_is_told_in_a_sentence(address: str, status: int, browser: Make) -> None:
    answer = browser().client.get(address)
    assert answer.status_code == status and "What happened" in answer.text and "whole number" in answer.text


def test_a_form_that_is_gone_meanwhile_is_told_and_what_was_typed_is_kept(
    browser: Make, held: str, site: Place
) -> None:
    quality, shift = browser("Q. Quality"), browser("S. Shift")
    for action in ("dismiss", "nonsense"):  # nothing is proposed in this hold
        answer: Any = quality.post(f"/holds/{held}", action=action, pallet=pallets(site)[:1], why="w1", evidence="e1")
        assert answer.status_code == 400 and "What happened" in answer.text and "why: w1" in answer.text
    assert shift.client.post("/feeds/refused/x", data={"2:inspected": "50"}).status_code == 400
    lost: Any = shift.post("/feeds/refused/99999", **{"2:inspected": "50"})
    assert lost.status_code in (400, 404) and "2:inspected: 50" in lost.text


def test_a_stranger_is_led_to_the_sign_in_alone(day_taken: Place, tmp_path: Path) -> None:
    from pipelines.pages.web import Options
    from tests.pages.conftest import served

    place = peopled(day_taken, tmp_path / "site")
    client = served(place.site.root, Options(open_reading=False, hosts=("testserver",), grace_s=0))
    answer = client.post("/holds", data={"why": "cracks"}, headers={"Referer": "http://testserver/holds"})
    assert answer.status_code == 401 and 'href="/sign-in' in answer.text
    assert "back to where" not in answer.text and not re.search(r"K1-|cracks", answer.text)
