"""Every "when": production days and shifts by the works' local clock, storage in UTC, forming time through the lehr."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from pipelines.words.moments import moment_exact
from schemas.reasons import Reason

_RFC3339 = re.compile(r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d)(?::(\d\d)(?:\.(\d{1,9}))?)?([Zz]|[+-]\d\d:?\d\d)?\Z")


@dataclass(frozen=True)
class Span:
    """A stretch of time in UTC, `start` included, `end` not."""

    start: datetime
    end: datetime

    @property
    def seconds(self) -> float:
        return (self.end - self.start).total_seconds()

    def shifted(self, by: timedelta) -> Span:
        return Span(self.start + by, self.end + by)


@dataclass(frozen=True)
class Shift:
    """One shift of a production day."""

    name: str
    span: Span


class BadTime(ValueError):
    """A text that is no moment; `reason` says why."""

    def __init__(self, reason: Reason, expected: str = ""):
        super().__init__(reason.code)
        self.reason, self.expected = reason, expected


def local_to_utc(moment: datetime, zone: ZoneInfo) -> datetime:
    """The UTC moment of a naive local one; BadTime where the clock skips it or shows it twice."""
    early, late = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() == late.utcoffset():
        return early.astimezone(UTC)
    exists = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == moment
    raise BadTime(Reason.TIME_TWICE if exists else Reason.TIME_IN_GAP, zone.key)


def parse_timestamp(text: str, zone: ZoneInfo | None = None) -> datetime:
    """An RFC 3339 text as a UTC moment. `zone` is used where the text has no offset; without it BadTime(NO_OFFSET)."""
    found = _RFC3339.match(text)
    if not found:
        raise BadTime(Reason.NOT_A_TIME)
    digits = (found[7] or "").ljust(6, "0")[:6]
    try:
        year, month, day, hour, minute, second = (int(found[i] or 0) for i in range(1, 7))
        naive = datetime(year, month, day, hour, minute, second, int(digits))
    except ValueError:
        raise BadTime(Reason.NOT_A_TIME) from None
    if found[8] is None:
        if zone is None:
            raise BadTime(Reason.NO_OFFSET)
        return local_to_utc(naive, zone)
    return _with_offset(naive, found[8])


def _with_offset(naive: datetime, offset: str) -> datetime:
    if offset in "Zz":
        return naive.replace(tzinfo=UTC)
    hours, minutes = int(offset[1:3]), int(offset[-2:])
    if hours > 23 or minutes > 59:
        raise BadTime(Reason.NOT_A_TIME)
    behind = timedelta(hours=hours, minutes=minutes) * (-1 if offset[0] == "-" else 1)
    try:
        return (naive - behind).replace(tzinfo=UTC)
    except OverflowError:
        raise BadTime(Reason.NOT_A_TIME) from None


def formed_at(inspected_at: datetime, lehr_minutes: float, after_minutes: float = 0.0) -> datetime:
    """Forming time of ware inspected at `inspected_at`: less the lehr's minutes and the way from the first station."""
    return inspected_at - timedelta(minutes=lehr_minutes + after_minutes)


@dataclass(frozen=True)
class WorksClock:
    """The works' local clock. `day_starts` and `shifts` are local times of day."""

    zone: ZoneInfo
    day_starts: time
    shifts: tuple[time, ...]

    def at(self, day: date, of_day: time) -> datetime:
        """The UTC moment of a local time of day; one the clock skips becomes the moment after the gap, one it
        shows twice the first of the two."""
        naive = datetime.combine(day, of_day)
        return naive.replace(tzinfo=self.zone, fold=0).astimezone(UTC)

    def day(self, day: date) -> Span:
        """The production day: 24 hours, or 23 or 25 when the clock changes in it."""
        return Span(self.at(day, self.day_starts), self.at(day + timedelta(days=1), self.day_starts))

    def day_of(self, moment: datetime) -> date:
        """The production day that holds a moment."""
        local = moment.astimezone(self.zone).date()
        for day in (local + timedelta(days=1), local, local - timedelta(days=1)):
            span = self.day(day)
            if span.start <= moment < span.end:
                return day
        raise AssertionError(f"no production day holds {moment}")  # days join without a gap

    def days_between(self, start: datetime, end: datetime) -> list[date]:
        """The production days that [start, end) touches."""
        if end <= start:
            return []
        first, last = self.day_of(start), self.day_of(end - timedelta(microseconds=1))
        return [first + timedelta(days=n) for n in range((last - first).days + 1)]

    def shifts_of(self, day: date) -> list[Shift]:
        """The shifts of a production day in order; they fill it without a gap."""
        starts = []
        for of_day in self.shifts:
            on = day if of_day >= self.day_starts else day + timedelta(days=1)
            starts.append((of_day, self.at(on, of_day)))
        ends = [start for _, start in starts[1:]] + [self.day(day).end]
        return [Shift(f"{of_day:%H:%M}", Span(start, end)) for (of_day, start), end in zip(starts, ends, strict=True)]

    def hours_of(self, day: date) -> list[Span]:
        """The hours of a production day: 24, or 23 or 25."""
        span, hour = self.day(day), timedelta(hours=1)
        starts = [span.start + n * hour for n in range(int(-(-span.seconds // 3600)))]
        return [Span(start, min(start + hour, span.end)) for start in starts]

    def hour_of(self, moment: datetime) -> Span:
        """The hour of its production day that holds a moment."""
        start = self.day(self.day_of(moment)).start
        hours = (moment - start) // timedelta(hours=1)
        return self.hours_of(self.day_of(moment))[hours]

    def local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.zone)

    def typed(self, moment: datetime) -> str:
        """The local time as an address and a field take it: 2026-03-02T09:00."""
        return self.local(moment).strftime("%Y-%m-%dT%H:%M")

    def show(self, moment: datetime, seconds: bool = False) -> str:
        """A moment for people: local time with its offset; on a page without."""
        return moment_exact(self.local(moment), seconds)


def utc_text(moment: datetime) -> str:
    """A moment for machines: RFC 3339 with Z."""
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
