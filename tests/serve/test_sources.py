"""`coldledger serve` reads databases: as often as they are due, through outages, one that hangs holding no other up."""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from pipelines.serve.sources import SourceWatch
from pipelines.settings import Settings
from pipelines.sources.database.progress import Progress
from tests.conftest import NOW, WORKS, Place
from tests.serve.test_for_real import Served
from tests.sources.database.conftest import PASSWORD, QUERY, SOURCE, Postgres, keep_password, postgres, server, site
from tests.sources.database.test_sqlite import ROW, TABLE

__all__ = ["postgres", "server"]  # fixtures
PATIENCE_S = 90  # ends a test that hangs


def until(true: Callable[[], object], what: str) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, what
        time.sleep(0.02)


def test_each_source_is_read_when_it_is_due_and_sooner_after_a_trouble(tmp_path: Path) -> None:
    store = tmp_path / "store.db"
    with sqlite3.connect(store) as connection:
        connection.execute(TABLE)
        connection.execute(ROW, ("P1", "2026-03-02 09:05:00"))
    place = site(tmp_path / "site", "sqlite:///../store.db", password=None)
    source = place.plant.source[0]
    progress = Progress(place.site, source)
    begun: list[float] = []
    watch = SourceWatch(place.site.root, Settings(fixed_now=NOW))
    read = watch._read
    watch._read = lambda *of: (begun.append(minute), read(*of))  # type: ignore[method-assign, assignment, func-returns-value]

    def at(of_day: float) -> None:
        nonlocal minute
        minute = of_day
        watch.settings = Settings(fixed_now=NOW + timedelta(minutes=minute))
        watch.tick()
        for thread in watch._reading.values():
            thread.join(30)

    minute = 0.0
    for n in range(0, 11):
        at(n)
    assert begun == [0, 5, 10]
    store.rename(tmp_path / "away.db")
    for n in range(11, 18):
        at(n)
    assert begun == [0, 5, 10, 15, 16, 17] and progress.times().trouble
    (tmp_path / "away.db").rename(store)
    for n in range(18, 24):
        at(n)
    assert begun[6:] == [18, 23] and not progress.times().trouble
    works = place.site.works_toml.read_text()
    place.site.works_toml.write_text(works.replace("every_minutes = 5", "every_minutes = 1"))
    at(24)
    assert begun[8:] == [24]


def test_one_that_hangs_holds_no_other_up_and_is_not_begun_twice(tmp_path: Path, postgres: Postgres) -> None:
    with sqlite3.connect(tmp_path / "store.db") as connection:
        connection.execute(TABLE)
        connection.execute(ROW, ("P1", "2026-03-02 09:05:00"))
    slow = QUERY.replace("where closed_at", "where pg_sleep(30) is not null and closed_at")
    works = SOURCE.format(url=postgres.url, query=slow, more="begin = 2026-01-01")
    other = SOURCE.format(url="sqlite:///../store.db", query=QUERY, more="").replace("palletiser", "store")
    place = Place(tmp_path / "site", WORKS + works + other)
    keep_password(place, PASSWORD)
    postgres.put(("P1", "2026-03-02T08:05Z"))
    watch = SourceWatch(place.site.root, Settings())
    watch.tick()
    times = Progress(place.site, place.plant.source[1]).times
    until(lambda: times().read_at, "the other is read")
    until(lambda: postgres.asked("select 1 from pg_stat_activity where query like '%%pg_sleep(30)%%'"), "it hangs")
    before = watch._reading["palletiser"]
    watch.tick()
    assert watch._reading["palletiser"] is before and before.is_alive()
    postgres.asked("select pg_terminate_backend(pid) from pg_stat_activity where usename = 'reader'")
    before.join(PATIENCE_S)
    assert Progress(place.site, place.plant.source[0]).times().trouble


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[[Place], Served]]:
    every: list[Served] = []

    def start(place: Place) -> Served:
        every.append(Served(place.site.root, "2026-03-02T09:00:00+00:00x60"))
        return every[-1]

    yield start
    for served in every:
        if served.process.poll() is None:
            served.process.kill()
            served.process.wait(10)


def test_served_rows_come_into_the_ledger_through_an_outage_of_the_server(
    tmp_path: Path, postgres: Postgres, started: Callable[[Place], Served]
) -> None:
    place = site(tmp_path / "site", postgres.url)
    postgres.put(("P1", "2026-03-02T08:05Z"))
    served = started(place)

    def kept(number: int) -> Callable[[], bool]:
        return lambda: re.search(rf">\s*pallets\s*<.*?>\s*{number}\s*<", served.get("/feeds")[1], re.S) is not None

    served.until(kept(1), PATIENCE_S, "the first pallet is kept")
    postgres.stop()
    served.until(lambda: "palletiser: not read since" in served.get("/now")[1], PATIENCE_S, "the source is late")
    assert "the database says: " in served.get("/feeds")[1]
    postgres.start()
    postgres.put(("P2", "2026-03-02T08:06Z"))
    back = time.monotonic()
    served.until(lambda: "palletiser: not read since" not in served.get("/now")[1], PATIENCE_S, "it is read again")
    print(f"read again {time.monotonic() - back:.1f} s after the server was back, its clock 60 times as fast")
    assert PASSWORD not in served.log.read_text()
    assert served.stop() == 0 and not served.children()
    place.take()
    assert place.facts("pallets")["pallet"].sort().to_list() == ["P1", "P2"]
    assert not [name for name in place.site.inbox.iterdir() if name.suffix == ".part"]
