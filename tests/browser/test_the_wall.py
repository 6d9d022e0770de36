"""The big screen of Now: twelve lines take turns by themselves, nothing is cut in any of them, and a screen that gets
no answer any more says so in its largest letters.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from pipelines.answers.now import Now
from pipelines.pages.places import now as place_now
from tests.browser.steps import opened, wait
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.browser.test_the_act_first import SIZES, one_open  # noqa: F401 (a fixture)
from tests.browser.test_walls_and_phones import CUT
from tests.conftest import Place
from tests.pages.conftest import listening

pytestmark = pytest.mark.browser
MANY = 12
BEGIN = datetime(2026, 3, 11, 5, 10, tzinfo=UTC)
SHOWN = "() => [...document.querySelectorAll('.turn')].findIndex(e => e.checkVisibility())"


def many(works_now: Now) -> Now:
    """The same lines again under other names, until there are twelve."""
    lines = []
    for number in range(MANY):
        line, name = works_now.lines[number % len(works_now.lines)], f"K{number + 1}"
        mine = [s.model_copy(update={"line": name, "id": f"{name}-{s.id}"}) for s in line.signals]
        lines.append(replace(line, line=name, signals=mine))
    return replace(works_now, lines=lines)


@pytest.fixture(scope="module")
def twelve(one_open: Place) -> Iterator[str]:  # noqa: F811
    real = place_now.answer_now

    def answer(reader: Any, plant: Any, now: datetime) -> Now:
        return many(real(reader, plant, now))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(place_now, "answer_now", answer)
        with listening(one_open) as text:
            yield text


def turned(page: Page) -> tuple[int, list[Any]]:
    return page.evaluate(SHOWN), page.evaluate(CUT)


@pytest.mark.parametrize("screen", [(1366, 768), (1920, 1080), (3840, 2160)])
def test_twelve_lines_take_turns_and_none_is_cut(
    screen: tuple[int, int],
    chromium: Browser,  # noqa: F811
    twelve: str,
) -> None:
    for page in opened(chromium, screen[0], "light"):
        page.set_viewport_size({"width": screen[0], "height": screen[1]})
        page.clock.install(time=BEGIN)
        page.goto(f"{twelve}/now?wall=1")
        page.clock.pause_at(BEGIN + timedelta(minutes=4))  # a whole number of rounds: the first turn begins
        seen = set()
        for _ in range(2):
            page.clock.run_for(600)
            number, cut = turned(page)
            assert not cut, (number, cut)
            assert page.evaluate("document.documentElement.scrollHeight") <= screen[1]
            seen.add(number)
            page.clock.run_for(12000)
        assert seen == {0, 1}
        text = page.locator("#p-wall").text_content() or ""
        assert all(f"K{n + 1}" in text for n in range(MANY)) and "got past" in text
        assert "84" not in text and page.locator(".hero .number").inner_text() == "252"


def test_it_stays_while_somebody_points_at_it(chromium: Browser, twelve: str) -> None:  # noqa: F811
    for page in opened(chromium, 1920, "light"):
        page.set_viewport_size({"width": 1920, "height": 1080})
        page.clock.install()
        page.goto(f"{twelve}/now?wall=1")
        page.clock.run_for(600)
        before = page.evaluate(SHOWN)
        page.mouse.move(900, 900)
        page.clock.run_for(13000)
        assert page.evaluate(SHOWN) == before


def test_without_script_all_turns_stand_below_each_other(chromium: Browser, twelve: str) -> None:  # noqa: F811
    context = chromium.new_context(viewport={"width": 1920, "height": 1080}, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{twelve}/now?wall=1")
    assert page.locator(".turn:visible").count() == 2
    context.close()


def test_a_screen_that_gets_no_answer_says_so_largest(chromium: Browser, twelve: str) -> None:  # noqa: F811
    context = chromium.new_context(viewport={"width": 1920, "height": 1080})
    page = context.new_page()
    page.clock.install()
    page.goto(f"{twelve}/now?wall=1")
    assert page.evaluate(SIZES)[0][1] == "252"
    context.set_offline(True)
    for _ in range(8):
        page.clock.run_for(30000)
        page.wait_for_timeout(50)
    wait(page, "document.documentElement.classList.contains('unanswered')", 20)
    largest = page.evaluate(SIZES)[0][1]
    assert "no answer; trying again" in largest and "min)" in largest
    context.set_offline(False)
    page.clock.run_for(31000)
    wait(page, "!document.documentElement.classList.contains('unanswered')", 20)
    wait(page, "!document.querySelector('.renewed').textContent.includes('no answer')", 20)
    context.close()
