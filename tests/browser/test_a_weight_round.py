"""A weight round on a phone's width by keyboard alone, the network cut in the middle: nothing lost, nothing doubled."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import polars as pl
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route

from tests.browser.steps import opened, sign_in, tab_to, wait
from tests.browser.test_a_form_by_keyboard import SMALL
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import Place
from tests.pages.conftest import listening, peopled

pytestmark = pytest.mark.browser
ROUND = "/enter/weights/K4"
KEY_MS = 120  # between two keys of a quick honest hand
MOST_S = 120.0


@pytest.fixture
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    return peopled(day_taken, tmp_path_factory.mktemp("round") / "site")


@pytest.fixture
def address(site: Place) -> Iterator[str]:
    with listening(site) as text:
        yield text


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Page]:  # noqa: F811
    yield from opened(chromium, 375, "light")


def typed(site: Place) -> list[float]:
    rows = site.facts("weight_checks").filter(pl.col("by") == "S. Shift")
    return sorted(rows["weight_g"].to_list())


def test_twenty_weighings_by_keyboard_in_under_two_minutes(phone: Page, address: str, site: Place) -> None:
    sign_in(phone, address, "S. Shift", ROUND)
    assert phone.evaluate("document.documentElement.scrollWidth") <= 375 and not phone.evaluate(SMALL)
    assert phone.locator("input[name^='w:']").first.get_attribute("inputmode") == "decimal"
    begun = time.monotonic()
    tab_to(phone, "input[name^='w:']")
    names = []
    while (name := str(phone.evaluate("document.activeElement.name"))).startswith("w:"):
        phone.keyboard.type(f"{204 + len(names) / 10:.1f}", delay=KEY_MS)
        phone.keyboard.press("Enter")  # as the key of a scale that types
        names.append(name)
    assert len(set(names)) == len(names) == phone.locator("input[name^='w:']").count() >= 18
    phone.keyboard.press("Enter")  # the last field led to the button
    wait(phone, "document.body.innerText.includes('Saved:')")
    took = (time.monotonic() - begun) / len(names)
    assert 20 * took < MOST_S, f"{took:.1f} s a weighing"
    assert typed(site) == [round(204 + n / 10, 1) for n in range(len(names))]


def lost(route: Route) -> None:
    """The request reaches the site, its answer nobody."""
    route.fetch(max_redirects=0)
    route.abort()


@pytest.fixture
def unwired(chromium: Browser) -> Iterator[Page]:  # noqa: F811
    """A phone whose console may tell that the network is away."""
    context = chromium.new_context(viewport={"width": 375, "height": 900}, locale="en-GB")
    yield context.new_page()
    context.close()


def test_a_network_cut_in_the_middle_loses_and_doubles_nothing(unwired: Page, address: str, site: Place) -> None:
    phone = unwired
    sign_in(phone, address, "S. Shift", ROUND)
    fields = phone.locator("input[name^='w:']")
    for n in range(3):
        fields.nth(n).fill(f"{205 + n}")
    phone.context.set_offline(True)
    phone.locator("form.kept .buttons button").click()
    wait(phone, "!!document.getElementById('kept-here')")
    assert "Not saved yet" in phone.locator("#kept-here").inner_text() and fields.nth(0).input_value() == ""
    assert typed(site) == []
    fields.nth(3).fill("208")
    phone.context.set_offline(False)
    wait(phone, "document.getElementById('kept-here').innerText.includes('saved now')")
    assert typed(site) == [205.0, 206.0, 207.0] and fields.nth(3).input_value() == "208"
    phone.reload()
    assert fields.nth(3).input_value() == "208", "what is not saved yet stands there again"
    for each in range(2):
        phone.context.route("**/enter/weights/*", lost)
        phone.locator("form.kept .buttons button").click()  # saved, and its answer lost on the way
        wait(phone, "document.getElementById('kept-here').innerText.includes('Not saved yet')")
        phone.context.unroute_all()
        phone.evaluate("dispatchEvent(new Event('online'))")
        wait(phone, "document.getElementById('kept-here').innerText.includes('saved now')")
        assert typed(site) == [205.0, 206.0, 207.0, 208.0]
        if each == 0:
            fields.nth(3).fill("208")


@pytest.mark.parametrize("width", [375, 1280])
def test_axe_finds_nothing_on_the_forms(width: int, chromium: Browser, address: str, site: Place) -> None:  # noqa: F811
    for page in opened(chromium, width, "light"):
        sign_in(page, address, "S. Shift", "/enter")
        for path in ("/enter", ROUND, "/enter/weight_checks", "/enter/complaints", "/enter/mould_log"):
            page.goto(address + path)
            found = [(each["id"], each["nodes"][0]["html"][:120]) for each in Axe().run(page).response["violations"]]
            assert not found, (path, found)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            if width == 375:
                assert not page.evaluate(SMALL), path


def test_on_paper_it_is_a_form_to_fill_in(chromium: Browser, address: str, site: Place) -> None:  # noqa: F811
    for page in opened(chromium, 1280, "light"):
        sign_in(page, address, "S. Shift", ROUND)
        fields = page.locator("input[name^='w:']").count()
        page.emulate_media(media="print")
        assert page.locator("input[name^='w:']").first.is_visible()
        assert not page.locator("form.kept .buttons").is_visible()
        data = page.pdf(format="A4", prefer_css_page_size=True)
        assert fields > 10 and len(re.findall(rb"/Type /Page[\n /]", data)) == 1
