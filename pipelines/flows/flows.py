"""The flows. Each is a thin wrapper around plain functions; a schedule that calls one is only a wake-up call."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

from prefect import flow, get_run_logger, task

from pipelines.errors import LedgerBusy, SiteError
from pipelines.intake import IntakeReport, take_in
from pipelines.site import OpenSite
from pipelines.work.days import Closed, Rebuilt, close_day, days_to_close
from pipelines.work.laboratory import Job, newest_pages, pages_of_day, write_laboratory_pages
from pipelines.work.pages import Progress, hours_touched, hours_with_counts, write_hour_pages, write_index
from pipelines.work.rebuild import rebuild_days
from pipelines.work.rollup import roll_up_due
from pipelines.work.signals import days_behind, days_to_follow, refresh_signals


def _can_help(task: Any, run: Any, state: Any) -> bool:
    """A retry can help where a file is locked or a share is away; never for a bad row, which is no failure at all."""
    try:
        state.result()
    except (LedgerBusy, OSError):
        return True
    except SiteError as error:
        return isinstance(error.__cause__, OSError)
    except Exception:
        return False
    return False


_IO: dict[str, Any] = {
    "retries": 2,
    "retry_delay_seconds": [5, 30],
    "retry_condition_fn": _can_help,
    "persist_result": False,
}


@task(name="take the inbox in", **_IO)
def take_inbox_in(opened: OpenSite, progress: Progress | None) -> IntakeReport:
    """Feed files into the ledger, the archive and the quarantine."""
    report = take_in(opened.site, opened.plant, opened.settings, progress)
    get_run_logger().info("%d files, %d rows kept, %d refused", report.files, report.rows_kept, report.rows_refused)
    return report


@task(name="follow the signals", **_IO)
def follow_signals(opened: OpenSite, days: list[date]) -> int:
    """Lehr times, expectations and signals of the days that feeds touched, kept by hour."""
    return refresh_signals(opened, days)


@task(name="write the hour pages", **_IO)
def write_hours(
    opened: OpenSite, hours: list[tuple[str, datetime]], checked: list[Job], progress: Progress | None
) -> list[Path]:
    """The hour pages of what was touched, the newest weight and laboratory pages, and the index; the paths of the hour pages."""
    paths = write_hour_pages(opened, hours, progress) if hours else []
    write_laboratory_pages(opened, checked)
    write_index(opened)
    return paths


@task(name="close a production day", **_IO)
def close_one_day(opened: OpenSite, day: date) -> Closed:
    """One day's answers kept, its page written."""
    closed = close_day(opened, day)
    get_run_logger().info("production day %s closed, revision %d", day, closed.revision)
    return closed


@task(name="roll old minutes into hours", **_IO)
def roll_old_minutes(opened: OpenSite) -> int:
    """What `[keep]` says is due; how many days."""
    return len(roll_up_due(opened))


@task(name="write the laboratory's pages", **_IO)
def write_laboratory(opened: OpenSite, days: list[date]) -> None:
    """The weight and laboratory pages of some days, and the index."""
    write_laboratory_pages(opened, [job for day in days for job in pages_of_day(opened.plant, day)])
    write_index(opened)


@task(name="rebuild production days", **_IO)
def rebuild_these_days(opened: OpenSite, first: date, last: date, progress: Progress | None) -> list[Rebuilt]:
    """Days computed again from what was taken in; after a stop it goes on where it was."""
    return rebuild_days(opened, first, last, progress)


@flow(name="intake", validate_parameters=False, persist_result=False)
def intake(opened: OpenSite, progress: Progress | None = None) -> tuple[IntakeReport, list[Path]]:
    """Take the inbox in, refresh what it touched, write the hour's pages."""
    report = take_inbox_in(opened, progress)
    if report.touched:
        touched = days_to_follow(opened.plant, [moment for _, moment in report.touched])
        follow_signals(opened, sorted({*touched, *days_behind(opened)}))
    hours, checked = hours_touched(opened.plant, report.touched), newest_pages(opened.plant, report.checked)
    return report, write_hours(opened, hours, checked, progress)


@flow(name="follow", validate_parameters=False, persist_result=False)
def follow(opened: OpenSite, days: list[date]) -> list[Path]:
    """After rows were corrected: signals of those days, and the pages of their hours."""
    follow_signals(opened, sorted({*days, *days_behind(opened)}))
    plant = opened.plant
    past = [day for day in days if plant.clock.day(day).start < opened.settings.now()]
    return write_hours(opened, hours_with_counts(opened, past), [], None)


@flow(name="close", validate_parameters=False, persist_result=False)
def close(opened: OpenSite, day: date | None = None, progress: Progress | None = None) -> list[Closed]:
    """Close the day asked for, or every day that is over and not closed since its last feed."""
    days = [day] if day is not None else days_to_close(opened)
    closed = []
    for number, one in enumerate(days, start=1):
        closed.append(close_one_day(opened, one))
        if progress:
            progress(number, len(days), str(one))
    write_laboratory(opened, [one.day for one in closed])
    if day is None and opened.plant.keep.minutes_days is not None:
        roll_old_minutes(opened)
    return closed


@flow(name="rebuild", validate_parameters=False, persist_result=False)
def rebuild(opened: OpenSite, first: date, last: date, progress: Progress | None = None) -> list[Rebuilt]:
    """Compute days again from what was taken in, and write all their pages again."""
    return rebuild_these_days(opened, first, last, progress)
