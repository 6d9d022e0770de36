"""Days with the names of their months; moments, exact for programs and files, plain on a page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from pipelines.words.message import Message, Worded, Write, say

MONTHS = (
    say("Jan"),
    say("Feb"),
    say("Mar"),
    say("Apr"),
    say("May"),
    say("Jun"),
    say("Jul"),
    say("Aug"),
    say("Sep"),
    say("Oct"),
    say("Nov"),
    say("Dec"),
)

WEEKDAYS = (
    say("Monday"),
    say("Tuesday"),
    say("Wednesday"),
    say("Thursday"),
    say("Friday"),
    say("Saturday"),
    say("Sunday"),
)


def day_named(day: date) -> str:
    """A day as a heading has it: Wednesday 4 March 2026."""
    named = (
        say("{day} January", day=day.day),
        say("{day} February", day=day.day),
        say("{day} March", day=day.day),
        say("{day} April", day=day.day),
        say("{day} May", day=day.day),
        say("{day} June", day=day.day),
        say("{day} July", day=day.day),
        say("{day} August", day=day.day),
        say("{day} September", day=day.day),
        say("{day} October", day=day.day),
        say("{day} November", day=day.day),
        say("{day} December", day=day.day),
    )
    return say("{weekday} {day} {year}", weekday=WEEKDAYS[day.weekday()], day=named[day.month - 1], year=f"{day:%Y}")


def dated(day: date) -> str:
    """A day without its year: 08 Mar."""
    return say("{day} {month}", day=f"{day:%d}", month=MONTHS[day.month - 1])


def moment_dated(local: datetime) -> str:
    """A local time with its day: 08 Mar 11:20."""
    return say("{day} {time}", day=dated(local), time=f"{local:%H:%M}")


def span_dated(start: datetime, end: datetime) -> str:
    """From one local time to another, with their day and year said once where they are the same. A time that the clock
    shows twice has its offset.
    """
    first = say("{day} {year}, {time}", day=dated(start), year=start.year, time=_time(start))
    if start.date() == end.date():
        return say("{start} to {end}", start=first, end=_time(end))
    return say("{start} to {end}", start=first, end=say("{day} {time}", day=dated(end), time=_time(end)))


def _time(local: datetime) -> str:
    return f"{local:%H:%M%z}" if _is_twice(local) else f"{local:%H:%M}"


def _is_twice(local: datetime) -> bool:
    return local.utcoffset() != local.replace(fold=1 - local.fold).utcoffset()


class Moment(Worded):
    """A local time with its offset, 2026-03-04 10:20+01:00, as programs, files and the terminal have it; on a page
    04 Mar 2026 10:20. twice: the clock shows it twice, and the page keeps its offset.
    """

    __slots__ = ("twice",)
    twice: bool

    def __new__(cls, text: str, twice: bool = False) -> Moment:
        moment = super().__new__(cls, text)
        moment.twice = twice
        return moment

    def written(self, patterns: Callable[[Message], str], write: Write) -> str:
        local = datetime.fromisoformat(self)
        time = self[11:-6] + (self[-6:] if self.twice else "")
        return write(say("{day} {year} {time}", day=dated(local), year=local.year, time=time))

    def __reduce__(self) -> tuple[Any, ...]:
        return Moment, (str(self), self.twice)

    def __deepcopy__(self, _memo: object) -> Moment:
        return self


def moment_exact(local: datetime, seconds: bool = False) -> str:
    """A local time with its offset, short on a page."""
    return Moment(local.isoformat(sep=" ", timespec="seconds" if seconds else "minutes"), _is_twice(local))
