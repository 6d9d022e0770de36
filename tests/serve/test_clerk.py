"""The clerk on a site with feeds: what it begins, in which order, what it remembers, what it sends. Flows are run in
this process.
"""

from __future__ import annotations

import http.server
import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from pipelines.errors import WrongUse
from pipelines.intake import take_in
from pipelines.jobs.days import close_day, days_to_close
from pipelines.jobs.notices import Notice, notices_of
from pipelines.jobs.signals import refresh_signals
from pipelines.people.books import Books
from pipelines.serve.clerk import Clerk
from pipelines.serve.notify import addresses_file, send
from pipelines.settings import RunningClock, Settings, clock_of
from tests.conftest import HEAD, Place

DAY = date(2026, 3, 10)
END = datetime(2026, 3, 11, 5, tzinfo=UTC)


class Runs:
    """Stands where processes are begun: does the flows' work here, and notes what was begun."""

    def __init__(self, place: Place):
        self.place, self.begun, self.fail = place, [], False  # type: ignore[var-annotated]

    def __call__(self, flow: str, more: list[str]) -> dict[str, Any]:
        self.begun.append(flow)
        if self.fail and flow == "close":
            return {"state": "failed", "words": "the disk is full"}
        opened = self.place.opened
        if flow == "intake":
            report = take_in(opened.site, opened.plant, opened.settings)
            return {"state": "needs a person" if report.needs_a_person else "done", "words": f"{report.files} files"}
        if flow == "close":
            return {
                "state": "done",
                "words": ", ".join(str(close_day(opened, day).day) for day in days_to_close(opened)),
            }
        if flow == "follow":
            refresh_signals(opened, [date.fromisoformat(day) for day in more])
        return {"state": "done", "words": flow}


@pytest.fixture
def place(day_taken: Place, tmp_path: Path) -> Place:
    return day_taken.copied(tmp_path / "site", Settings(fixed_now=END + timedelta(minutes=10), lock_wait_s=5))


def at(place: Place, clerk: Clerk, moment: datetime) -> None:
    place.settings = replace(place.settings, fixed_now=moment)
    clerk.settings = place.settings
    clerk.looked = None


def all_ticks(clerk: Clerk) -> None:
    for _ in range(6):
        if not clerk.tick():
            return


def test_it_takes_in_at_the_start_then_closes_the_day_whose_last_feed_has_come(place: Place) -> None:
    runs = Runs(place)
    clerk = Clerk(place.site.root, place.settings, run=runs)
    clerk.start()
    all_ticks(clerk)
    assert runs.begun == ["intake", "close"]
    all_ticks(clerk)
    assert runs.begun == ["intake", "close"], "nothing twice"
    rows = clerk.books.ask("newest_runs", most=5)
    assert [(row["flow"], row["state"]) for row in rows] == [("close", "done"), ("intake", "done")]
    assert "its last feed has come" in rows[0]["why"] and rows[0]["told"] == "2026-03-10"
    again = Clerk(place.site.root, place.settings, run=runs)
    all_ticks(again)
    assert runs.begun[2:] == ["intake"], "after a restart one intake, and no close that was done"


def test_a_new_file_is_taken_in_when_it_lies_still_and_what_is_being_written_is_not_waited_for(
    place: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs = Runs(place)
    clerk = Clerk(place.site.root, place.settings, run=runs)
    all_ticks(clerk)
    begun = len(runs.begun)
    place.put(".station_counts.csv", "x")
    place.put("station_counts.csv.part", "x")
    all_ticks(clerk)
    assert len(runs.begun) == begun
    place.put("station_counts.K1.new.csv", HEAD + "2026-03-11T05:00:00Z,K1,K1-side-a,20,60,50,1\n")
    all_ticks(clerk)
    assert len(runs.begun) == begun, "it came this moment: others may follow"
    monkeypatch.setattr("pipelines.serve.clerk.SETTLED_S", 0.0)
    at(place, clerk, place.settings.now() + timedelta(minutes=2))
    all_ticks(clerk)
    assert runs.begun[begun] == "intake" and not list(place.site.inbox.glob("station*.csv"))


def test_a_failed_close_is_noted_told_once_and_tried_again(
    place: Place, receiver: tuple[str, list[dict[str, Any]]]
) -> None:
    address, came = receiver
    addresses_file(place.site).parent.mkdir(parents=True, exist_ok=True)
    addresses_file(place.site).write_text(address)
    runs = Runs(place)
    runs.fail = True
    clerk = Clerk(place.site.root, place.settings, run=runs)
    all_ticks(clerk)
    assert runs.begun == ["intake", "close"]
    at(place, clerk, END + timedelta(minutes=16))
    all_ticks(clerk)
    assert runs.begun.count("close") == 2
    assert [row["title"] for row in came if "failed" in row["title"]] == [
        "Sowia Glassworks (invented): close of production day 2026-03-10 failed"
    ]
    runs.fail = False
    at(place, clerk, END + timedelta(hours=1))
    all_ticks(clerk)
    assert runs.begun[-1] == "close" and clerk.past.failed["close"] == 0


def test_rows_corrected_in_a_page_are_followed(place: Place) -> None:
    runs = Runs(place)
    clerk = Clerk(place.site.root, place.settings, run=runs)
    clerk.books.tell("add_request", flow="follow", about="2026-03-10")
    clerk.books.tell("add_request", flow="follow", about="2026-03-10")
    all_ticks(clerk)
    assert runs.begun == ["intake", "follow", "close"] and not clerk.books.ask("open_requests")


def test_runs_that_a_power_cut_left_are_said_to_be_cut_off(place: Place) -> None:
    books = Books(place.site.serve)
    books.tell("begin_run", flow="intake", why="test", at="2026-03-11T05:00:00Z")
    Clerk(place.site.root, place.settings, run=Runs(place)).start()
    assert [row["state"] for row in books.ask("newest_runs", most=5)] == ["cut off"]


def test_an_accident_in_a_tick_ends_nothing(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    clerk = Clerk(place.site.root, place.settings, run=Runs(place))
    count = iter(range(10))

    def tick() -> bool:
        if next(count) == 0:
            raise RuntimeError("boom")
        clerk.stopping.set()
        return False

    monkeypatch.setattr(clerk, "tick", tick)
    clerk.loop()
    assert next(count) == 2


# notices


@pytest.fixture
def receiver() -> Iterator[tuple[str, list[dict[str, Any]]]]:
    """A webhook on loopback that keeps what arrives."""
    came: list[dict[str, Any]] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            came.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None: ...

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"json://127.0.0.1:{server.server_port}/hook", came
    server.shutdown()


def test_a_notice_goes_out_once_to_each_address_and_a_failed_one_is_not_repeated(
    place: Place, receiver: tuple[str, list[dict[str, Any]]]
) -> None:
    address, came = receiver
    books = Books(place.site.serve)
    addresses_file(place.site).write_text(f"# comment\n\n{address}\njson://127.0.0.1:1/nobody\n")
    notice = Notice("signal S-1", "K1: CHF finish check", "words")
    for _ in range(3):
        send(books, place.site, [notice, notice], "Works", END)
    assert [(row["title"], row["message"]) for row in came] == [("Works: K1: CHF finish check", "words")]
    assert sorted(row["state"] for row in books.ask("newest_notices", most=9)) == ["failed", "sent"]
    assert address not in (place.site.serve / "serve.db").read_bytes().decode("latin-1"), "addresses can hold passwords"


def test_without_addresses_nothing_is_sent_or_noted(place: Place) -> None:
    books = Books(place.site.serve)
    assert send(books, place.site, [Notice("a", "b", "c")], "Works", END) == 0 and not books.ask(
        "newest_notices", most=1
    )


def test_critical_calls_losses_and_silence_ask_for_a_notice_under_the_works_own_limits(place: Place) -> None:
    from pipelines.answers.now import answer_now

    refresh_signals(place.opened, [DAY])
    with place.opened.ledger.reading() as reader:
        works_now = answer_now(reader, place.plant, END + timedelta(minutes=5))
        later = answer_now(reader, place.plant, END + timedelta(hours=9))
    called = {(line.line, s.defect) for line in works_now.lines for s in line.critical_calls}
    assert called, "the simulated works calls critical defects every hour"
    keys = {n.key for n in notices_of(place.plant, works_now) if n.key.startswith("critical")}
    assert {tuple(key.split()[1:3]) for key in keys} == called
    assert keys == {n.key for n in notices_of(place.plant, works_now) if n.key.startswith("critical")}, (
        "the same thing has the same key"
    )
    quiet = place.plant.model_copy(
        update={
            "notices": place.plant.notices.model_copy(
                update={"critical": False, "loss_per_hour": None, "silent_minutes": None}
            )
        }
    )
    assert notices_of(quiet, works_now) == []
    assert [n.title for n in notices_of(place.plant, later)] == ["no station sends counts"]


def test_a_station_that_falls_silent_is_told_and_the_others_are_not(place: Place) -> None:
    from pipelines.answers.now import answer_now

    for station in ("K1-side-a", "K1-side-b", "K1-mouth"):
        place.put(f"station_counts.{station}.csv", HEAD + f"2026-03-11T06:30:00Z,K1,{station},20,60,50,1\n")
    place.settings = replace(place.settings, fixed_now=END + timedelta(hours=2))
    place.take()
    with place.opened.ledger.reading() as reader:
        works_now = answer_now(reader, place.plant, END + timedelta(minutes=100))
    silent = [n.title for n in notices_of(place.plant, works_now) if n.key.startswith("silent") and "K1" in n.title]
    assert silent == ["K1: no counts from K1-foot"]


def test_a_clock_of_its_own_runs_as_told() -> None:
    running_clock = clock_of("2026-03-05T05:05:00+00:00@1000.0x600")
    assert (
        running_clock == RunningClock(datetime(2026, 3, 5, 5, 5, tzinfo=UTC), 1000.0, 600.0)
        and clock_of(running_clock.text()) == running_clock
    )
    settings = Settings(clock=clock_of("2026-03-05T05:05:00+00:00x3600"))
    assert settings.speed == 3600 and settings.now() >= datetime(2026, 3, 5, 5, 5, tzinfo=UTC)
    with pytest.raises(WrongUse, match="needs an offset"):
        clock_of("2026-03-05T05:05:00")
