"""Pages made once for many readers: when a page is good, when it is made anew, and what somebody wrote is seen at
once.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipelines.clock import Span
from pipelines.errors import LedgerBusy
from pipelines.ledger import Reader
from pipelines.pages.made_pages import Desk
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Page
from pipelines.site.locks import is_held, one_run_at_a_time, running_flows
from tests.conftest import HEAD, NOW, Place
from tests.pages.conftest import served

DAY = date(2026, 3, 10)


class Maker:
    """Makes a page and counts how often."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, reader: Reader, plant: Plant) -> View:
        self.count += 1
        return View("", Page(f"made {self.count}", "", ()))


@pytest.fixture
def desk(site: Place) -> Callable[[float], Desk]:
    return lambda grace: Desk(site.site.root, site.settings, grace)


def title(desk: Desk, make: Callable[[Reader, Plant], View], span: Span | None = None) -> str:
    """What the page of a question is called that this desk shows now."""
    return desk.page(PageQuestion(("a page",), make, span)).view.page.title


_COUNT = iter(range(10_000))


def write(site: Place, hour: int = 3, day: int = 10) -> None:
    """A file that speaks of one minute."""
    site.put(
        f"station_counts.K2.{next(_COUNT)}.csv",
        HEAD + f"2026-03-{day:02d}T{hour:02d}:00:00Z,K2,K2-side,,60,{next(_COUNT)},1\n",
    )
    site.take()


def test_a_page_is_made_once_until_the_ledger_is_written(desk: Callable[[float], Desk], site: Place) -> None:
    this_desk, make = desk(0), Maker()
    assert [title(this_desk, make) for _ in range(3)] == ["made 1"] * 3
    write(site)
    assert title(this_desk, make) == "made 2" == title(this_desk, make)


def test_a_page_of_a_window_stays_while_no_file_touches_it(desk: Callable[[float], Desk], site: Place) -> None:
    this_desk, make = desk(0), Maker()
    span = Span(site.plant.clock.day(DAY).start, site.plant.clock.day(DAY).start + timedelta(hours=1))
    write(site, 5)
    title(this_desk, make, span)  # made while what follows from the last file may not be worked out yet
    this_desk.settings = type(this_desk.settings)(
        fixed_now=NOW + timedelta(hours=1), lock_wait_s=5
    )  # well after the site's files were received
    assert title(this_desk, make, span) == "made 1"
    write(site, 20)
    assert title(this_desk, make, span) == "made 2", "the first was made minutes after a file: not settled"
    write(site, 21)
    assert title(this_desk, make, span) == "made 2", "a file of the evening does not touch the morning"
    write(site, 3)
    assert title(this_desk, make, span) == "made 3", "a file of the hours before does"


def test_within_the_grace_the_old_page_is_shown_and_made_anew_behind_the_readers_back(
    desk: Callable[[float], Desk], site: Place
) -> None:
    this_desk, make = desk(30), Maker()
    title(this_desk, make)
    write(site)
    assert title(this_desk, make) == "made 1"
    end = time.monotonic() + 5
    while make.count < 2 and time.monotonic() < end:
        time.sleep(0.02)
    time.sleep(0.1)
    assert title(this_desk, make) == "made 2"


def test_what_somebody_wrote_by_a_page_is_shown_at_once_whatever_the_grace(desk: Callable[[float], Desk]) -> None:
    this_desk, make = desk(30), Maker()
    title(this_desk, make)
    this_desk.wrote()
    assert title(this_desk, make) == "made 2"


def test_many_who_ask_for_the_same_page_wait_for_one_making(desk: Callable[[float], Desk]) -> None:
    this_desk, make = desk(0), Maker()

    def slow(reader: Reader, plant: Plant) -> View:
        time.sleep(0.3)
        return make(reader, plant)

    sentences: list[str] = []
    threads = [threading.Thread(target=lambda: sentences.append(title(this_desk, slow))) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sentences == ["made 1"] * 12


def test_what_is_kept_is_bounded(desk: Callable[[float], Desk], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipelines.pages.kept_pages.MOST_PAGES", 5)
    this_desk = desk(0)
    for number in range(20):
        this_desk.page(PageQuestion((number,), Maker()))
    assert len(this_desk.kept) == 5


def test_a_mistake_in_works_toml_is_told_and_the_one_before_is_used(site: Place) -> None:
    client = served(site.site.root)
    before = site.site.works_toml.read_text(encoding="utf-8")
    try:
        site.site.works_toml.write_text(before + '\n[[line]]\nid = "K9"\n', encoding="utf-8")
        text = client.get("/now").text
        assert "works.toml has mistakes" in text and "Every line now" in text
        assert client.get("/health").status_code == 503
    finally:
        site.site.works_toml.write_text(before, encoding="utf-8")
    assert "works.toml has mistakes" not in client.get("/now").text


def test_readers_and_a_writer_of_one_process_do_not_fail_each_other(site: Place) -> None:
    """DuckDB refuses a writer while the process has the ledger open to read: the writer waits for its own readers."""
    client, stop, wrong = served(site.site.root), threading.Event(), []

    def read() -> None:
        while not stop.is_set():
            answer = client.get("/holds")
            if answer.status_code != 200:
                wrong.append(answer.status_code)

    threads = [threading.Thread(target=read) for _ in range(3)]
    for thread in threads:
        thread.start()
    for _ in range(4):
        write(site)
    stop.set()
    for thread in threads:
        thread.join()
    assert not wrong


def test_a_new_site_says_what_to_do_first(tmp_path: Path) -> None:
    place = Place(tmp_path / "new")
    answer = served(place.site.root).get("/now")
    assert answer.status_code == 503 and "put feed files into inbox/" in answer.text
    assert served(place.site.root).get("/health").status_code == 200
    assert served(place.site.root).get("/metrics").status_code == 200


def test_a_flow_never_overlaps_itself(site: Place) -> None:
    with one_run_at_a_time(site.site, "intake", 0.0):
        assert running_flows(site.site) == ("intake",) and is_held(site.site, "run-intake")
        with pytest.raises(LedgerBusy, match="another intake"), one_run_at_a_time(site.site, "intake", 0.1):
            raise AssertionError("two at once")
        with one_run_at_a_time(site.site, "close", 0.0):
            pass
    assert running_flows(site.site) == ()
