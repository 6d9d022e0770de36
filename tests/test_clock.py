"""Production days, shifts, offsets, forming time."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.clock import BadTime, WorksClock, formed_at, parse_timestamp, utc_text
from schemas.reasons import Reason

WARSAW = ZoneInfo("Europe/Warsaw")
CLOCK = WorksClock(WARSAW, time(6), (time(6), time(14), time(22)))

# In the EU clocks go forward on the last Sunday of March at 01:00 UTC and back on the last Sunday of October at
# 01:00 UTC (Directive 2000/84/EC, articles 2 and 3): in 2026 on 29 March and 25 October.
FORWARD, BACK = date(2026, 3, 28), date(2026, 10, 24)


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 2), 24), (FORWARD, 23), (BACK, 25)])
def test_days_have_23_24_or_25_hours(day: date, hours: int) -> None:
    assert CLOCK.day(day).seconds == hours * 3600
    assert len(CLOCK.hours_of(day)) == hours


def test_shifts_fill_the_day_without_a_gap() -> None:
    for day in (date(2026, 3, 2), FORWARD, BACK):
        shifts = CLOCK.shifts_of(day)
        assert [shift.name for shift in shifts] == ["06:00", "14:00", "22:00"]
        assert shifts[0].span.start == CLOCK.day(day).start and shifts[-1].span.end == CLOCK.day(day).end
        assert all(a.span.end == b.span.start for a, b in itertools.pairwise(shifts))
    assert CLOCK.shifts_of(FORWARD)[2].span.seconds == 7 * 3600


@given(st.datetimes(datetime(2020, 1, 1), datetime(2035, 1, 1)).map(lambda moment: moment.replace(tzinfo=UTC)))
def test_every_moment_has_one_day_and_one_hour(moment: datetime) -> None:
    day = CLOCK.day(CLOCK.day_of(moment))
    hour = CLOCK.hour_of(moment)
    assert day.start <= moment < day.end and hour.start <= moment < hour.end
    assert CLOCK.local(day.start).time() == time(6)


def test_hours_are_those_of_the_local_clock_where_the_offset_is_no_whole_hour() -> None:
    kolkata = WorksClock(ZoneInfo("Asia/Kolkata"), time(6), (time(6),))
    hour = kolkata.hour_of(datetime(2026, 3, 2, 4, 0, tzinfo=UTC))
    assert kolkata.local(hour.start).time() == time(9)


@pytest.mark.parametrize(
    ("text", "utc"),
    [  # examples of RFC 3339, section 5.8
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000+00:00"),
    ],
)
def test_rfc_3339_examples(text: str, utc: str) -> None:
    assert parse_timestamp(text).isoformat() == utc


@pytest.mark.parametrize(
    "text",
    [
        "2026-W10-1",
        "20260302T090000Z",
        "2026-03-02",
        "2026-02-30T00:00:00Z",
        "09:00",
        "2026-03-02T24:00:00Z",
        "",
        "0001-01-01T00:00:00+23:00",
    ],
)
def test_what_is_no_time_is_said_so(text: str) -> None:
    with pytest.raises(BadTime) as caught:
        parse_timestamp(text)
    assert caught.value.reason is Reason.NOT_A_TIME


@pytest.mark.parametrize(
    ("text", "reason"),
    [("2026-03-29T02:30:00", Reason.TIME_IN_GAP), ("2026-10-25T02:30:00", Reason.TIME_TWICE)],
)
def test_local_times_in_the_gap_and_the_doubled_hour_are_refused(text: str, reason: Reason) -> None:
    with pytest.raises(BadTime) as caught:
        parse_timestamp(text, WARSAW)
    assert caught.value.reason is reason


def test_a_time_without_offset_needs_a_zone() -> None:
    with pytest.raises(BadTime) as caught:
        parse_timestamp("2026-03-02T09:00:00")
    assert caught.value.reason is Reason.NO_OFFSET
    assert utc_text(parse_timestamp("2026-03-02T09:00:00", WARSAW)) == "2026-03-02T08:00:00Z"


def test_a_day_start_inside_the_gap_begins_after_it() -> None:
    odd = WorksClock(WARSAW, time(2, 30), (time(2, 30),))
    assert CLOCK.local(odd.day(date(2026, 3, 29)).start).time() == time(3, 30)


def test_formed_time_is_before_by_lehr_and_way() -> None:
    seen = datetime(2026, 3, 2, 12, tzinfo=UTC)
    assert seen - formed_at(seen, 95, 2.5) == timedelta(minutes=97.5)
