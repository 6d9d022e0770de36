"""Old minutes rolled into hours: what is asked of a year ago is asked by the hour, and a year of minutes need not be
kept for it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

from pipelines.answers.counted_span import counted_span
from pipelines.errors import WrongUse
from pipelines.intake.run import intake_lock
from pipelines.jobs.days import counted_days
from pipelines.ledger.keeping import Rolled, roll_day
from pipelines.site.folder import OpenSite

# signals learn from 48 hours, traces follow a fault for days, closes compare a month: all of it from minutes
LEAST_DAYS = 60
Progress = Callable[[str], None]


def days_to_roll(opened: OpenSite, before: date) -> list[date]:
    """The closed production days before `before` whose minutes were not rolled yet, oldest first, and those between
    them on which nothing was counted. WrongUse where `before` is too near.
    """
    clock, now = opened.plant.clock, opened.settings.now()
    latest = clock.day_of(now) - timedelta(days=LEAST_DAYS)
    if before > latest:
        raise WrongUse(
            f"minutes are kept for at least {LEAST_DAYS} days: --before {before} must not lie after {latest}"
        )
    with opened.ledger.reading() as reader:
        span = counted_span(reader, list(opened.known.lines))
        if span is None:
            return []
        rolled = set(reader.ask("rolled_days_all")["day"].to_list())
        until = reader.ask("rolled_until").item()
        closed = set(reader.ask("last_closes")["day"].to_list())
        begin: datetime = until if until is not None else span.start
        days = [day for day in clock.days_between(begin, clock.day(before).start) if day < before and day not in rolled]
        done = 0
        for number, day in enumerate(days, start=1):
            if day in closed:
                done = number
            elif counted_days(reader, opened.known, [day]):
                break  # in order, and only what was closed: the days behind an open one wait for it
    return days[:done]


def roll_up(opened: OpenSite, before: date, progress: Progress | None = None) -> list[Rolled]:
    """Roll every day that is due, one transaction a day; stopped at any instant, what is rolled stays so."""
    done = []
    with intake_lock(opened.site, opened.settings):
        for day in days_to_roll(opened, before):
            span = opened.plant.clock.day(day)
            done.append(roll_day(opened.ledger, day, span.start, span.end, opened.settings.now()))
            if progress:
                progress(f"{day}: {done[-1].before:,} rows of minutes, {done[-1].after:,} of hours")
    return done


def roll_up_due(opened: OpenSite) -> list[Rolled]:
    """What `[keep]` in works.toml says is due; nothing where it says nothing."""
    days = opened.plant.keep.minutes_days
    if days is None:
        return []
    return roll_up(opened, opened.plant.clock.day_of(opened.settings.now()) - timedelta(days=days))
