"""What the flows do, step by step, in plain functions: with the run history, or without it where it cannot be
reached.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from pipelines.errors import LedgerBusy, SiteError
from pipelines.intake import IntakeReport, take_in
from pipelines.jobs.days import Closed, Rebuilt, close_day, days_to_close
from pipelines.jobs.laboratory import Job, newest_pages, pages_of_day, write_laboratory_pages
from pipelines.jobs.pages import (
    Progress,
    hours_owed,
    hours_to_write,
    hours_touched,
    hours_with_counts,
    pages_are_written,
    write_hour_pages,
    write_index,
)
from pipelines.jobs.rebuild import rebuild_days
from pipelines.jobs.rollup import roll_up_due
from pipelines.jobs.signals import days_behind, days_to_follow, refresh_signals
from pipelines.site.folder import OpenSite

RETRY_S = (5.0, 30.0)  # a step whose input or output failed is tried again after so long
_LOG = logging.getLogger(__name__)

Caller = Callable[[str, Callable[..., Any], Sequence[Any]], Any]


class Steps:
    """The steps of one run, each done once whoever calls them: what a step gave is kept, so that a run whose history
    fails goes on behind it.
    """

    def __init__(self) -> None:
        self.failed: BaseException | None = None
        self._given: list[Any] = []
        self._next = 0
        self._caller: Caller = plainly

    def begin(self, caller: Caller) -> Steps:
        """From the first step on; `caller` runs those that were not done yet."""
        self._next, self._caller, self.failed = 0, caller, None
        return self

    def __call__(self, name: str, work: Callable[..., Any], *args: Any) -> Any:
        at, self._next = self._next, self._next + 1
        if at == len(self._given):

            def kept(*found: Any) -> Any:
                try:
                    answer = work(*found)
                except BaseException as error:
                    self.failed = error
                    raise
                self._given.append(answer)
                self.failed = None
                return answer

            self._caller(name, kept, args)
        return self._given[at]


def can_help(error: BaseException) -> bool:
    """Whether a retry can help: where a file is locked or a share is away; never for a bad row, which is no failure at
    all.
    """
    if isinstance(error, SiteError) and not isinstance(error, LedgerBusy):
        return isinstance(error.__cause__, OSError)
    return isinstance(error, LedgerBusy | OSError)


def plainly(name: str, work: Callable[..., Any], args: Sequence[Any]) -> Any:
    """Run a step here, with the same retries as with the run history."""
    for wait in (*RETRY_S, None):
        try:
            return work(*args)
        except Exception as error:
            if wait is None or not can_help(error):
                raise
            _LOG.warning("%s: %s; tried again in %.0f s", name, error, wait)
            time.sleep(wait)
    raise AssertionError("the last try returns or raises")


def intake(step: Steps, opened: OpenSite, progress: Progress | None = None) -> tuple[IntakeReport, list[Path]]:
    """Take the inbox in, refresh what it touched, write the hour's pages."""
    owed = step("pages owed", hours_owed, opened)
    report = step("take the inbox in", take_in, opened.site, opened.plant, opened.settings, progress)
    touched = days_to_follow(opened.plant, [moment for _, moment in report.touched])
    if report.touched or owed:
        step("follow the signals", refresh_signals, opened, sorted({*touched, *days_behind(opened)}))
    hours = sorted({*hours_touched(opened.plant, report.touched), *owed}, key=lambda hour: (hour[1], hour[0]))
    checked = newest_pages(opened.plant, report.checked)
    return report, step("write the hour pages", write_hours, opened, hours, checked, progress)


def follow(step: Steps, opened: OpenSite, days: list[date]) -> list[Path]:
    """After rows were corrected: signals of those days, and the pages of their hours."""
    step("follow the signals", refresh_signals, opened, sorted({*days, *days_behind(opened)}))
    plant = opened.plant
    past = [day for day in days if plant.clock.day(day).start < opened.settings.now()]
    paths: list[Path] = step("write the hour pages", write_hours, opened, hours_with_counts(opened, past), [], None)
    return paths


def close(step: Steps, opened: OpenSite, day: date | None = None, progress: Progress | None = None) -> list[Closed]:
    """Close the day asked for, or every day that is over and not closed since its last feed."""
    days: list[date] = step("days to close", days_to_close, opened) if day is None else [day]
    closed = []
    for number, this_day in enumerate(days, start=1):
        closed.append(step("close a production day", close_day, opened, this_day))
        if progress:
            progress(number, len(days), str(this_day))
    step("write the laboratory's pages", write_laboratory, opened, closed)
    if day is None and opened.plant.keep.minutes_days is not None:
        step("roll old minutes into hours", roll_up_due, opened)
    return closed


def rebuild(step: Steps, opened: OpenSite, first: date, last: date, progress: Progress | None = None) -> list[Rebuilt]:
    """Compute days again from what was taken in, and write all their pages again; after a stop it goes on where it
    was.
    """
    days: list[Rebuilt] = step("rebuild production days", rebuild_days, opened, first, last, progress)
    return days


FLOWS: dict[str, Callable[..., Any]] = {"intake": intake, "follow": follow, "close": close, "rebuild": rebuild}


def in_words(name: str, answer: Any) -> str:
    """What a flow did, in one line: for the run history, and for the books of the served site."""
    if name == "intake":
        report, pages = answer
        refused = f"{report.rows_refused} rows and {report.files_refused} files refused"
        return f"{report.files} files, {report.rows_kept} rows kept, {refused}, {len(pages)} hour pages"
    if name == "follow":
        return f"{len(answer)} hour pages"
    if name == "close":
        return ", ".join(f"{closed.day} revision {closed.revision}" for closed in answer) or "no day to close"
    return ", ".join(str(rebuilt.day) for rebuilt in answer)


def write_hours(
    opened: OpenSite, hours: list[tuple[str, datetime]], checked: list[Job], progress: Progress | None
) -> list[Path]:
    """The hour pages of what was touched, as far as they are to lie there, the newest weight and laboratory pages, and
    the index; the paths of the hour pages.
    """
    hours = hours_to_write(opened, hours)
    paths = write_hour_pages(opened, hours, progress) if hours else []
    write_index(opened, [*paths, *write_laboratory_pages(opened, checked)])
    pages_are_written(opened)
    return paths


def write_laboratory(opened: OpenSite, closed: list[Closed]) -> None:
    """The weight and laboratory pages of closed days, and the index."""
    jobs = [job for each in closed for job in pages_of_day(opened.plant, each.day)]
    write_index(opened, [*(each.page for each in closed), *write_laboratory_pages(opened, jobs)])
