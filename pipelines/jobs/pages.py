"""Writing the pages of a site: which, with both cores when there are many, each leading to what lies there."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipelines.answers.site_marks import SiteMarks, site_marks, works_mark
from pipelines.clock import Span
from pipelines.jobs.pool import side_by_side
from pipelines.plant.works import Plant
from pipelines.reports.addresses import hour_address
from pipelines.settings import Site
from pipelines.site.folder import OpenSite
from pipelines.whole_files import written_whole

if TYPE_CHECKING:
    from pipelines.reports.frame.page import Page

Progress = Callable[[int, int, str], None]
MANY = 12
COUNTS = ("station_counts", "reject_counts")
PAGED = ".paged"  # under reports/: up to which file the pages of hours are written
OWED = timedelta(days=1)
INDEX = "index.html"


def hours_touched(plant: Plant, touched: Iterable[tuple[str, datetime]]) -> list[tuple[str, datetime]]:
    """The hours of the works' clock, as (line, start), that hold any of the moments."""
    found = {(line, plant.clock.hour_of(moment).start) for line, moment in touched if line in plant.lines}
    return sorted(found, key=lambda answer: (answer[1], answer[0]))


def hours_of_days(plant: Plant, lines: Sequence[str], days: Sequence[date]) -> list[tuple[str, datetime]]:
    return [(line, span.start) for day in days for span in plant.clock.hours_of(day) for line in lines]


def hours_with_counts(opened: OpenSite, days: Sequence[date]) -> list[tuple[str, datetime]]:
    """The hours of some days of which counts have come."""
    plant, found = opened.plant, []
    with opened.ledger.reading() as reader:
        for line, start in hours_of_days(plant, list(plant.lines), days):
            end = plant.clock.hour_of(start).end
            if reader.ask("coverage", line=line, from_time=start, to_time=end).height:
                found.append((line, start))
    return found


def hours_owed(opened: OpenSite) -> list[tuple[str, datetime]]:
    """Hours whose pages a run did not come to, because it was killed after its rows were kept: of the last day that
    those rows speak of.

    Older hours, as a ledger made anew from the archive has them, are not written again here: a page that is asked for
    is made anew, and `rebuild` writes all.
    """
    if not opened.ledger.exists:
        _note_paged(opened.site, 0)
        return []
    mark = _paged(opened.site)
    if mark is None:  # a site from before this was noted
        return []
    with opened.ledger.reading() as reader:
        files = reader.ask("batches_after", after_batch=mark).filter(pl.col("feed").is_in(COUNTS))
        files = files.drop_nulls("data_to")
        if files.is_empty():
            return []
        ends = files.select(pl.col("data_from").min(), pl.col("data_to").max()).row(0)
        newest = ends[1].replace(tzinfo=UTC)
        clock, at = opened.plant.clock, max(ends[0].replace(tzinfo=UTC), newest - OWED)
        owed = []
        while at <= newest:
            hour = clock.hour_of(at)
            for line in opened.plant.lines:
                if reader.ask("coverage", line=line, from_time=hour.start, to_time=hour.end).height:
                    owed.append((line, hour.start))
            at = hour.end
    return owed


def pages_are_written(opened: OpenSite) -> None:
    """Note up to which file the pages of hours are written."""
    if opened.ledger.exists:
        with opened.ledger.reading() as reader:
            batch = int(reader.ask("ledger_marks")["last_batch"][0])
        _note_paged(opened.site, batch)


def _note_paged(site: Site, batch: int) -> None:
    site.reports.mkdir(parents=True, exist_ok=True)
    with written_whole(site.reports / PAGED) as part:
        part.write_text(f"{batch}\n", encoding="utf-8")


def _paged(site: Site) -> int | None:
    try:
        return int((site.reports / PAGED).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def is_to_lie(opened: OpenSite, kind: str, address: str) -> bool:
    """Whether a page is to be written: works.toml names its kind, or it lies there already and shall stay true."""
    return kind in opened.plant.reports.pages or (opened.site.reports / address).exists()


def hours_to_write(opened: OpenSite, hours: Iterable[tuple[str, datetime]]) -> list[tuple[str, datetime]]:
    """Those of some hours whose pages are to lie under reports/."""
    plant = opened.plant
    return [
        (line, start)
        for line, start in hours
        if is_to_lie(opened, "hour", hour_address(plant, line, plant.clock.hour_of(start)))
    ]


def write_hour_pages(
    opened: OpenSite, hours: Sequence[tuple[str, datetime]], progress: Progress | None = None
) -> list[Path]:
    """Write the page of each (line, start of the hour)."""
    parts = [hours[start : start + 6] for start in range(0, len(hours), 6)]
    written: list[Path] = []
    for paths in side_by_side(opened, hour_pages, parts, many=MANY // 6 + 1):
        written += paths
        if progress:
            progress(len(written), len(hours), paths[-1].name)
    return written


def hour_pages(opened: OpenSite, plant: Plant, hours: Sequence[tuple[str, datetime]]) -> list[Path]:
    """The pages of some hours, one after another."""
    return [_hour_page(opened, plant, *hour) for hour in hours]


def _hour_page(opened: OpenSite, plant: Plant, line: str, start: datetime) -> Path:
    from pipelines.reports.all_reports import ALL_REPORTS

    report = ALL_REPORTS["hour"]
    span: Span = plant.clock.hour_of(start)
    with opened.ledger.reading() as reader:
        page = report.page(reader, plant, line, span)
        marks = site_marks(reader, works_mark(opened.plant))
    return put_page(opened, page, report.address(plant, line, span), marks)


def put_page(opened: OpenSite, page: Page, address: str, marks: SiteMarks | None = None) -> Path:
    """Write a page and its workbook under reports/, its links as they can be followed now. marks: what the site was
    when it was made, where its data is kept beside it for readers of the served site.
    """
    from pipelines.reports.frame.kept_page import keep_page
    from pipelines.reports.frame.page import write_page

    path = opened.site.reports / address
    write_page(page, path, opened.plant.works.name, partial(_linked, opened, address))
    if marks is not None:
        keep_page(page, path, marks)
    return path


def join_pages(opened: OpenSite, written: Iterable[Path]) -> None:
    """Let pages that were written lead to each other, and those that lie beside them lead to them."""
    from pipelines.reports.frame.lying import leads_to

    root = opened.site.reports
    mine = {path.relative_to(root).as_posix() for path in written if path.exists()}
    around = {to for here in mine for to in leads_to((root / here).read_text(encoding="utf-8"), here)}
    for here in sorted(mine | around):
        path = root / here
        if path.suffix != ".html" or not path.is_file() or not path.resolve().is_relative_to(root.resolve()):
            continue
        text = path.read_text(encoding="utf-8")
        joined = _linked(opened, here, text)
        if joined != text:
            with written_whole(path) as part:
                part.write_text(joined, encoding="utf-8")


def _linked(opened: OpenSite, here: str, text: str) -> str:
    from pipelines.reports.frame.lying import linked

    root = opened.site.reports
    return linked(text, here, lambda to: to in (INDEX, here) or (root / to).is_file(), opened.plant.reports.address)


def write_index(opened: OpenSite, written: Iterable[Path] = ()) -> Path:
    """Write the page that leads to all others, and the page of holds; let what was written lead to what lies there."""
    from pipelines.reports.all_reports import ALL_REPORTS
    from pipelines.reports.index import index_page

    if opened.ledger.exists:
        with opened.ledger.reading() as reader:
            holds = ALL_REPORTS["holds"].page(reader, opened.plant)
        put_page(opened, holds, ALL_REPORTS["holds"].address())
    path = put_page(opened, index_page(opened.plant, opened.site.reports), INDEX)
    join_pages(opened, written)
    return path
