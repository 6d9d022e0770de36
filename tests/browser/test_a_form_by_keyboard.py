"""A whole form by keyboard alone on a phone's width, with a mistake in it: what was typed stays, the mistake has the
focus, Enter does nothing that cannot be taken back.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.steps import opened, sign_in, tab_to
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import Place
from tests.pages.conftest import listening, peopled
from tests.pages.test_who_may_write import pallets

pytestmark = pytest.mark.browser
SMALL = """() => [...document.querySelectorAll('main :is(button, input:not([type=hidden]), select, textarea)')]
  .filter((e) => e.checkVisibility())
  .map((e) => [e.type === 'checkbox' ? e.closest('label') : e, e.name || e.innerText])
  .filter(([e]) => e.getBoundingClientRect().height < 44).map(([, name]) => name)"""

DESCRIBED = """() => document.activeElement.getAttribute('aria-describedby').split(' ')
  .map((id) => document.getElementById(id).innerText)"""


@pytest.fixture(scope="module")
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    return peopled(day_taken, tmp_path_factory.mktemp("form") / "site")


@pytest.fixture(scope="module")
def address(site: Place) -> Iterator[str]:
    with listening(site) as text:
        yield text


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Page]:  # noqa: F811
    yield from opened(chromium, 375, "light")


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.name || document.activeElement.innerText"))


def test_a_hold_is_placed_and_released_by_keyboard_with_a_mistake_on_the_way(
    phone: Page, address: str, site: Place
) -> None:
    good = pallets(site)[0]
    sign_in(phone, address, "Q. Quality", "/holds")
    tab_to(phone, "textarea[name=pallets]")
    phone.keyboard.type(f"{good}9")
    tab_to(phone, "input[name=why]")
    phone.keyboard.type("cracks at the neck")
    tab_to(phone, "input[name=evidence]")
    phone.keyboard.type("seen at the line")
    phone.keyboard.press("Enter")
    phone.wait_for_selector(".mistakes")
    assert focused(phone) == "pallets", "the first mistake has the focus"
    said = phone.evaluate(DESCRIBED)
    assert "no pallet" in said[-1] and phone.input_value("textarea[name=pallets]") == f"{good}9"
    assert phone.input_value("input[name=why]") == "cracks at the neck"
    assert phone.evaluate(SMALL) == [] and phone.evaluate("document.documentElement.scrollWidth") <= 375
    phone.keyboard.press("Control+End")
    phone.keyboard.press("Backspace")
    tab_to(phone, "input[name=evidence]")
    phone.keyboard.press("Enter")
    phone.wait_for_url("**/holds/H-*")

    tab_to(phone, "input[name=pallet]")
    phone.keyboard.press("Space")
    tab_to(phone, "input[name=why]")
    phone.keyboard.type("counted again")
    tab_to(phone, "input[name=evidence]")
    phone.keyboard.type("all are whole")
    phone.keyboard.press("Enter")
    phone.wait_for_selector(".checked")
    assert "nothing was done yet" in phone.locator(".checked").inner_text()
    assert phone.input_value("#form-release-or-scrap input[name=why]") == "counted again"
    assert "1 pallets: held" in phone.locator("main").inner_text()
    tab_to(phone, "button[value=release]")
    phone.keyboard.press("Enter")
    phone.wait_for_selector("p.said")
    assert "1 pallets: released" in phone.locator("main").inner_text()


def test_a_time_is_picked_or_written(phone: Page, address: str) -> None:
    phone.goto(f"{address}/times/K1")
    tab_to(phone, "[data-write]")
    phone.keyboard.press("Enter")
    assert focused(phone) == "from"
    phone.keyboard.press("Control+A")
    phone.keyboard.type("10.3. 14.30")
    phone.keyboard.press("Enter")
    phone.wait_for_url("**from=2026-03-10T14%3A30**")
    assert phone.get_attribute("input[name=from]", "type") == "datetime-local"
    assert phone.input_value("input[name=from]") == "2026-03-10T14:30"


def test_a_mistake_and_its_form_need_no_script(chromium: Browser, address: str) -> None:  # noqa: F811
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 375, "height": 800})
    page = context.new_page()
    page.goto(f"{address}/signals?from=04/03/2026&to=2026-03-10T10:00")
    assert "04 Mar or 03 Apr" in page.locator(".mistakes").inner_text()
    assert page.input_value("input[name=from]") == "04/03/2026" and not page.locator("[data-write]").first.is_visible()
    page.fill("#form-choose input[name=from]", "9 March 14:30")
    page.fill("#form-choose input[name=to]", "2026-03-10T10:00")
    page.locator("#form-choose .buttons button").click()
    page.wait_for_url("**from=2026-03-09T14%3A30**")
    context.close()
