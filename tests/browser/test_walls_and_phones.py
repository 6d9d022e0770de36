"""A wall that nobody scrolls, when all feeds are late too; and tables on a phone that hide nothing to the right."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import pytest
from playwright.sync_api import Browser

from pipelines.settings import Settings
from tests.browser.steps import opened
from tests.browser.test_served_pages import chromium  # noqa: F401 (a fixture)
from tests.conftest import HEAD, Place
from tests.pages.conftest import listening, peopled

pytestmark = pytest.mark.browser
LATE_AT = datetime(2026, 3, 11, 6, 47, tzinfo=UTC)  # 107 min after the last windows, which end at 06:00 local time
SCREENS = ((1366, 768), (1920, 1080))
WALLS = ("/now?wall=1", "/hour/K1?wall=1", "/hour/K3?wall=1", "/moulds/K1?wall=1", "/moulds/K3?wall=1&hours=12")
# What stands on the screen and reaches beyond it, or is cut by what holds it.
CUT = """() => { const told = [], high = innerHeight, wide = innerWidth;
  for (const e of document.querySelectorAll('.figure, .card, .cavity, .hero, .others li, .alarm, ' +
      '.turn li, .turn tr, .turn p, #age p, h1, .when, ol.signals li')) {
    if (!e.checkVisibility()) continue;
    const r = e.getBoundingClientRect();
    if (r.left >= wide) continue;  // a card that there is no room for stands aside, whole
    if (r.bottom > high + 1 || r.right > wide + 1) told.push([e.className || e.tagName, r.bottom, r.right]);
    const box = e.closest('.cards');
    if (box && r.left < box.getBoundingClientRect().right && r.bottom > box.getBoundingClientRect().bottom + 1)
      told.push(['cut card', r.bottom]);
  } return told; }"""


# Four signals more: the same ones again.
MORE = """() => { for (const [what, n] of [['.cards', 4]]) {
  const of = document.querySelector(what), many = of ? of.children.length : 0;
  for (let i = 0; many && i < n; i++) of.append(of.children[i % many].cloneNode(true)); } }"""


@pytest.fixture(scope="module")
def late(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The day's pages at a moment when every station is late alike."""
    place = peopled(day_taken, tmp_path_factory.mktemp("late") / "site")
    place.put(
        "station_counts.K1.bad.csv",
        HEAD + "2026-03-10T10:00:00Z,K1,K1-side-a,901,60,ten,1\n2026-03-10T10:01:00Z,K1,nowhere,902,60,10,1\n",
    )
    place.put("nothing.csv", "a,b\n1,2\n")
    place.take()
    with listening(Place.at(place.site.root, Settings(fixed_now=LATE_AT, lock_wait_s=20))) as text:
        yield text


@pytest.mark.parametrize("path", WALLS)
@pytest.mark.parametrize("screen", SCREENS)
def test_nobody_scrolls_a_wall_on_which_everything_is_late(
    screen: tuple[int, int],
    path: str,
    chromium: Browser,  # noqa: F811
    late: str,
    tmp_path: Path,
) -> None:
    for page in opened(chromium, screen[0], "light"):
        page.set_viewport_size({"width": screen[0], "height": screen[1]})
        page.goto(late + path)
        assert page.evaluate("document.documentElement.scrollHeight") <= screen[1]
        assert page.evaluate("document.documentElement.scrollWidth") <= screen[0]
        assert not page.evaluate(CUT)
        said = page.locator("#age").inner_text()
        assert "13 of 13 stations late or silent: 107\u00a0min" in said and "K1-side-a" not in said
        assert page.locator("#age").bounding_box()["height"] < screen[1] / 4  # type: ignore[index]
        sizes = page.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.children.length === 0 && e.innerText && "
            "!e.closest('svg') && e.checkVisibility()).map(e => parseFloat(getComputedStyle(e).fontSize))"
        )
        assert min(sizes) >= screen[0] / 60, "32 px of 1920: letters of 14 mm on a screen 1.21 m wide"
        if path.startswith("/now"):
            assert page.locator(".turn li").count() == 4
            assert page.locator(".turn").inner_text().count("not known") >= 4
        page.evaluate(MORE)
        assert page.evaluate("document.documentElement.scrollHeight") <= screen[1] and not page.evaluate(CUT)


@pytest.mark.parametrize(
    ("path", "table"),
    [
        ("/feeds", "refused"),
        ("/feeds", "stations"),
        ("/hour/2026-03-10/K1-06-1100.html", "critical"),
        ("/hour/2026-03-10/K1-06-1100.html", "by-defect"),
        ("/hour/2026-03-10/K1-06-1100.html", "places"),
        ("/now", "now"),
    ],
)
def test_a_table_on_a_phone_hides_nothing_to_the_right(
    path: str,
    table: str,
    chromium: Browser,  # noqa: F811
    late: str,
) -> None:
    for page in opened(chromium, 375, "light"):
        page.goto(late + path)
        hidden = page.evaluate(
            "(id) => [...document.querySelectorAll(`#${id} td`)].filter(e => e.checkVisibility() && e.textContent && "
            "(e.getBoundingClientRect().right > innerWidth || e.scrollWidth > e.clientWidth + 1)).length",
            f"t-{table}",
        )
        rows = page.locator(f"#t-{table} tbody tr")
        assert rows.count() >= 3 and hidden == 0
        if table == "refused":
            tall = page.evaluate(
                "[...document.querySelectorAll('#t-refused tbody tr')].map(e => e.getBoundingClientRect().height)"
            )
            assert median(tall) < 200 and max(tall) < 300, tall
            assert page.locator("#t-refused a[href^='/feeds/refused/']").first.is_visible()
