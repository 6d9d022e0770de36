"""What an hour says before its tables stands on one screen of 1280 x 800, its signals each on a clock axis."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from playwright.sync_api import Browser

from pipelines.reports.addresses import hour_address
from tests.browser.steps import opened
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import Place
from tests.pages.conftest import listening
from tests.pages.test_moulds_and_signals import faulty, site  # noqa: F401 (fixtures)

pytestmark = pytest.mark.browser
FIRST_TABLE = "document.querySelector('#content table').closest('section').getBoundingClientRect().top"
CUT_LETTERS = """() => [...document.querySelectorAll('svg text')].filter(e => e.checkVisibility()).map(e => {
  const r = e.getBoundingClientRect(), s = e.ownerSVGElement.getBoundingClientRect();
  return [e.textContent, Math.round(r.height), r.left < s.left - 4 || r.right > s.right + 14]; })"""


@pytest.fixture(scope="module")
def address(site: Place) -> Iterator[tuple[str, Place]]:  # noqa: F811
    with listening(site) as text:
        yield text, site


def test_what_stands_before_the_tables_fits_one_screen(
    chromium: Browser,  # noqa: F811
    address: tuple[str, Place],
) -> None:
    where, place = address
    cards: list[int] = []
    for page in opened(chromium, 1280, "light"):
        page.set_viewport_size({"width": 1280, "height": 800})
        for line in place.plant.lines:
            for hour in place.plant.clock.hours_of(date(2026, 3, 10))[1:21:2]:
                page.goto(f"{where}/{hour_address(place.plant, line, hour)}")
                count = page.locator(".card").count()
                assert page.evaluate(FIRST_TABLE) <= (800 if count <= 1 else 1000), (line, hour, count)
                if count:
                    axis = page.locator(".card svg.times.wide").first.text_content() or ""
                    assert "cold end" in axis and "formed, " in axis and "min before" in axis and ":00" in axis
                cards.append(count)
    assert any(count == 1 for count in cards) and any(count == 0 for count in cards), cards


def test_letters_of_a_signals_picture_can_be_read_on_a_phone(
    chromium: Browser,  # noqa: F811
    address: tuple[str, Place],
) -> None:
    where, place = address
    seen = 0
    for page in opened(chromium, 375, "dark"):
        for hour in place.plant.clock.hours_of(date(2026, 3, 10))[13:21:3]:
            page.goto(f"{where}/{hour_address(place.plant, 'K1', hour)}")
            if page.locator(".card svg.times").count() == 0:
                continue
            letters = page.evaluate(CUT_LETTERS)
            drawn = [each for each in letters if each[0] == "cold end"]
            assert drawn and all(high >= 14 for _, high, _ in drawn) and not any(cut for *_, cut in letters), letters
            seen += 1
    assert seen
