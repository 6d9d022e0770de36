"""Writing the pages of a site, with both cores when there are many."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date, datetime
from multiprocessing import get_context
from pathlib import Path

from pipelines.clock import Span
from pipelines.plant import Plant
from pipelines.settings import Settings
from pipelines.site import OpenSite, open_site

Progress = Callable[[int, int, str], None]
MANY = 12


def hours_touched(plant: Plant, touched: Iterable[tuple[str, datetime]]) -> list[tuple[str, datetime]]:
    """The hours of the works' clock, as (line, start), that hold any of the moments."""
    found = {(line, plant.clock.hour_of(moment).start) for line, moment in touched if line in plant.lines}
    return sorted(found, key=lambda one: (one[1], one[0]))


def hours_of_days(plant: Plant, lines: Sequence[str], days: Sequence[date]) -> list[tuple[str, datetime]]:
    return [(line, span.start) for day in days for span in plant.clock.hours_of(day) for line in lines]


def write_hour_pages(
    opened: OpenSite, hours: Sequence[tuple[str, datetime]], progress: Progress | None = None
) -> list[Path]:
    """Write the page of each (line, start of the hour)."""
    if len(hours) < MANY:
        return [
            _told(progress, n, len(hours), _hour_page(opened, opened.known, *hour)) for n, hour in enumerate(hours, 1)
        ]
    parts = [hours[start : start + 6] for start in range(0, len(hours), 6)]
    written: list[Path] = []
    os.environ.setdefault("POLARS_MAX_THREADS", "1")  # read by the workers as they start; each has one core
    with ProcessPoolExecutor(
        2, mp_context=get_context("spawn"), initializer=_begin, initargs=(opened.site.root, opened.settings)
    ) as pool:
        for paths in pool.map(_hour_part, parts):
            written += paths
            _told(progress, len(written), len(hours), paths[-1])
    return written


def _told(progress: Progress | None, done: int, total: int, path: Path) -> Path:
    if progress:
        progress(done, total, path.name)
    return path


_worker: list[tuple[OpenSite, Plant]] = []


def _begin(root: Path, settings: Settings) -> None:
    opened = open_site(root, settings)
    _worker.append((opened, opened.known))


def _hour_part(hours: Sequence[tuple[str, datetime]]) -> list[Path]:
    opened, plant = _worker[0]
    return [_hour_page(opened, plant, *hour) for hour in hours]


def _hour_page(opened: OpenSite, plant: Plant, line: str, start: datetime) -> Path:
    from pipelines.reports import ALL_REPORTS, write_page

    report = ALL_REPORTS["hour"]
    span: Span = plant.clock.hour_of(start)
    with opened.ledger.reading() as reader:
        page = report.page(reader, plant, line, span)
    path: Path = opened.site.reports / report.address(plant, line, span)
    write_page(page, path)
    return path


def write_index(opened: OpenSite) -> Path:
    """Write the page that leads to all others."""
    from pipelines.reports import write_page
    from pipelines.reports.index import index_page

    path = opened.site.reports / "index.html"
    write_page(index_page(opened.plant, opened.site.reports), path)
    return path
