"""The one way in for what a person types: days, times, spans and numbers, in a command, an address, a form or the
environment.

What comes out needs no further check: days from FIRST to LAST, moments within them, spans no longer than their question
bears, numbers that are finite.
Whatever else was typed is WrongUse with one sentence.

**What a person types** comes in by `typed.py` alone: days of 2000 to 2100, times, spans as long as their question bears
(`LONGEST`), finite numbers; anything else is WrongUse, a sentence and exit 2, 400 on a page. `tests/test_typed.py`
walks over every command and `tests/pages/test_whatever_is_typed.py` over every route with the same rubbish: a new
option or route is tried without being named.
"""

from __future__ import annotations

import math
import re
from datetime import UTC, date, datetime, timedelta
from typing import NoReturn
from zoneinfo import ZoneInfo

from pipelines.clock import BadTime, Span, parse_timestamp
from pipelines.errors import WrongUse
from pipelines.words import say
from schemas.reasons import Reason

FIRST, LAST = date(2000, 1, 1), date(2100, 12, 31)  # days of works that can have data
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_WHOLE, _AMOUNT = re.compile(r"[+-]?[0-9]{1,18}"), re.compile(r"[+-]?[0-9]{1,18}(\.[0-9]{0,18})?")
# The longest span of a question [days]: what its answer can be worked out from in about a minute.
LONGEST = {
    "pareto": 1100,
    "trust": 400,
    "weights": 400,
    "trace": 400,
    "signals": 31,
    "doubts": 31,
    "page": 7,
    "rebuild": 1100,
    "export": 4000,
}


def shown(text: str) -> str:
    """What was typed, as a sentence can hold it: short, no control characters."""
    plain = "".join(c if c.isprintable() else "?" for c in text)
    return plain if len(plain) <= 40 else f"{plain[:37]}..."


def _outside(text: str) -> NoReturn:
    raise WrongUse(
        say(
            "'{shown}' is no time of a works: days run from {first} to {last}",
            shown=shown(text),
            first=FIRST,
            last=LAST,
        )
    )


def day(text: str) -> date:
    """A day written as 2026-03-02."""
    try:
        if not _DAY.fullmatch(text):
            raise ValueError
        this_day = date.fromisoformat(text)
    except ValueError:
        raise WrongUse(say("'{shown}' is not a day such as 2026-03-02", shown=shown(text))) from None
    if not FIRST <= this_day <= LAST:
        _outside(text)
    return this_day


def moment(text: str, zone: ZoneInfo | None = None) -> datetime:
    """A time in UTC, or a day for its first moment; `zone` is used where the text has no offset, and without it there
    must be one.
    """
    try:
        if not text.isascii():
            raise BadTime(Reason.NOT_A_TIME)
        timestamp = parse_timestamp(text if len(text) > 10 else f"{text}T00:00", zone)
    except BadTime as error:
        if error.reason is Reason.NO_OFFSET:
            raise WrongUse(
                say("'{shown}' needs an offset from UTC, such as 2026-03-02T09:00:00+01:00", shown=shown(text))
            ) from None
        raise WrongUse(error.reason.sentence(shown(text), error.expected)) from None
    except OverflowError:
        _outside(text)
    if (
        not FIRST.year <= int(text[:4]) <= LAST.year
        or not FIRST.year <= timestamp.year + (timestamp.month == 12) <= LAST.year + 1
    ):
        _outside(text)
    return timestamp


def within_days(text: str, on: date) -> date:
    """The production day that a typed moment belongs to; WrongUse with what was typed for one that no works has."""
    if not FIRST <= on <= LAST:
        raise WrongUse(
            say(
                "'{shown}' is no time of a works: it belongs to production day {on}, and days run from "
                "{first} to {last}",
                shown=shown(text),
                on=on,
                first=FIRST,
                last=LAST,
            )
        )
    return on


def span(start: str, end: str, zone: ZoneInfo, question: str, names: tuple[str, str] = ("--from", "--to")) -> Span:
    """[start, end) of a question, no longer than LONGEST says; `names` are those of the two in the sentence."""
    this_span = Span(moment(start, zone), moment(end, zone))
    if this_span.start >= this_span.end:
        raise WrongUse(
            say(
                "{first} {start} must lie before {last} {end}",
                first=names[0],
                start=shown(start),
                last=names[1],
                end=shown(end),
            )
        )
    _bounded(this_span.end - this_span.start, question)
    return this_span


def part(
    start: str | None, end: str | None, zone: ZoneInfo, question: str, names: tuple[str, str]
) -> tuple[datetime | None, datetime | None]:
    """The two ends of a span of which one or both may be left out (None)."""
    if start is not None and end is not None:
        both = span(start, end, zone, question, names)
        return both.start, both.end
    return (None if start is None else moment(start, zone)), (None if end is None else moment(end, zone))


def days(first: str, last: str, question: str, names: tuple[str, str] = ("--from", "--to")) -> tuple[date, date]:
    """Two production days, the last included."""
    pair = day(first), day(last)
    if pair[0] > pair[1]:
        raise WrongUse(
            say(
                "{name} {first} must not lie after {other} {last}",
                name=names[0],
                first=first,
                other=names[1],
                last=last,
            )
        )
    _bounded(pair[1] - pair[0] + timedelta(days=1), question)
    return pair


def _bounded(length: timedelta, question: str) -> None:
    if question not in LONGEST:
        raise KeyError(f"LONGEST in pipelines/typed.py does not say how many days the question '{question}' bears")
    most = LONGEST[question]
    if length > timedelta(days=most, hours=1):  # the hour: a clock that was put back
        raise WrongUse(
            say(
                "that is {days} days, and this question bears at most {most}; ask for parts of it",
                days=f"{length / timedelta(days=1):,.0f}",
                most=f"{most:,}",
            )
        )


def whole(text: str, least: int, most: int, name: str) -> int:
    """A whole number from `least` to `most`; `name` stands in the sentence."""
    if _WHOLE.fullmatch(text) and least <= int(text) <= most:
        return int(text)
    raise no_whole(text, least, most, name)


def no_whole(text: str, least: int, most: int, name: str) -> WrongUse:
    """The sentence of what is no such number."""
    return WrongUse(
        say(
            "{name} is a whole number from {least} to {most}, not '{shown}'",
            name=name,
            least=least,
            most=most,
            shown=shown(text),
        )
    )


def amount(text: str, least: float, most: float, name: str) -> float:
    """A number from `least` to `most`, written with a point."""
    if _AMOUNT.fullmatch(text) and math.isfinite(float(text)) and least <= float(text) <= most:
        return float(text)
    raise WrongUse(
        say(
            "{name} is a number from {least} to {most}, not '{shown}'",
            name=name,
            least=f"{least:g}",
            most=f"{most:g}",
            shown=shown(text),
        )
    )


def within(answer: datetime) -> datetime:
    """A moment that a clock reached, kept within the days that a works can have."""
    last = datetime(LAST.year, 12, 31, tzinfo=UTC)
    return min(answer, last)
