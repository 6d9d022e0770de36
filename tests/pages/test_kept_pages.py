"""A page is kept in one form and is good while its question has the state that it was made of, in memory as on disk."""

from __future__ import annotations

import gzip
import json
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from pipelines.jobs.days import close_day
from pipelines.jobs.holds import decide
from pipelines.jobs.pages import write_hour_pages
from pipelines.ledger import Reader
from pipelines.ledger.marts import acknowledge
from pipelines.pages import kept_pages
from pipelines.pages.frame import PageRequest, body_html
from pipelines.pages.kept_pages import KeptPage, KeptPages
from pipelines.pages.made_pages import Desk
from pipelines.pages.page_question import PageQuestion, State
from pipelines.pages.texts import texts
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports import all_reports
from pipelines.reports.frame.kept_page import kept_path
from pipelines.reports.frame.page import Page
from tests.conftest import HEAD, Place
from tests.pages.conftest import Browser, served
from tests.pages.test_every_page_answers import PAGES

Make = Callable[..., Browser]
DAY = date(2026, 3, 10)
HOUR = "/hour/2026-03-10/K1-06-1100.html"


def test_what_is_kept_of_every_page_is_written_as_what_was_made(browser: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[tuple[View, KeptPage]] = []
    real = KeptPage.__init__

    def begin(self: KeptPage, view: View, *more: Any) -> None:
        real(self, view, *more)
        made.append((view, self))

    monkeypatch.setattr(KeptPage, "__init__", begin)
    this_browser, asked = browser(), PageRequest({}, None, texts("en"), "12:00:00")
    for address in PAGES:
        this_browser.get(address)
    assert len(made) > 15
    for view, page in made:
        assert body_html(page.view, asked) == body_html(view, asked), view.page.title


@pytest.fixture
def kept_hour(site: Place) -> Place:
    """A works with an hour's page kept by a flow."""
    write_hour_pages(site.opened, [("K1", site.plant.clock.hours_of(DAY)[5].start)])
    return site


def asked_anew(place: Place, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether the page of the hour is made of the ledger, asked of an application that has just begun."""
    anew, report = [], all_reports.ALL_REPORTS["hour"]

    def page(*asked: Any) -> Any:
        anew.append(asked)
        return report.page(*asked)

    with monkeypatch.context() as patched:
        patched.setitem(all_reports.ALL_REPORTS, "hour", replace(report, page=page))
        client = served(place.site.root)
        assert client.get(HOUR).status_code == 200
        client.app.state.web.desk.close()  # type: ignore[attr-defined]
    return bool(anew)


def count_of(place: Place, hour: int) -> None:
    """A file that speaks of a minute of the works' last day."""
    at = f"2026-03-10T{hour:02d}:{time.monotonic_ns() % 60:02d}:00Z"
    place.put(f"station_counts.K2.{time.monotonic_ns()}.csv", HEAD + f"{at},K2,K2-side,,60,7,1\n")
    place.take()


def test_a_page_that_a_flow_kept_is_shown_while_nothing_of_its_state_changed(
    kept_hour: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not asked_anew(kept_hour, monkeypatch)
    count_of(kept_hour, 20)
    assert not asked_anew(kept_hour, monkeypatch), "a file of the evening"
    works = kept_hour.site.works_toml
    before = works.read_text(encoding="utf-8")
    try:
        works.write_text(f"# a word in passing\n{before}", encoding="utf-8")
        assert not asked_anew(kept_hour, monkeypatch), "a comment in works.toml"
        works.write_text(before.replace('name = "', 'name = "The ', 1), encoding="utf-8")
        assert asked_anew(kept_hour, monkeypatch), "works.toml says something else"
    finally:
        works.write_text(before, encoding="utf-8")
    with kept_hour.opened.ledger.reading() as reader:
        pallet = str(reader.current("pallets")["pallet"][0])
    decide(kept_hour.opened, "place", None, [pallet], "Q. Quality", "a test", "a test")
    assert not asked_anew(kept_hour, monkeypatch), "a decision about a hold is not on the page of an hour"
    count_of(kept_hour, 9)
    assert asked_anew(kept_hour, monkeypatch), "a file of the hour before"


def test_an_acknowledgement_is_seen_on_a_page_that_a_flow_kept(
    kept_hour: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_hour_pages(kept_hour.opened, [("K1", kept_hour.plant.clock.hours_of(DAY)[5].start)])
    assert not asked_anew(kept_hour, monkeypatch)
    acknowledge(kept_hour.opened.ledger, "a signal", "S. Shift", "", kept_hour.settings.now())
    assert asked_anew(kept_hour, monkeypatch)


def test_the_page_of_a_version_before_is_read_and_not_taken_for_good(
    kept_hour: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = kept_path(kept_hour.site.reports / HOUR.lstrip("/"))
    write_hour_pages(kept_hour.opened, [("K1", kept_hour.plant.clock.hours_of(DAY)[5].start)])
    assert not asked_anew(kept_hour, monkeypatch)
    kept = json.loads(gzip.decompress(path.read_bytes()))
    older = {"batch": kept["marks"]["last_batch"], "seen": kept["marks"]["acknowledgements"], "page": kept["page"]}
    path.write_bytes(gzip.compress(json.dumps(older).encode()))
    assert asked_anew(kept_hour, monkeypatch)


def test_a_day_says_that_files_came_after_it_until_its_close_is_confirmed(site: Place) -> None:
    note = "came after this report was written"
    client = served(site.site.root)
    close_day(site.opened, DAY)
    assert note not in client.get(f"/day/{DAY}.html").text
    count_of(site, 12)
    assert note in client.get(f"/day/{DAY}.html").text
    close_day(site.opened, DAY)
    assert note not in client.get(f"/day/{DAY}.html").text


def tag(client: TestClient, address: str) -> str:
    return str(client.get(address).headers["ETag"])


def test_the_tag_of_an_answer_is_that_of_its_state(site: Place) -> None:
    client = served(site.site.root)
    desk: Desk = client.app.state.web.desk  # type: ignore[attr-defined]
    first, live = tag(client, HOUR), tag(client, "/now")
    desk.kept.clear()
    assert client.get(HOUR, headers={"If-None-Match": first}).status_code == 304, "made again of the same state"
    desk.settings = replace(desk.settings, fixed_now=desk.now() + timedelta(minutes=2))
    assert tag(client, HOUR) == first and tag(client, "/now") != live, "the clock is part of a live page"
    assert tag(client, f"{HOUR}?wall=1") != first != tag(client, f"{HOUR}?sort=by-defect.calls.asc")
    count_of(site, 9)
    assert tag(client, HOUR) != first


def test_the_one_grace(site: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    """While a flow is at work, a moment after, and while the renewal waits; never after a person wrote."""
    desk = Desk(site.site.root, site.settings, 20.0)
    at_work = [False]
    monkeypatch.setattr(desk, "flow_runs", lambda: at_work[0])

    def make(reader: Reader, plant: Plant) -> View:
        return View("", Page("a page", "", ()), refresh_s=30)

    question = PageQuestion(("a page",), make)
    page = desk.page(question)

    def stands(good_s: float, quiet_s: float) -> bool:
        page.good, desk._at_work = time.monotonic() - good_s, time.monotonic() - quiet_s
        return desk._stands(question.key, page)

    assert stands(10, 1e6) and not stands(30, 1e6), "a moment after it was right"
    assert stands(300, 10) and not stands(300, 30), "a moment after a flow was at work"
    assert not stands(700, 10), "right too long ago"
    desk._queued.add(question.key)
    assert stands(70, 1e6) and not stands(90, 1e6), "its renewal waits for its turn"
    desk._queued.clear()
    at_work[0] = True
    assert stands(500, 0) and not stands(700, 0)
    desk.settings = replace(desk.settings, fixed_now=desk.now() + timedelta(minutes=2))
    assert stands(500, 0), "nobody waits for a commit, also where the clock went on"
    at_work[0] = False
    assert not stands(10, 10), "a live page beyond its time"
    desk.settings = site.settings
    assert stands(10, 10)
    desk.wrote()
    assert not stands(10, 10), "a person wrote by a page"
    desk.grace_s = 0.0
    desk.close()


def test_kept_pages_keep_within_their_bytes_and_their_number(site: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_pages, "MOST_BYTES", 400_000)
    monkeypatch.setattr(kept_pages, "MOST_PAGES", 20)
    desk, pages = Desk(site.site.root, site.settings, 0.0), KeptPages()
    marks, state = desk.marks(), State("", 0, ())

    def kept(number: int) -> KeptPage:
        page = KeptPage(View("", Page(f"page {number}", "", ())), state, marks, desk.now())
        pages.keep((number,), page)
        return page

    for number in range(50):
        kept(number)
    assert len(pages) == 20 and pages.get((49,)) is not None and pages.get((29,)) is None
    large = kept(50)
    assert pages.beside((50,), large, ("html",), lambda: b"x" * 300_000) == b"x" * 300_000
    assert pages.beside((50,), large, ("html",), lambda: b"anew") == b"x" * 300_000, "written once"
    assert pages.get((50,)) is large and len(pages) <= 5, "what is written of a page counts too"
    assert sum(page.size for key in range(51) if (page := pages.get((key,)))) <= 400_000
    assert pages.beside((50,), large, ("book",), lambda: b"y" * 500_000) and pages.get((50,)) is None, "larger than all"
    desk.close()
