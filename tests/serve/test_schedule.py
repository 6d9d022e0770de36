"""When what is due: every hour at the set minute by the works' clock, closes at their time, once each, whatever was
missed.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.jobs.due import RETRIES, PastRuns, close_due, close_time, intake_due, next_intake, upcoming
from pipelines.plant.works import Plant, read_plant
from tests.conftest import WORKS

HOUR = timedelta(hours=1)
MINUTE = timedelta(minutes=1)


def works(more: str = "", zone: str = "Europe/Warsaw") -> Plant:
    return read_plant(WORKS.replace("Europe/Warsaw", zone) + f"\n[schedule]\n{more}\n")


@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 30)),
    st.integers(0, 59),
    st.sampled_from(["Europe/Warsaw", "Asia/Kolkata", "Australia/Lord_Howe", "UTC"]),
)
def test_the_next_intake_is_at_the_minute_and_never_more_than_an_hour_off(
    naive: datetime, minute: int, zone: str
) -> None:
    """Lord Howe's clock changes by half an hour: an hour can then have its minute half an hour sooner or later."""
    plant, after = works(f"intake_minute = {minute}", zone), naive.replace(tzinfo=UTC)
    at = next_intake(plant, after)
    assert after < at <= after + HOUR
    change = plant.clock.local(at).utcoffset() != plant.clock.local(after).utcoffset()
    assert change or plant.clock.local(at).minute == minute


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", "2026-03-11T07:00:00+00:00"),
        ('close_at = "06:40"', "2026-03-11T05:40:00+00:00"),
        ('close_at = "02:00"', "2026-03-12T01:00:00+00:00"),
        ("close_latest_minutes = 30.0", "2026-03-11T05:30:00+00:00"),
    ],
)
def test_a_day_is_closed_at_the_set_time_after_its_end_or_at_the_latest_so_long_after(more: str, expected: str) -> None:
    assert close_time(works(more), date(2026, 3, 10)) == datetime.fromisoformat(expected)


def test_the_clock_change_moves_no_close_off_its_local_time() -> None:
    plant = works('close_at = "06:40"')
    for day in (
        date(2026, 3, 28),
        date(2026, 3, 29),
        date(2026, 10, 24),
        date(2026, 10, 25),
    ):  # the clock changes on 29 March and 25 October
        assert f"{plant.clock.local(close_time(plant, day)):%H:%M}" == "06:40"


def run_for(
    plant: Plant, start: datetime, end: datetime, off: tuple[datetime, datetime] | None = None, files: bool = False
) -> list[tuple[str, datetime]]:
    """What a scheduler that looks every minute begins; days are unclosed once they are over, until a close begins."""
    past, done, ran = PastRuns({}, {}), start, []
    closed = plant.clock.day_of(start) - timedelta(days=1)
    now = start
    while now < end:
        if off is not None and off[0] <= now < off[1]:
            now, past = (
                off[1],
                PastRuns({k: v for k, v in past.begun.items() if k == "close"}, {}),
            )  # as after a restart
        if intake_due(plant, past, now, files):
            past.begun["intake"] = now
            ran.append(("intake", now))
        today = plant.clock.day_of(now)
        unclosed = [closed + timedelta(days=n) for n in range(1, (today - closed).days)]
        if close_due(plant, past, now, unclosed, {}):
            past.begun["close"], closed = now, today - timedelta(days=1)
            ran.append(("close", now))
        now += MINUTE
    assert done == start
    return ran


def test_a_week_has_an_intake_an_hour_and_a_close_a_day() -> None:
    plant = works('close_at = "06:40"')
    start = datetime(2026, 3, 10, 12, tzinfo=UTC)
    ran = run_for(plant, start, start + timedelta(days=7))
    intakes = [at for flow, at in ran if flow == "intake"]
    assert len(intakes) == 1 + 7 * 24, "one at the start, then one an hour"
    assert [f"{plant.clock.local(at):%d %H:%M}" for flow, at in ran if flow == "close"] == [
        f"{day} 06:40" for day in range(11, 18)
    ]


def test_after_six_hours_off_there_is_one_intake_and_one_close_at_once() -> None:
    plant = works('close_at = "06:40"')
    start, back = datetime(2026, 3, 10, 12, tzinfo=UTC), datetime(2026, 3, 11, 10, 30, tzinfo=UTC)
    ran = run_for(plant, start, back + timedelta(minutes=30), (datetime(2026, 3, 11, 4, 30, tzinfo=UTC), back))
    after = [(flow, at) for flow, at in ran if at >= back]
    assert after == [("intake", back), ("close", back)], "what was missed is taken up once, the intake first"


def test_a_close_that_was_begun_today_is_not_begun_again_and_one_that_failed_is_tried_with_pauses() -> None:
    plant, day = works('close_at = "06:40"'), date(2026, 3, 10)
    at = close_time(plant, day)
    assert close_due(plant, PastRuns({}, {}), at, [day], {}) and not close_due(
        plant, PastRuns({}, {}), at - MINUTE, [day], {}
    )
    assert not close_due(plant, PastRuns({"close": at}, {}), at + HOUR, [day], {}), (
        "a late feed waits for the next close"
    )
    past = PastRuns({"close": at}, {"close": 1})
    begun = []
    now = at
    while now < at + timedelta(hours=4):
        now += MINUTE
        if close_due(plant, past, now, [day], {}):
            begun.append(now - past.begun["close"])
            past.begun["close"], past.failed["close"] = now, past.failed["close"] + 1
    assert begun[:3] == list(RETRIES) and all(pause == RETRIES[-1] for pause in begun[3:]) and len(begun) >= 4


def test_without_a_set_time_a_day_is_closed_when_its_last_feed_has_come() -> None:
    plant, day = works(), date(2026, 3, 10)
    end = plant.clock.day(day).end
    now = end + timedelta(minutes=20)
    assert not close_due(plant, PastRuns({}, {}), now, [day], {day: ["pallets"]})
    assert "last feed" in close_due(plant, PastRuns({}, {}), now, [day], {day: []})
    assert "time has come" in close_due(plant, PastRuns({}, {}), end + timedelta(hours=2), [day], {day: ["pallets"]})


def test_a_new_file_is_taken_in_at_once_where_the_works_wants_it() -> None:
    now = datetime(2026, 3, 10, 12, 20, tzinfo=UTC)
    past = PastRuns({"intake": now - timedelta(minutes=10)}, {})
    assert intake_due(works(), past, now, files=True) == "a new file"
    assert (
        intake_due(works("on_new_file = false"), past, now, files=True)
        == ""
        == intake_due(works(), past, now, files=False)
    )


def test_upcoming_lists_what_the_scheduler_would_begin() -> None:
    plant, now = works('close_at = "06:40"'), datetime(2026, 3, 10, 12, 20, tzinfo=UTC)
    checks = upcoming(plant, now, 5)
    assert [due.at for due in checks if due.flow == "intake" and due.at] == [
        at for flow, at in run_for(plant, now, now + 6 * HOUR) if flow == "intake"
    ][1:6]
    assert [due.at for due in checks if due.flow == "close"] == [close_time(plant, date(2026, 3, 10))]
