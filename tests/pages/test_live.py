"""A page of now is made anew by the works' clock, whether anything was written or not; silent stations show at once,
and how old the newest count is stands on it.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from pipelines.measures.pareto.hour_figures import StationLife
from pipelines.pages.fresh import Fresh, told
from pipelines.pages.made_pages import Desk
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.texts import texts
from pipelines.pages.view import View
from pipelines.pages.web import Options
from pipelines.reports.frame.page import Page
from pipelines.site.locks import one_run_at_a_time
from tests.conftest import Place
from tests.pages.conftest import AT, served

LIVE = ("/now", "/now?wall=1", "/hour/K1", "/moulds/K1", "/feeds")
# The newest window is that of 05:59; it ends at 06:00, and from there every age is counted.
LATE_AT = AT + timedelta(minutes=66)  # the day's last windows end at 06:00; late is 75 min behind the clock


class Works:
    """The application with a clock that a test moves."""

    def __init__(self, site: Place, grace_s: float = 0.0):
        self.client: TestClient = served(site.site.root, Options(hosts=("testserver",), grace_s=grace_s))
        self.desk: Desk = self.client.app.state.web.desk  # type: ignore[attr-defined]

    def at(self, moment: datetime) -> None:
        self.desk.settings = replace(self.desk.settings, fixed_now=moment)

    def get(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, answer.text
        return answer.text


@pytest.fixture(params=[0.0, 20.0], ids=["no grace", "grace"])
def works(site: Place, request: pytest.FixtureRequest) -> Iterator[Works]:
    these_works = Works(site, request.param)
    yield these_works
    these_works.desk.close()


@pytest.mark.parametrize("address", LIVE)
def test_the_age_of_the_newest_count_stands_on_every_live_page(address: str, works: Works) -> None:
    assert "Newest count 06:00, 10 min old." in works.get(address)
    works.at(AT + timedelta(minutes=3))
    assert "Newest count 06:00, 13 min old." in works.get(address), "nothing was written, and the clock went on"
    works.client.headers["Accept-Language"] = "de"
    assert "Neueste Zählung 06:00, 13 min alt." in works.get(address)


@pytest.mark.parametrize("address", LIVE)
def test_stations_that_fell_silent_show_though_nothing_was_written(address: str, works: Works) -> None:
    before = works.get(address)
    assert "stations late or silent" not in before and 'class="longest"' not in before
    works.at(LATE_AT)
    after = works.get(address)
    stations = len(works.desk.plant.station)
    assert f"{stations} of {stations} stations late or silent:" in after and '<p class="longest">76 min</p>' in after


def test_the_newest_count_is_as_old_as_the_station_that_sent_it_is_behind(works: Works) -> None:
    works.at(LATE_AT)
    text = re.sub(r"<[^>]+>", " ", works.get("/now"))
    said = re.search(
        r"(\d+) min\s+\d+ of \d+ stations late or silent.*?Newest count (\d\d:\d\d), (\d+) min old", text, re.S
    )
    assert said and said[1] == said[3] == "76" and said[2] == "06:00"
    assert "newest count 11 Mar 2026 06:00" in text


def late(station: str, minutes: int) -> StationLife:
    return StationLife("K1", station, AT, timedelta(minutes=minutes), "late" if minutes > 75 else "alive")


@pytest.mark.parametrize(
    ("minutes", "names"),
    [
        ((107, 107, 107), "107\u00a0min"),
        ((107, 107, 60), "a, b 107 min"),
        ((107, 90, 107, 60), "a, c 107 min; b 90 min"),
        ((107, 107, 107, 107, 99, 98), "a, b, c, d 107 min and 2 more"),
    ],
)
def test_a_length_of_lateness_is_told_once(minutes: tuple[int, ...], names: str, site: Place) -> None:
    stations = tuple(late("abcdef"[n], number) for n, number in enumerate(minutes))
    said = told(Fresh(AT, AT, stations), site.plant, texts("en"))
    assert said["names"] == names and said["longest"] == "107 min"


def test_the_rows_of_now_and_feeds_say_so_within_half_a_minute(works: Works) -> None:
    assert "all 4 alive" in works.get("/now") and "silent or late" in works.get("/feeds")
    works.at(LATE_AT)
    now, feeds, wall = works.get("/now"), works.get("/feeds"), works.get("/now?wall=1")
    assert "alive" not in re.sub(r"<[^>]+>", " ", now) and "all 4 late" in now
    assert ">alive<" not in feeds and wall.count(">not known<") >= 4


def test_health_says_what_is_late_and_by_how_much(works: Works) -> None:
    response = works.client.get("/health")
    assert (
        response.status_code == 200 and response.json()["newest_count_age_s"] == 600 and response.json()["late"] == []
    )
    works.at(LATE_AT)
    response = works.client.get("/health")
    said: dict[str, Any] = response.json()
    assert response.status_code == 503 and said["status"] == "trouble" and said["newest_count_age_s"] == 76 * 60
    assert {each["station"] for each in said["late"]} == {s.id for s in works.desk.plant.station}
    assert all(each["behind_s"] == 76 * 60 for each in said["late"] if each["line"] == "K1")
    assert re.search(r"\d+ of \d+ stations late or silent, \S+ by \d+ min", " ".join(said["problems"]))


def test_a_live_page_is_made_anew_by_the_clock_and_others_are_not(site: Place) -> None:
    made = {"live": 0, "past": 0}

    def make(name: str, refresh_s: int) -> Callable[..., View]:
        def one(*_: object) -> View:
            made[name] += 1
            return View("", Page(name, "", ()), refresh_s=refresh_s)

        return one

    desk = Desk(site.site.root, site.settings, 20.0)
    for minutes in (0.0, 0.4, 0.9, 1.1, 2.2):
        desk.settings = replace(desk.settings, fixed_now=AT + timedelta(minutes=minutes))
        desk.page(PageQuestion(("live",), make("live", 30)), who="r")
        desk.page(PageQuestion(("past",), make("past", 0)), who="r")
    assert made == {"live": 3, "past": 1}
    desk.close()


def test_while_a_flow_runs_nobody_waits_and_the_age_goes_on(site: Place) -> None:
    works = Works(site, 20.0)
    works.get("/now")
    with one_run_at_a_time(site.site, "intake", 1):
        time.sleep(1.1)  # the locks are asked once a second
        works.at(LATE_AT)
        begun = time.monotonic()
        text = works.get("/now")
        assert "stations late or silent" in text and "76 min old" in text and time.monotonic() - begun < 5
    works.desk.close()


def test_health_never_waits_for_a_writer(site: Place) -> None:
    """A writer holds the ledger: health says what it knew, in time."""
    works, held, release = Works(site, 20.0), threading.Event(), threading.Event()
    assert works.client.get("/health").status_code == 200

    def write() -> None:
        with site.opened.ledger.writing():
            held.set()
            release.wait(20)

    thread = threading.Thread(target=write)
    thread.start()
    assert held.wait(20)
    site.site.ledger.touch()
    begun = time.monotonic()
    answer = works.client.get("/health").json()
    took = time.monotonic() - begun
    release.set()
    thread.join()
    works.desk.close()
    assert took < 1.0 and answer["newest_count_age_s"] == 600


def test_a_fast_clock_makes_browsers_ask_more_often(site: Place) -> None:
    from pipelines.settings import RunningClock, Settings

    works = Works(site)
    assert 'data-refresh="30"' in works.get("/now")
    works.desk.settings = Settings(clock=RunningClock(AT, time.time(), 20.0), lock_wait_s=5)
    assert 'data-refresh="1.5"' in works.get("/now?wall=1")
    works.desk.close()
