"""The flows, run for real through their commands: intake, close, rebuild."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

import pytest

from pipelines.flows.run import call_flow
from pipelines.people.books import Books
from pipelines.settings import Settings
from sample_feeds.simulator import Simulated, write_feeds
from tests.conftest import NOW, WORKS, Place

DAY = date(2026, 3, 10)


@pytest.fixture(scope="module")
def worked(
    day_of_truth: Simulated, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Place, dict[str, object]]]:
    """A site on which every flow has run once, with what each gave back."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("PREFECT_API_URL", raising=False)
        place = Place(tmp_path_factory.mktemp("flows") / "site", f'{WORKS}\n[reports]\npages = ["hour"]\n')
        write_feeds(day_of_truth, place.site.inbox)
        row: dict[str, object] = {"intake": call_flow("intake", place.opened)}
        row["close"] = call_flow("close", place.opened)
        row["again"] = call_flow("close", place.opened)
        row["rebuild"] = call_flow("rebuild", place.opened, first=DAY, last=DAY)
        head = "window_start,line,station,mould,window_s,inspected,rejected\n"
        at = place.plant.clock.day(DAY).start + timedelta(hours=3)
        place.put("station_counts.K1.late.csv", f"{head}{at.isoformat()},K1,K1-side-a,777,60,50,0\n")
        place.settings = Settings(fixed_now=NOW + timedelta(days=1))
        row["late"] = call_flow("intake", place.opened)
        row["rebuilt late"] = call_flow("rebuild", place.opened, first=DAY, last=DAY)
        row["closed late"] = call_flow("close", place.opened)
        yield place, row


def test_intake_takes_in_and_writes_the_hours_pages(worked: tuple[Place, dict]) -> None:
    place, row = worked
    report, pages = row["intake"]
    assert report.rows_kept > 100_000 and len(pages) == 4 * 24
    assert all(page.exists() and page.with_suffix(".xlsx").exists() for page in pages)
    assert (place.site.reports / "index.html").exists()


def test_close_closes_what_is_over_and_nothing_twice(worked: tuple[Place, dict]) -> None:
    place, row = worked
    assert [(each.day, each.revision, each.changed) for each in row["close"]] == [(DAY, 1, None)]
    assert row["close"][0].page == place.site.reports / "day" / "2026-03-10.html"
    assert row["again"] == []


def test_rebuild_gives_the_same_answers(worked: tuple[Place, dict]) -> None:
    _, row = worked
    assert [(each.day, each.same) for each in row["rebuild"]] == [(DAY, True)]


def test_a_late_feed_makes_a_new_revision_and_keeps_the_first(worked: tuple[Place, dict]) -> None:
    place, row = worked
    report, pages = row["late"]
    assert report.rows_kept == 1 and [page.name for page in pages] == ["K1-04-0900.html"]
    assert [each.same for each in row["rebuilt late"]] == [False]
    assert [(each.day, each.revision, each.changed) for each in row["closed late"]] == [(DAY, 2, True)]
    closes = place.ask("closes_of_day", day=DAY)
    assert closes["revision"].to_list() == [1, 2] and closes["digest"].n_unique() == 2


def test_the_run_history_names_every_run(worked: tuple[Place, dict]) -> None:
    rows = Books(worked[0].site.serve).ask("newest_runs", most=50)
    assert [row["flow"] for row in reversed(rows)] == [
        *("intake", "close", "close", "rebuild"),
        *("intake", "rebuild", "close"),
    ]
    assert {row["state"] for row in rows} <= {"done", "needs a person"}


def test_a_retry_is_tried_only_where_it_can_help() -> None:
    from pipelines.errors import LedgerBroken, LedgerBusy, SiteError, WrongUse
    from pipelines.flows.flows import _can_help

    class State:
        def __init__(self, error: Exception):
            self.error = error

        def result(self) -> None:
            raise self.error

    away = SiteError("share away")
    away.__cause__ = OSError("gone")
    flags = [_can_help(None, None, State(error)) for error in (LedgerBusy("x"), OSError("x"), away)]
    assert flags == [True, True, True]
    flags = [_can_help(None, None, State(error)) for error in (WrongUse("x"), LedgerBroken("x"), ValueError("x"))]
    assert flags == [False, False, False]
