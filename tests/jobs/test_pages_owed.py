"""A run that was killed after its rows were kept: the next one writes the pages of their hours, without a file of its
own.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from pipelines.flows.steps import Steps, intake, plainly
from pipelines.jobs.pages import PAGED, hours_owed
from tests.conftest import HEAD, Place, one_furnace

HOURS = '\n[reports]\npages = ["hour"]\n'


def counts(hour: int, day: int = 5) -> str:
    rows = (f"2026-01-{day:02d}T{hour:02d}:{m:02d}:00Z,K1,K1-side-a,1,60,10,1\n" for m in range(60))
    return HEAD + "".join(rows)


def run(place: Place) -> list[str]:
    """One intake; the names of the hour pages it wrote."""
    _, paths = intake(Steps().begin(plainly), place.opened)
    return [path.name for path in paths]


def site_of_one_line(new_site: Callable[..., Place]) -> Place:
    return new_site("one-line-empty", lambda place: None, one_furnace(lines=("K1",)) + HOURS)


def test_what_a_killed_run_did_not_come_to_is_written_by_the_next(new_site: Callable[..., Place]) -> None:
    place = site_of_one_line(new_site)
    place.put("station_counts.a.csv", counts(10))
    assert run(place) == ["K1-06-1100.html"] and run(place) == []
    place.put("station_counts.b.csv", counts(11))
    place.take()  # the rows are kept, and there it ended
    assert not list(Path(place.site.reports).rglob("K1-07-*.html"))
    assert run(place) == ["K1-07-1200.html"] and run(place) == []
    assert list(Path(place.site.reports).rglob("K1-07-1200.html"))


def test_a_first_run_that_was_killed_is_caught_up_too(new_site: Callable[..., Place]) -> None:
    place = site_of_one_line(new_site)
    assert hours_owed(place.opened) == [], "what a run does first"
    place.put("station_counts.a.csv", counts(10))
    place.take()
    assert run(place) == ["K1-06-1100.html"]


def test_no_more_than_a_day_is_caught_up_and_a_site_from_before_owes_nothing(new_site: Callable[..., Place]) -> None:
    place = site_of_one_line(new_site)
    place.put("station_counts.old.csv", counts(10, day=2))
    place.put("station_counts.new.csv", counts(10, day=5))
    place.take()
    assert hours_owed(place.opened) == []
    (place.site.reports).mkdir(exist_ok=True)
    (place.site.reports / PAGED).write_text("0\n")
    assert [f"{start:%d %H}" for _, start in hours_owed(place.opened)] == ["05 10"]
    (place.site.reports / PAGED).write_text("rubbish")
    assert hours_owed(place.opened) == []
