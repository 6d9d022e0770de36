"""Feeds stop under a running `coldledger serve` whose clock runs fast: the wall, Now and health say so within a minute
of that clock, in Chromium.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import Browser, Error, Page

from pipelines.settings import RunningClock
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import Place
from tests.serve.test_for_real import Served

pytestmark = pytest.mark.browser
LATE_AT = datetime(2026, 3, 11, 6, 15, tzinfo=UTC)  # 75 min after the last windows, which end at 06:00 local time
SPEED, BEFORE = 10.0, timedelta(minutes=8)  # a minute of the works is six seconds here


@pytest.fixture(scope="module")
def served(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, RunningClock]]:
    """A day's feeds, after which nothing more comes."""
    root = tmp_path_factory.mktemp("silence") / "site"
    day_taken.copied(root)
    clock = RunningClock(LATE_AT - BEFORE, time.time(), SPEED)
    this_served = Served(root, clock.text(), "--pages-only")
    this_served.until(lambda: this_served.get("/health")[0] != 0, 40, "the pages answer")
    yield this_served, clock
    this_served.stop()


def shows(page: Page, what: str) -> bool:
    with suppress(Error):  # the part is just being put in the other's place
        return page.locator(what).count() > 0
    return False


def test_silence_shows_within_a_minute(served: tuple[Served, RunningClock], chromium: Browser) -> None:  # noqa: F811
    this_served, clock = served
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    wall, now = context.new_page(), context.new_page()
    wall.goto(f"http://127.0.0.1:{this_served.port}/now?wall=1")
    now.goto(f"http://127.0.0.1:{this_served.port}/now")
    assert clock.now() < LATE_AT, "the pages were up in time"
    status, text = this_served.get("/health")
    assert status == 200 and json.loads(text)["late"] == []
    assert not shows(wall, "#age.late") and "all 4 alive" in now.locator("#p-every-line-now").inner_text()
    while clock.now() < LATE_AT:
        time.sleep(0.2)
    moments: dict[str, datetime] = {}
    while len(moments) < 4 and clock.now() < LATE_AT + timedelta(minutes=4):
        seen = {
            "wall": shows(wall, "#age.late .longest"),
            "now": shows(now, "#age.late .longest"),
            "rows": "all 4 late" in now.locator("#p-every-line-now").inner_text(),
            "health": this_served.get("/health")[0] == 503,
        }
        moments |= {name: clock.now() for name, true in seen.items() if true and name not in moments}
        time.sleep(0.1)
    assert set(moments) == {"wall", "now", "rows", "health"}, moments
    after = {name: (at - LATE_AT).total_seconds() for name, at in moments.items()}
    assert max(after.values()) <= 60 + MEASURING_S, after
    sizes = wall.evaluate(
        "[...document.querySelectorAll('body *')].filter(e => e.children.length === 0 && e.innerText && "
        "e.offsetParent).map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    longest = wall.evaluate("parseFloat(getComputedStyle(document.querySelector('#age .longest')).fontSize)")
    assert longest == max(sizes) and longest >= 132, "the age is the largest thing on the wall"
    said = json.loads(this_served.get("/health")[1])
    assert said["late"] and all(row["behind_s"] > 75 * 60 for row in said["late"])
    context.close()


MEASURING_S = 10.0  # of the works' clock: a round of looking takes up to a second here
