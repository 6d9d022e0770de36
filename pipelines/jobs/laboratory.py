"""Writing the weight pages of lines and the laboratory pages of furnaces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path

from pipelines.answers.site_marks import site_marks, works_mark
from pipelines.jobs.pages import is_to_lie, put_page
from pipelines.jobs.pool import side_by_side
from pipelines.plant.works import Plant
from pipelines.reports.addresses import laboratory_address, weights_address
from pipelines.site.folder import OpenSite

Job = tuple[str, str, date]


def newest_pages(plant: Plant, checked: Iterable[tuple[str, datetime]]) -> list[Job]:
    """The pages, as (report, line or furnace, day), of the newest production day that the laboratory's feeds speak of,
    for each line and each furnace.
    """
    newest: dict[tuple[str, str], datetime] = {}
    for where, moment in checked:
        line = plant.lines.get(where)
        for job in [("weights", where), ("laboratory", line.furnace)] if line else [("laboratory", where)]:
            newest[job] = max(moment, newest.get(job, moment))
    return sorted((name, of, plant.clock.day_of(moment)) for (name, of), moment in newest.items())


def pages_of_day(plant: Plant, day: date) -> list[Job]:
    """Every weight and laboratory page of a production day."""
    return [
        *(("weights", line, day) for line in plant.lines),
        *(("laboratory", furnace, day) for furnace in plant.furnaces),
    ]


def pages_to_write(opened: OpenSite, jobs: Iterable[Job]) -> list[Job]:
    """Those of some pages that are to lie under reports/."""
    address = {"weights": weights_address, "laboratory": laboratory_address}
    return [(name, of, day) for name, of, day in jobs if is_to_lie(opened, name, address[name](day, of))]


def write_laboratory_pages(opened: OpenSite, jobs: Sequence[Job]) -> list[Path]:
    """Write weight and laboratory pages that are to lie under reports/, side by side."""
    jobs = pages_to_write(opened, jobs)
    parts = [jobs[start : start + 2] for start in range(0, len(jobs), 2)]
    return [path for paths in side_by_side(opened, laboratory_pages, parts) for path in paths]


def laboratory_pages(opened: OpenSite, plant: Plant, jobs: Sequence[Job]) -> list[Path]:
    """Some of the pages, one after another."""
    from pipelines.reports.all_reports import ALL_REPORTS

    paths = []
    for name, of, day in jobs:
        report = ALL_REPORTS[name]
        with opened.ledger.reading() as reader:
            marks = site_marks(reader, works_mark(opened.plant))
            page = report.page(reader, plant, of, day)
        paths.append(put_page(opened, page, report.address(day, of), marks))
    return paths
