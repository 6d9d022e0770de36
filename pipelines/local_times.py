"""Local times as people write them: `14.30`, `today 14:30`, `3.3. 14:30`, `3 March 14:30`, beside what `typed.moment`
takes. What can be read in two ways is asked back, never guessed.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta

from pipelines import typed
from pipelines.clock import BadTime, WorksClock, local_to_utc
from pipelines.errors import WrongUse
from pipelines.typed import shown
from pipelines.words import dated, say
from schemas.reasons import Reason

EXAMPLES = say("such as 14:30, yesterday 14:30, 3.3. 14:30")
_TIME = re.compile(r"(?P<h>\d{1,2})(?:(?P<by>[:.h])(?P<m>\d{2})| ?(?:uhr|h))(?::(?P<s>\d{2}))?(?: ?(?:uhr|h))?", re.I)
_DOTTED = re.compile(r"(?P<day>\d{1,2})\. ?(?P<month>\d{1,2})\.? ?(?P<year>\d{4}|\d{2})?")
_SLASHED = re.compile(r"(?P<first>\d{1,2})/(?P<second>\d{1,2})(?:/(?P<year>\d{4}|\d{2}))?")
_NAMED = re.compile(r"(?P<day>\d{1,2})\.? (?P<month>[a-zäöü]{3,9})\.?(?: (?P<year>\d{4}))?")
_WHOLE = re.compile(r"\d{4}-\d\d-\d\d")
_DAYS = {"today": 0, "heute": 0, "yesterday": -1, "gestern": -1}
_MONTHS = ("jan", "feb", "mar mär mae", "apr", "may mai", "jun", "jul", "aug", "sep", "oct okt", "nov", "dec dez")
_OFFSET = re.compile(r"[Zz]|[+-]\d\d:?\d\d")


def is_plain(text: str) -> bool:
    """Whether a text is a time as addresses have it, whatever day it is: with its year, in one order."""
    return bool(re.fullmatch(r"\d{4}-\d\d-\d\d.*", text)) and "  " not in text


def local_moment(text: str, clock: WorksClock, now: datetime) -> datetime:
    """A moment as a person writes it, by the works' clock; WrongUse with what to write instead."""
    if is_plain(text.strip()):
        return _asked_back(text.strip(), clock)
    plain = " ".join(text.lower().replace(",", " ").split())
    if plain in ("now", "jetzt"):
        return now
    on, of_day = _parts(plain, text, clock.local(now).date())
    if on is None:
        at = _of_clock(text, datetime.combine(clock.local(now).date(), of_day), clock)
        if at > now:
            raise WrongUse(
                say(
                    "'{shown}' is still to come today: say the day too, such as yesterday {time}",
                    shown=shown(text),
                    time=f"{of_day:%H:%M}",
                )
            )
        return at
    return typed.moment(f"{_of_clock(text, datetime.combine(on, of_day), clock):%Y-%m-%dT%H:%M:%SZ}")


def _asked_back(text: str, clock: WorksClock) -> datetime:
    """A time with its year; one that the clock showed twice, or never, is asked back with what can be meant."""
    try:
        return typed.moment(text, clock.zone)
    except WrongUse:
        if _OFFSET.search(text[10:]) or len(text) < 16:
            raise
        try:
            naive = datetime.fromisoformat(text)
        except ValueError:
            naive = None
        if naive is None:
            raise
        _of_clock(text, naive, clock)
        raise


def _of_clock(text: str, naive: datetime, clock: WorksClock) -> datetime:
    try:
        return local_to_utc(naive, clock.zone)
    except OverflowError:
        return typed.moment(naive.isoformat(), clock.zone)  # which says so
    except BadTime as error:
        reason = error.reason
    early, late = (naive.replace(tzinfo=clock.zone, fold=fold) for fold in (0, 1))
    if reason is Reason.TIME_TWICE:
        raise WrongUse(
            say(
                "'{shown}' came twice, the clock was put back: write {first} for the first, {second} for the second",
                shown=shown(text),
                first=early.isoformat(timespec="minutes"),
                second=late.isoformat(timespec="minutes"),
            )
        )
    after = early.astimezone(UTC).astimezone(clock.zone)
    raise WrongUse(
        say(
            "'{shown}' was never on the clock, which was put forward over it: {after} came instead",
            shown=shown(text),
            after=f"{after:%Y-%m-%dT%H:%M}",
        )
    )


def _parts(plain: str, text: str, today: date) -> tuple[date | None, time]:
    """The day, None where none was written, and the time of day, midnight where none was written."""
    words = plain.split(" ")
    for cut in range(len(words) + 1):
        ahead, behind = " ".join(words[:cut]), " ".join(words[cut:])
        for day_text, time_text in ((ahead, behind), (behind, ahead)):
            of_day = _time(time_text) if time_text else time(0)
            if of_day is None or (not day_text and not time_text):
                continue
            if not day_text:
                return None, of_day
            on = _day(day_text, text, today)
            if on is not None:
                return on, of_day
    raise WrongUse(say("'{shown}' is not a time such as 14:30, yesterday 14:30 or 2026-03-02 14:30", shown=shown(text)))


def _time(text: str) -> time | None:
    found = _TIME.fullmatch(text)
    try:
        return time(int(found["h"]), int(found["m"] or 0), int(found["s"] or 0)) if found else None
    except ValueError:
        return None


def _day(text: str, whole: str, today: date) -> date | None:
    if text in _DAYS:
        return today + timedelta(days=_DAYS[text])
    if _WHOLE.fullmatch(text):
        return typed.day(text)
    dotted, slashed, named = _DOTTED.fullmatch(text), _SLASHED.fullmatch(text), _NAMED.fullmatch(text)
    if dotted:
        return _dated(dotted["year"], int(dotted["month"]), int(dotted["day"]), today)
    if slashed:
        return _slashed(slashed, whole, today)
    month = _month(named["month"]) if named else 0
    return _dated(named["year"], month, int(named["day"]), today) if named and month else None


def _slashed(found: re.Match[str], whole: str, today: date) -> date | None:
    """A day with strokes: some write the day first, others the month; asked back where both can be."""
    first, second = int(found["first"]), int(found["second"])
    ways = {_dated(found["year"], month, day, today) for day, month in ((first, second), (second, first))} - {None}
    if len(ways) > 1:
        one_way, other = sorted(way for way in ways if way is not None)
        raise WrongUse(
            say(
                "'{shown}' can be {first} or {second}: write {one_way} or {other}",
                shown=shown(whole),
                first=dated(one_way),
                second=dated(other),
                one_way=one_way.isoformat(),
                other=other.isoformat(),
            )
        )
    return ways.pop() if ways else None


def _month(name: str) -> int:
    return next((n for n, months in enumerate(_MONTHS, 1) if name[:3] in months.split()), 0)


def _dated(year: str | None, month: int, day: int, today: date) -> date | None:
    """The day of that year, or the newest such day that is not still to come; None for none."""
    years = [int(year) + (2000 if len(year) == 2 else 0)] if year else range(today.year, today.year - 9, -1)
    for each in years:
        try:
            on = date(each, month, day)
        except ValueError:
            continue
        if year or on <= today:
            return on
    return None
