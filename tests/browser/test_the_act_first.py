"""On Now the thing to act on is the largest, at every width and for the keyboard; with dead feeds their age is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from pipelines.answers.now import newest_count
from pipelines.jobs.signals import _frame
from pipelines.ledger.marts import keep_hours
from pipelines.settings import Settings
from tests.browser.steps import opened
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import Place
from tests.measures.signals.test_acts import of_furnace
from tests.pages.conftest import AT, listening, peopled

pytestmark = pytest.mark.browser
DEAD_AT = datetime(2026, 3, 11, 6, 47, tzinfo=UTC)  # 107 min after the last windows
SIZES = """() => { const found = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) { const e = walk.currentNode.parentElement, words = walk.currentNode.data.trim();
    if (words && e.checkVisibility() && !e.closest('svg'))
      found.push([parseFloat(getComputedStyle(e).fontSize), words, e.getBoundingClientRect().bottom]); }
  return found.sort((a, b) => b[0] - a[0]); }"""


@pytest.fixture(scope="module")
def one_open(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """A works in whose newest hour one signal is open: of a furnace, on two lines."""
    place = peopled(day_taken, tmp_path_factory.mktemp("act") / "site")
    with place.opened.ledger.reading() as reader:
        newest = newest_count(reader)
    assert newest is not None
    hour = newest.replace(minute=0)
    begun = {"onset": hour - timedelta(hours=1), "onset_low": hour, "onset_high": hour, "formed": hour}
    mine = [of_furnace(line, lost).model_copy(update=begun) for line, lost in (("K1", 62), ("K2", 22))]
    rows = _frame("signal_hours", [(s.line, hour, s.id, s.model_dump_json(by_alias=True)) for s in mine])
    keep_hours(place.opened.ledger, {"signal_hours": rows}, ["K1", "K2"], hour, hour + timedelta(hours=1))
    return place


@pytest.fixture(scope="module")
def address(one_open: Place) -> Iterator[str]:
    with listening(one_open) as text:
        yield text


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "high"), [(375, 812), (1280, 800), (1920, 1080)])
def test_what_to_act_on_is_the_largest_and_on_the_first_screen(
    width: int,
    high: int,
    scheme: str,
    chromium: Browser,  # noqa: F811
    address: str,
) -> None:
    for page in opened(chromium, width, scheme):
        page.set_viewport_size({"width": width, "height": high})
        page.goto(f"{address}/now")
        sizes = page.evaluate(SIZES)
        assert sizes[0][1] == "84" and sizes[1][0] < sizes[0][0] and sizes[0][2] <= high
        sentence = page.locator(".hero h3")
        assert sentence.inner_text() == "Stone, whole furnace F1" and sentence.bounding_box()["y"] < high  # type: ignore[index]
        named = [size for size, words, _ in sizes if words == "Stone, whole furnace F1"]
        assert named[0] == max(size for size, words, _ in sizes if words != "84" and len(words) > 3)
        text = page.locator("#p-acts").inner_text()
        assert "K1 62, K2 22" in text and "Formed since" in text and "nobody has seen it yet" in text


def test_the_first_stop_of_the_keyboard_leads_to_it(chromium: Browser, address: str) -> None:  # noqa: F811
    for page in opened(chromium, 1280, "light"):
        page.goto(f"{address}/now")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('href')") == "#p-acts"
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.closest('#p-acts') !== null")


def test_with_dead_feeds_their_age_is_the_largest_and_nothing_claims_to_be_alive(
    one_open: Place,
    chromium: Browser,  # noqa: F811
    tmp_path: Path,
) -> None:
    place = one_open.copied(tmp_path / "site", Settings(fixed_now=DEAD_AT, lock_wait_s=20))
    assert DEAD_AT > AT
    with listening(place) as text:
        for width in (375, 1280, 1920):
            for page in opened(chromium, width, "light"):
                page.goto(f"{text}/now")
                sizes = page.evaluate(SIZES)
                assert "min" in sizes[0][1] or "h" in sizes[0][1], sizes[:3]
                assert sizes[0][1] in page.locator("#age").inner_text() and sizes[1][0] < sizes[0][0]
                assert "What is open now cannot be told" in page.locator("#p-acts").inner_text()
                assert "alive" not in page.locator("#t-now").inner_text()
