"""Text into values, one distinct text at a time: a feed has millions of cells and few distinct ones."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pipelines.clock import BadTime, parse_timestamp
from pipelines.plant.works import Plant
from schemas.quantities import Quantity
from schemas.reasons import Reason

_COUNT = re.compile(r"[+-]?\d{1,15}\Z", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d{1,18}(\.\d{1,18})?([eE][+-]?\d{1,2})?\Z", re.ASCII)
_DIGITS = re.compile(r"[+-]?[1-9]\d{15,}(\.\d*)?\Z", re.ASCII)  # more than are read
_DATE = re.compile(r"\d{4}-\d\d-\d\d\Z", re.ASCII)
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
_FREE = ("note", "cause", "reason")  # in a person's own words, over several lines if they like
_YEAR = re.compile(r"(\d{4,9})-\d\d-\d\d", re.ASCII)
_EARLIEST = datetime(1971, 1, 1, tzinfo=UTC)  # a clock that lost its battery says 1970
_UNKNOWN = {
    "line": Reason.UNKNOWN_LINE,
    "furnace": Reason.UNKNOWN_FURNACE,
    "station": Reason.UNKNOWN_STATION,
    "defect": Reason.UNKNOWN_DEFECT,
    "item": Reason.UNKNOWN_ITEM,
    "test": Reason.UNKNOWN_TEST,
    "quantity": Reason.UNKNOWN_QUANTITY,
}
_YEARS_AHEAD = 10  # of a day that is planned


class BadCell(ValueError):
    """A text that is no value of its column."""

    def __init__(self, reason: Reason, expected: str = ""):
        super().__init__(reason.code)
        self.reason, self.expected = reason, expected


@dataclass(frozen=True)
class Reading:
    """What is needed to read cells: the plant, the latest moment believed, the zone of times without offset, and until
    when minutes were rolled into hours.
    """

    plant: Plant
    latest: datetime
    zone: ZoneInfo | None = None
    rolled_until: datetime | None = None


def cast_text(text: str, quantity: Quantity, reading: Reading) -> Any:
    """The value of one text; None for an empty one; BadCell with the reason otherwise."""
    word = text.strip()
    if not word:
        return None
    return _CASTS[quantity.kind](word, quantity, reading)


def _time(word: str, quantity: Quantity, reading: Reading) -> datetime:
    try:
        moment = parse_timestamp(word, reading.zone)
    except OverflowError:
        raise BadCell(Reason.YEAR_OUTSIDE, f"{_EARLIEST.year} to {reading.latest.year}") from None
    except BadTime as error:
        if error.reason is Reason.NOT_A_TIME and _of_another_age(word, reading):
            raise BadCell(Reason.YEAR_OUTSIDE, f"{_EARLIEST.year} to {reading.latest.year}") from None
        raise BadCell(error.reason, error.expected) from None
    if moment > reading.latest:
        raise BadCell(Reason.IN_FUTURE)
    if moment < _EARLIEST:
        raise BadCell(Reason.LONG_AGO)
    return moment


def _of_another_age(word: str, reading: Reading) -> bool:
    """Whether a text begins with a day of a year that is not taken, as default values of clocks and databases do
    (0001-01-01, 9999-12-31).
    """
    found = _YEAR.match(word)
    return found is not None and not _EARLIEST.year <= int(found[1]) <= reading.latest.year


def _date(word: str, quantity: Quantity, reading: Reading) -> date:
    if not _DATE.match(word):
        raise BadCell(Reason.NOT_A_DATE)
    try:
        day = date.fromisoformat(word)
    except ValueError:
        raise BadCell(Reason.NOT_A_DATE) from None
    today = reading.plant.clock.local(reading.latest).date()
    if quantity.planned and day > today + timedelta(days=366 * _YEARS_AHEAD):
        raise BadCell(Reason.FAR_AHEAD, f"{_YEARS_AHEAD} years")
    if not quantity.planned and day > today:
        raise BadCell(Reason.IN_FUTURE)
    if day < _EARLIEST.date():
        raise BadCell(Reason.LONG_AGO)
    return day


def _count(word: str, quantity: Quantity, reading: Reading) -> int:
    if not _COUNT.match(word):
        _check_digits(word, quantity)
        raise BadCell(Reason.NOT_A_COUNT)
    return int(word)


def _check_digits(word: str, quantity: Quantity) -> None:
    """BadCell with the range where a number has more digits than are read: it is above, or below, all that is
    allowed.
    """
    if not _DIGITS.match(word) or quantity.low is None or quantity.high is None:
        return
    if word.startswith("-"):
        raise BadCell(Reason.TOO_LOW, bound_text(quantity.low))
    raise BadCell(Reason.TOO_HIGH, bound_text(quantity.high))


def bound_text(limit: float) -> str:
    """A bound as sentences have it."""
    return f"{limit:g}" if limit < 1e6 else f"{limit:.0f}"


def _number(word: str, quantity: Quantity, reading: Reading) -> float:
    if not _NUMBER.match(word):
        _check_digits(word, quantity)
        raise BadCell(Reason.NOT_A_NUMBER)
    return float(word)


def _code(word: str, quantity: Quantity, reading: Reading) -> str:
    known = reading.plant.codes(quantity)
    if word in known:
        return word
    if not quantity.known_as:
        raise BadCell(Reason.NOT_ONE_OF, ", ".join(known))
    alone = not quantity.choices and " " not in quantity.known_as
    some = ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")
    raise BadCell(_UNKNOWN[quantity.known_as] if alone else Reason.UNKNOWN_PLACE, some or "it has none")


def _text(word: str, quantity: Quantity, reading: Reading) -> str:
    if "\0" in word or (quantity.name not in _FREE and not word.isprintable() and _CONTROL.search(word)):
        raise BadCell(Reason.NOT_ONE_LINE)
    return word


_CASTS: dict[str, Callable[[str, Quantity, Reading], Any]] = {
    "time": _time,
    "date": _date,
    "count": _count,
    "number": _number,
    "code": _code,
    "text": _text,
}
