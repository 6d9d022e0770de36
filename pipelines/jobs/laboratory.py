"""Writing the weight pages of lines and the laboratory pages of furnaces."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path

from pipelines.answers.site_marks import site_marks, works_mark
from pipelines.jobs.pool import side_by_side
from pipelines.plant.works import Plant
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


def write_laboratory_pages(opened: OpenSite, jobs: Sequence[Job]) -> list[Path]:
    """Write weight and laboratory pages, side by side."""
    parts = [jobs[start : start + 2] for start in range(0, len(jobs), 2)]
    return [path for paths in side_by_side(opened, laboratory_pages, parts) for path in paths]


def laboratory_pages(opened: OpenSite, plant: Plant, jobs: Sequence[Job]) -> list[Path]:
    """Some of the pages, one after another."""
    from pipelines.reports.all_reports import ALL_REPORTS, write_page
    from pipelines.reports.frame.kept_page import keep_page

    paths = []
    for name, of, day in jobs:
        report = ALL_REPORTS[name]
        with opened.ledger.reading() as reader:
            marks = site_marks(reader, works_mark(opened.plant))
            page = report.page(reader, plant, of, day)
        path: Path = opened.site.reports / report.address(day, of)
        write_page(page, path, plant.works.name)
        keep_page(page, path, marks)
        paths.append(path)
    return paths
