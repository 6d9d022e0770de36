"""The application in real headless Chromium: three people's jobs from start to finish by keyboard alone, on a phone and
on a wide screen, light and dark;
accessibility by axe-core; paper."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from pipelines.clock import Span
from pipelines.intake.filing import quarantine_entries
from pipelines.jobs.days import close_day
from pipelines.jobs.signals import refresh_signals
from tests.browser.steps import LIMIT_MS, opened, sign_in, tab_to, wait
from tests.conftest import HEAD, Place
from tests.pages.conftest import PASSWORDS, listening, peopled

pytestmark = pytest.mark.browser
DAY = date(2026, 3, 10)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PAGES = (
    "/now",
    "/hour/K1",
    "/times/K3?hours=12&defect=CHS",
    "/moulds/K3?hours=12",
    "/day/2026-03-10.html",
    "/day/2026-03-10/holds.html",
    "/day/2026-03-10/laboratory.html",
    "/day/2026-03-10/figures.html",
    "/machine/2026-03-10/K1.html",
    "/machine/2026-03-10/K3.html?with=K4",
    "/day/2026-03-10.html?with=2026-03-09",
    "/weights/2026-03-10/K4.html",
    "/laboratory/2026-03-10/F2.html",
    "/trace",
    "/trace?complaint=C-26-001",
    "/trace?complaint=C-26-001&customer=1",
    "/signals",
    "/mould/K1/20",
    "/station/K1-foot",
    "/find?q=K",
    "/holds",
    "/feeds",
    "/feeds/doubts",
    "/enter",
    "/enter/weight_checks",
    "/enter/weights/K4",
    "/sign-in",
    "/nothing",
    "/help",
    "/help/works",
    "/help/feeds",
)


@pytest.fixture(scope="module")
def site(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> Place:
    """The simulated day, closed, its signals followed, some rows refused, people who can sign in."""
    place = peopled(day_taken, tmp_path_factory.mktemp("browser") / "site")
    place.put(
        "station_counts.K1.bad.csv",
        HEAD + "2026-03-10T10:00:00Z,K1,K1-side-a,901,60,ten,1\n2026-03-10T10:01:00Z,K1,nowhere,902,60,10,1\n",
    )
    place.take()
    refresh_signals(place.opened, [DAY, DAY + timedelta(days=1)])
    close_day(place.opened, DAY)
    return place


@pytest.fixture(scope="module")
def address(site: Place) -> Iterator[str]:
    """The pages, answered on a loopback port."""
    with listening(site) as text:
        yield text


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    program = shutil.which("chromium")
    assert program, "Chromium is not installed; .ci/run installs it"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=program, args=FLAGS, timeout=LIMIT_MS)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    """A page that fails the test on any script error and on any request that leaves this computer."""
    yield from opened(chromium, 1280, "light")


def test_the_supervisor_sees_where_it_is_worst_looks_at_the_hour_and_its_cavities_and_acknowledges(
    page: Page, address: str, site: Place
) -> None:
    sign_in(page, address, "S. Shift")
    tab_to(page, "#p-every-line-now td a")
    page.keyboard.press("Enter")
    page.wait_for_url("**/hour/K*")
    assert "rejects of the hour" in page.locator("h1").inner_text()
    line = page.url.rsplit("/", 1)[1]
    tab_to(page, f"a[href^='/moulds/{line}']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/moulds/**")
    assert page.locator(".cavity").count() == site.plant.lines[line].sections * site.plant.lines[line].gobs
    tab_to(page, "#t-cavities th a[href*='cavities.q.']")
    page.keyboard.press("Enter")
    wait(page, "document.querySelector('#t-cavities th[aria-sort]') !== null")
    assert "sort=cavities.q." in page.url, "the address holds the order too"
    hour = next(h for h in (site.plant.clock.hours_of(DAY)) if _signals(site, h))
    shown = _signals(site, hour)[0]
    page.goto(f"{address}/hour/{shown[0]}?at={hour.start.isoformat().replace('+00:00', 'Z')}")
    tab_to(page, "input[name=note]")
    page.keyboard.type("machine man told")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("p.said")
    assert "kept that you have seen it" in page.locator("p.said").inner_text()
    assert (
        "Seen by S. Shift" in page.locator("main").inner_text()
        and "machine man told" in page.locator("main").inner_text()
    )


def _signals(site: Place, hour: Span) -> list[tuple[str, str]]:
    from pipelines.answers.signals import kept_signals, ranked

    with site.opened.ledger.reading() as reader:
        kept = [s for s in ranked(kept_signals(reader, hour.start, hour.end)) if s.kind == "excess"]
    return [(s.line, s.id) for s in kept]


def test_the_supervisor_corrects_a_refused_row_and_it_is_kept(page: Page, address: str, site: Place) -> None:
    sign_in(page, address, "S. Shift", "/feeds")
    tab_to(page, f"#t-refused a[href='/feeds/refused/{max(quarantine_entries(site.site))}']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/feeds/refused/*")
    tab_to(page, "input[name='2:inspected']")
    page.keyboard.press("Control+A")
    page.keyboard.type("10")
    tab_to(page, ".only-repair .buttons button")
    page.keyboard.press("Enter")
    page.wait_for_selector("p.said")
    assert "1 rows are kept now; 1 are still refused" in page.locator("p.said").inner_text()
    with site.opened.ledger.reading() as reader:
        assert "901" in set(reader.current("station_counts")["mould"].drop_nulls())


def test_the_quality_manager_goes_from_a_complaint_to_a_confirmed_hold(page: Page, address: str, site: Place) -> None:
    sign_in(page, address, "Q. Quality", "/trace")
    tab_to(page, "input[name=complaint]")
    page.keyboard.type("C-26-001")
    page.keyboard.press("Enter")
    page.wait_for_url("**/trace?complaint=C-26-001**")
    assert (
        "Trace of complaint C-26-001" in page.locator("h1").inner_text()
        and page.locator("#t-pallets tbody tr").count() >= 1
    )
    tab_to(page, "button[name=which][value=fewest]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/holds/H-*")
    assert "Nobody holds them until" in page.locator("p.said").inner_text()
    tab_to(page, "form[action^='/holds/'] input[name=why]")
    page.keyboard.type("agreed with the shift")
    page.keyboard.press("Tab")
    page.keyboard.type("the trace of C-26-001")
    tab_to(page, "button[value=confirm]")
    page.keyboard.press("Enter")
    wait(page, "document.querySelector('p.said')?.innerText.includes('decided for')")
    assert "Q. Quality" in page.locator("#t-history").inner_text()
    assert set(page.locator("#t-pallets tbody td:nth-child(2)").all_inner_texts()) == {"held"}
    page.goto(f"{address}/holds")
    assert "Held" in page.locator("main").inner_text()


def test_the_works_manager_reads_the_day_and_takes_its_tables_along(page: Page, address: str, tmp_path: Path) -> None:
    page.goto(f"{address}/now")
    tab_to(page, "header nav a[href='/day']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/day/2026-03-10.html")
    assert "revision 1" in page.locator(".when").inner_text()
    tab_to(page, "footer a[href*='xlsx']", 600)
    with page.expect_download() as got:
        page.keyboard.press("Enter")
    target = tmp_path / "day.xlsx"
    got.value.save_as(target)
    assert target.read_bytes()[:2] == b"PK"
    table = page.locator(".table").first
    with page.expect_download() as got:
        table.locator("a[download]").first.press("Enter")
    assert got.value.suggested_filename.endswith(".csv")


def test_a_table_is_copied_as_a_spreadsheet_takes_it(chromium: Browser, address: str) -> None:
    context = chromium.new_context(permissions=["clipboard-read", "clipboard-write"])
    context.set_default_timeout(LIMIT_MS)
    this_page = context.new_page()
    this_page.goto(f"{address}/now")
    this_page.locator("#t-now [data-copy]").press("Enter")
    wait(this_page, "document.querySelector('#t-now [data-copy]').textContent === 'Copied'")
    rows = this_page.evaluate("navigator.clipboard.readText()").split("\n")
    assert len(rows) == 5 and rows[0].split("\t")[0] == "Line" and rows[1].split("\t")[0] == "K1"
    context.close()


def test_the_page_now_renews_itself_without_losing_what_was_opened(page: Page, address: str, site: Place) -> None:
    page.goto(f"{address}/now")
    page.locator("#p-lines summary").press("Enter")
    page.evaluate(
        "window.stays = document.getElementById('p-every-line-now'); window.chart = "
        "document.querySelector('#p-lines .strips')"
    )
    at = site.plant.clock.day(DAY).end
    site.put("station_counts.K2.more.csv", HEAD + f"{at.isoformat()},K2,K2-side,,60,5,1\n")
    site.take()
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    wait(page, "document.querySelector('#t-now').innerText.includes('06:00–06:01')")
    assert page.locator("#p-lines details").get_attribute("open") is not None, "what somebody opened stays open"
    again = page.evaluate("window.stays === document.getElementById('p-every-line-now')")
    assert again is False, "what changed was put in place of the old"
    before = page.evaluate("document.querySelector('#p-every-line-now')")
    page.evaluate(
        "window.same = document.getElementById('p-every-line-now'); document.dispatchEvent(new "
        "Event('visibilitychange'))"
    )
    page.wait_for_timeout(800)
    assert before is not None and page.evaluate("window.same === document.getElementById('p-every-line-now')"), (
        "what did not change is not touched: no flicker"
    )


def test_a_note_that_somebody_writes_is_not_taken_away_by_a_renewal(page: Page, address: str) -> None:
    page.goto(f"{address}/moulds/K1?hours=4")
    page.locator("input[name=hours]").fill("9")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(800)
    assert page.locator("input[name=hours]").input_value() == "9"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [375, 1920])
def test_nothing_is_cut_off_and_axe_finds_no_serious_fault(
    width: int, scheme: str, chromium: Browser, address: str
) -> None:
    """axe-core's rules of every standard it knows; faults of impact serious or critical."""
    axe, found = Axe(), []
    for page in opened(chromium, width, scheme):
        for path in PAGES:
            page.goto(address + path)
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > width:
                found.append(f"{path}: {wide} px wide")
            answer = axe.run(page).response
            found += [f"{path}: {v['id']} {v['nodes'][0]['html'][:160]}" for v in answer["violations"]]
    assert not found, "\n".join(found)


@pytest.mark.parametrize("path", ["/now?wall=1", "/hour/K1?wall=1", "/moulds/K3?wall=1&hours=12"])
def test_the_big_screen_is_readable_from_three_metres(path: str, chromium: Browser, address: str) -> None:
    """ISO 9241-303: letters of at least 16 minutes of arc: 14 mm at 3 m. On a screen 1.21 m wide with 1920 px a
    capital, 0.7 of the font's size, needs 32 px of it.
    """
    for page in opened(chromium, 1920, "dark"):
        page.set_viewport_size({"width": 1920, "height": 1080})
        page.goto(address + path)
        sizes = page.evaluate(
            """() => { const told = []; const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
            while (walk.nextNode()) { const e = walk.currentNode.parentElement, words = walk.currentNode.data.trim();
              if (!words || !e.checkVisibility() || e.closest('svg')) continue;
              told.push([parseFloat(getComputedStyle(e).fontSize), words.slice(0, 40)]); } return told; }"""
        )
        small = [size for size in sizes if size[0] < 32]
        assert len(sizes) > 10 and not small, small[:10]
        if path.startswith("/now"):
            assert page.evaluate("document.querySelector('#p-wall').getBoundingClientRect().bottom") <= 1080
        assert page.evaluate("document.documentElement.scrollWidth") <= 1920


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/trace?complaint=C-26-001", 6),
        ("/trace?complaint=C-26-001&customer=1", 2),
        ("/hour/2026-03-10/K1-06-1100.html", 5),
        ("/now", 2),
        ("/moulds/K3?hours=12", 3),
        ("/holds", 3),
    ],
)
def test_a_page_prints_on_a4_without_its_buttons(
    path: str, most: int, page: Page, address: str, tmp_path: Path
) -> None:
    page.goto(address + path)
    page.emulate_media(media="print")
    shown = page.evaluate(
        "[...document.querySelectorAll('button,form,header nav,.tools')].filter((e) => e.checkVisibility()).length"
    )
    assert shown == 0
    data = page.pdf(prefer_css_page_size=True, print_background=True)
    assert {tuple(round(float(x)) for x in box.split()) for box in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", data)} <= {
        (0, 0, 595, 842),
        (0, 0, 594, 842),
        (0, 0, 596, 842),
    }
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", data)) <= most


def test_the_first_paint_carries_little(chromium: Browser, address: str) -> None:
    """All that crosses the wire for a page with an empty cache, headers and assets included: at most 200 kB."""
    heavy = []
    for page in opened(chromium, 1280, "light"):
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        session.send("Network.setCacheDisabled", {"cacheDisabled": True})
        sums: list[float] = []
        session.on("Network.loadingFinished", lambda answer, to=sums: to.append(answer["encodedDataLength"]))
        for path in PAGES:
            sums.clear()
            page.goto(address + path, wait_until="networkidle")
            if sum(sums) > 200_000 or not sums:
                heavy.append((path, sum(sums)))
    assert not heavy, heavy


def test_what_a_reader_may_not_do_is_not_shown_and_who_may_is_told(page: Page, address: str) -> None:
    for path, form in (
        ("/feeds", "form.only-repair"),
        ("/holds", "form.only-place"),
        ("/trace?complaint=C-26-001", "form.only-place"),
    ):
        page.goto(address + path)
        assert page.locator(form).count() and not page.locator(form).first.is_visible(), path
        assert page.locator(form.replace("form.", ".not-")).first.is_visible()
    sign_in(page, address, "S. Shift", "/feeds")
    assert (
        page.locator("form.only-repair").first.is_visible() and not page.locator(".not-only-repair").first.is_visible()
    )


def test_everything_works_without_scripts(chromium: Browser, address: str) -> None:
    context = chromium.new_context(java_script_enabled=False)
    context.set_default_timeout(LIMIT_MS)
    this_page = context.new_page()
    this_page.goto(f"{address}/moulds/K1?hours=8")
    this_page.locator("#t-cavities th a", has_text="Calls").first.click()
    assert "sort=cavities.calls" in this_page.url and this_page.locator("th[aria-sort]").count() == 1
    this_page.goto(f"{address}/sign-in?to=/holds")
    this_page.fill("input[name=name]", "Q. Quality")
    this_page.fill("input[name=password]", PASSWORDS["Q. Quality"])
    this_page.locator("main button").click()
    assert this_page.locator("textarea[name=pallets]").is_visible()
    context.close()
