"""The day's sheet and a machine's page: paper counted, the phone measured, axe-core's rules; of 4 lines and of 12."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from pipelines.jobs.days import close_day
from pipelines.jobs.signals import refresh_signals
from pipelines.settings import Settings
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.browser.steps import opened
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import WORKS, Place
from tests.pages.conftest import AT, listening

pytestmark = pytest.mark.browser
DAY = date(2026, 3, 10)
NOON = datetime(2026, 3, 10, 13, 20, tzinfo=UTC)  # 14:20 of the works
SCREEN, SCREENS, TARGET, TEXT, MOST_BYTES, MOST_ASKED = 812, 6, 44, 14, 60_000, 8
SMALL = """() => [...document.querySelectorAll('body *')].filter(e => e.checkVisibility() && !e.closest('svg')
  && [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && parseFloat(getComputedStyle(e).fontSize) < %s)
  .map(e => [e.textContent.slice(0, 30), getComputedStyle(e).fontSize])"""
NARROW = """() => [...document.querySelectorAll('a, button, select, summary, input:not([type=hidden])')]
  .filter(e => e.checkVisibility() && !e.matches('.skip'))
  .map(e => [e.textContent.slice(0, 30), e.getBoundingClientRect().width, e.getBoundingClientRect().height])
  .filter(([_, wide, high]) => Math.min(wide, high) < %s - 0.5)"""


def of_twelve(works: str = WORKS) -> str:
    """The works with its furnaces, lines and stations three times."""
    tables = re.split(r"^(?=\[)", works, flags=re.M)
    mine = [table for table in tables if table.startswith(("[[furnace]]", "[[line]]", "[[station]]"))]
    more = []
    for times in (1, 2):
        step = {"K": 4 * times, "F": 2 * times}
        more += [re.sub(r'"([KF])(\d)', lambda m: f'"{m[1]}{int(m[2]) + step[m[1]]}', table) for table in mine]  # noqa: B023
    return "".join([*tables, *more])


@pytest.fixture(scope="module")
def twelve(new_site: Callable[..., Place]) -> Place:
    """A simulated day of 12 lines and 6 furnaces, closed."""

    def fill(place: Place) -> None:
        place.settings = Settings(fixed_now=AT, lock_wait_s=20)
        write_feeds(simulate(make_plan(place.plant, DAY, 1, seed=12)), place.site.inbox, dirty=False)
        place.take()
        refresh_signals(place.opened, [DAY, DAY + timedelta(days=1)])
        close_day(place.opened, DAY)

    return new_site("twelve-lines", fill, of_twelve())


@pytest.fixture(scope="module")
def four(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """The simulated day of 4 lines, closed."""
    place = day_taken.copied(tmp_path_factory.mktemp("four") / "site", Settings(fixed_now=AT, lock_wait_s=20))
    refresh_signals(place.opened, [DAY, DAY + timedelta(days=1)])
    close_day(place.opened, DAY)
    return place


@pytest.fixture(scope="module", params=["four", "twelve"])
def address(request: pytest.FixtureRequest) -> Iterator[str]:
    with listening(request.getfixturevalue(request.param)) as text:
        yield text


def sheets_of_paper(page: Page) -> int:
    """How many A4 pages the browser prints."""
    data = page.pdf(format="A4", prefer_css_page_size=True)
    return len(re.findall(rb"/Type /Page[\n /]", data))


def machine(place_of: str, line: str) -> str:
    return f"{place_of}/machine/{DAY}/{line}.html"


def test_the_day_is_one_page_of_paper_and_a_machine_two(chromium: Browser, address: str) -> None:  # noqa: F811
    for page in opened(chromium, 1280, "light"):
        page.goto(f"{address}/day/{DAY}.html")
        lines = page.locator("#t-lines tbody tr td:first-child").all_inner_texts()
        assert len(lines) in (4, 12) and sheets_of_paper(page) == 1
        page.emulate_media(media="print")
        assert page.locator(".sign").is_visible() and not page.locator("form").first.is_visible()
        sizes = page.evaluate(SMALL % 10.9)
        assert not sizes, f"smaller than 11 px on paper: {sizes[:5]}"
        page.emulate_media(media="null")
        for line in lines[:4]:
            page.goto(machine(address, line))
            assert sheets_of_paper(page) <= 2, line
            page.goto(f"{machine(address, line)}?with={lines[0] if line != lines[0] else lines[1]}")
            assert sheets_of_paper(page) <= 2, f"{line} beside another"


def test_the_sheet_fits_a_phone(chromium: Browser, address: str) -> None:  # noqa: F811
    for page in opened(chromium, 375, "light"):
        page.set_viewport_size({"width": 375, "height": SCREEN})
        page.goto(f"{address}/day/{DAY}.html")
        assert page.evaluate("document.documentElement.scrollHeight") <= SCREENS * SCREEN
        for path in (f"{address}/day/{DAY}.html", machine(address, "K1")):
            page.goto(path)
            assert page.evaluate("document.documentElement.scrollWidth") <= 375, path
            small, narrow = page.evaluate(SMALL % TEXT), page.evaluate(NARROW % TARGET)
            assert not small and not narrow, (path, small[:5], narrow[:5])


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [375, 1280])
def test_axe_finds_nothing_and_a_page_is_light(width: int, scheme: str, chromium: Browser, address: str) -> None:  # noqa: F811
    axe = Axe()
    asked: list[str] = []
    for page in opened(chromium, width, scheme):
        page.on("request", lambda request: asked.append(request.url))
        for path in (f"{address}/day/{DAY}.html", machine(address, "K1")):
            asked.clear()
            answer = page.goto(path)
            assert answer is not None and len(asked) <= MOST_ASKED
            assert int(answer.headers.get("content-length", "0")) <= MOST_BYTES
            found = [(each["id"], each["nodes"][0]["html"][:120]) for each in axe.run(page).response["violations"]]
            assert not found, (path, found)
        answer = page.goto(f"{address}/day/{DAY}.html")
        assert answer is not None and len(answer.body()) <= MOST_BYTES, "unpacked"


def test_a_chooser_without_script_compares(four: Place, chromium: Browser) -> None:  # noqa: F811
    with listening(four) as text:
        context = chromium.new_context(java_script_enabled=False, locale="en-GB")
        page = context.new_page()
        page.goto(machine(text, "K3"))
        page.select_option("select[name=with]", "K4")
        page.locator("form:has(select[name=with]) button").click()
        assert page.url.endswith("?with=K4") and "Against line K4" in page.locator("main").inner_text()
        page.goto(f"{text}/day/{DAY}.html")
        page.fill("input[name=with]", "2026-03-09")
        page.locator("form:has(input[name=with]) button").click()
        assert "2026-03-09 is not closed" in page.locator("main").inner_text()
        context.close()


def test_an_open_day_says_until_when_and_is_never_taken_for_a_whole_one(
    day_taken: Place,
    tmp_path: Path,
    chromium: Browser,  # noqa: F811
) -> None:
    place = day_taken.copied(tmp_path / "site", Settings(fixed_now=NOON, lock_wait_s=20))
    with listening(place) as text:
        for page in opened(chromium, 375, "light"):
            page.goto(f"{text}/day/{DAY}.html")
            said = page.locator("main").inner_text()
            assert "open, so far, as of 14:20" in said and "rejected so far" in said
            assert "told at the close" in said and "packed of melted" not in said
            assert page.evaluate("document.documentElement.scrollHeight") <= SCREENS * SCREEN
            assert not Axe().run(page).response["violations"] and sheets_of_paper(page) == 1
            page.goto(machine(text, "K1"))
            assert "as of 14:20" in page.locator("main").inner_text()
            assert page.locator("#t-shifts tbody tr").count() == 2, "the third shift has not begun"
