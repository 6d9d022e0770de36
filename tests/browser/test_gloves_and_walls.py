"""What a hand in a glove presses and what an eye reads from afar: large enough, whole, and beside nothing it covers."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.steps import opened
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.browser.test_the_act_first import SIZES, address, one_open  # noqa: F401 (fixtures)

pytestmark = pytest.mark.browser
PHONE = ("/now", "/hour/K1", "/signals", "/moulds/K1", "/times/K1", "/laboratory", "/holds", "/feeds", "/find?q=11")
# What can be pressed and is lower than 44 px; a link amid a sentence is left to its sentence.
LOW = """() => [...document.querySelectorAll('a[href], button, input, select, summary')].filter(e => {
  if (!e.checkVisibility() || e.type === 'hidden' || e.closest('svg') || e.classList.contains('skip')) return false;
  const around = e.closest('p, li, dd');
  if (around && getComputedStyle(e).display === 'inline' && around.textContent.trim() !== e.textContent.trim())
    return false;
  return e.getBoundingClientRect().height < 43.5;
}).map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect().height])"""
# Neighbouring words of the big screen that stand on each other or on a picture.
COVERED = """() => { const found = [];
  const words = e => { const r = document.createRange(); r.selectNodeContents(e); return r.getBoundingClientRect(); };
  for (const row of document.querySelectorAll('.caught tr, .turn li')) {
    const parts = [...row.children].filter(e => e.checkVisibility());
    parts.slice(1).forEach((next, n) => {
      const left = words(parts[n]).right, right = next.matches('.drawn') ? next.getBoundingClientRect() : words(next);
      if (left > right.left + 1) found.push([parts[n].textContent, left, right.left]);
    });
  } return found; }"""
# How much wider what the box says is than its room.
SQUEEZED = """() => { const e = document.querySelector('.find input'), style = getComputedStyle(e);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${getComputedStyle(e, '::placeholder').fontSize} ${style.fontFamily}`;
  return pen.measureText(e.placeholder).width - (e.clientWidth - parseFloat(style.paddingLeft) * 2); }"""

# A row of pallets that are all to be held, as wide as its words get.
WIDE = """() => { const says = ['359012340020000814', 'yes', 'released', 'K3, B500', '2026-03-02 15:39 to 15:49',
    '1 511', '84', '100.0 %', 'fewer than 0.1', 'fewer than 1', 'window', 'K3-mouth OVP (failed)'];
  const row = document.querySelector('#p-pallets-at-risk tbody tr');
  row.style.fontWeight = 700;
  for (const each of document.querySelectorAll('#p-pallets-at-risk tr'))
    while (each.children.length < says.length) each.append(document.createElement(each.closest('thead') ? 'th' : 'td'));
  [...row.children].forEach((cell, n) => { cell.textContent = says[n] || ''; });
  return row.children.length === says.length; }"""


def speaking(page: Page, address: str, language: str) -> Page:  # noqa: F811
    page.context.add_cookies([{"name": "coldledger_language", "value": language, "url": address}])
    return page


@pytest.fixture(params=["en", "de"])
def language(request: pytest.FixtureRequest) -> Iterator[str]:
    yield request.param


def test_what_a_phone_shows_can_be_pressed_in_gloves_and_read(
    language: str,
    chromium: Browser,  # noqa: F811
    address: str,  # noqa: F811
) -> None:
    for page in opened(chromium, 375, "light"):
        for path in PHONE:
            speaking(page, address, language).goto(address + path)
            assert not page.evaluate(LOW), path
            assert min(size for size, *_ in page.evaluate(SIZES)) >= 14, path
            assert page.evaluate("document.documentElement.scrollWidth") <= 375, path


@pytest.mark.parametrize(("width", "high"), [(1366, 768), (1920, 1080)])
def test_no_word_of_the_big_screen_covers_another(
    width: int,
    high: int,
    language: str,
    chromium: Browser,  # noqa: F811
    address: str,  # noqa: F811
) -> None:
    for page in opened(chromium, width, "light"):
        page.set_viewport_size({"width": width, "height": high})
        speaking(page, address, language).goto(f"{address}/now?wall=1")
        assert page.locator(".caught tr").count() > 2 and not page.evaluate(COVERED)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator(".turn .clock").first.inner_text() in {"calls", "Befunde"}, "of what the share is"


@pytest.mark.parametrize("width", [1024, 1100, 1180, 1280, 1366, 1920])
def test_the_box_that_finds_says_whole_what_it_finds(
    width: int,
    language: str,
    chromium: Browser,  # noqa: F811
    address: str,  # noqa: F811
) -> None:
    for page in opened(chromium, width, "light"):
        speaking(page, address, language).goto(f"{address}/trace")
        assert page.evaluate(SQUEEZED) <= 0
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_every_column_of_the_pallets_at_risk_is_seen_on_a_desk(
    language: str,
    chromium: Browser,  # noqa: F811
    address: str,  # noqa: F811
) -> None:
    for page in opened(chromium, 1280, "light"):
        speaking(page, address, language).goto(f"{address}/trace?complaint=C-26-001")
        assert page.evaluate(WIDE)
        hidden = page.evaluate(
            "[...document.querySelectorAll('#p-pallets-at-risk .scroll')].map(e => e.scrollWidth - e.clientWidth)"
        )
        assert hidden and max(hidden) <= 1
