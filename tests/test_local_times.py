"""Times as people write them are the moment that was meant; what can be read in two ways is asked back."""

from __future__ import annotations

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.clock import WorksClock
from pipelines.errors import WrongUse
from pipelines.local_times import is_plain, local_moment
from tests import rubbish

CLOCK = WorksClock(ZoneInfo("Europe/Warsaw"), time(6), (time(6),))
NOW = datetime(2026, 3, 4, 16, 47, tzinfo=UTC)  # 17:47 by the works' clock


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("14:30", "2026-03-04T14:30"),
        ("14.30", "2026-03-04T14:30"),
        ("14h30", "2026-03-04T14:30"),
        ("9 Uhr", "2026-03-04T09:00"),
        (" 14:30 Uhr ", "2026-03-04T14:30"),
        ("today 14:30", "2026-03-04T14:30"),
        ("heute, 14.30 Uhr", "2026-03-04T14:30"),
        ("yesterday 23:10", "2026-03-03T23:10"),
        ("23:10 yesterday", "2026-03-03T23:10"),
        ("gestern", "2026-03-03T00:00"),
        ("3.3. 14:30", "2026-03-03T14:30"),
        ("3.3 14:30", "2026-03-03T14:30"),
        ("03.03.26 14.30", "2026-03-03T14:30"),
        ("3. 3. 2026 14:30", "2026-03-03T14:30"),
        ("24.12. 8:00", "2025-12-24T08:00"),
        ("03/03/2026 14:30", "2026-03-03T14:30"),
        ("13/02/2026 14:30", "2026-02-13T14:30"),
        ("2/13/2026 14:30", "2026-02-13T14:30"),
        ("3 March 14:30", "2026-03-03T14:30"),
        ("3. März 2026 14:30", "2026-03-03T14:30"),
        ("3 mar 14:30", "2026-03-03T14:30"),
        ("2026-03-03 14:30", "2026-03-03T14:30"),
        ("2026-03-03T14:30", "2026-03-03T14:30"),
        ("2026-03-03T13:30Z", "2026-03-03T14:30"),
        ("2026-03-03", "2026-03-03T00:00"),
        ("now", "2026-03-04T17:47"),
    ],
)
def test_a_time_is_what_was_meant(text: str, meant: str) -> None:
    assert CLOCK.typed(local_moment(text, CLOCK, NOW)) == meant


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("04/03/2026 14:30", "can be 04 Mar or 03 Apr: write 2026-03-04 or 2026-04-03"),
        ("18:10", "is still to come today: say the day too, such as yesterday 18:10"),
        ("2025-10-26T02:30", "write 2025-10-26T02:30+02:00 for the first, 2025-10-26T02:30+01:00 for the second"),
        ("26.10.2025 2:30", "came twice, the clock was put back"),
        ("30.3.2025 2:30", "was never on the clock, which was put forward over it: 2025-03-30T03:30 came instead"),
        ("2025-03-30T02:30", "was never on the clock"),
        ("half past two", "is not a time such as 14:30"),
        ("25:10", "is not a time such as 14:30"),
        ("31.2. 14:30", "is not a time such as 14:30"),
        ("", "is not a time such as 14:30"),
        ("2026-13-01", "is not a time such as"),
        ("1.1.1900 10:00", "is no time of a works"),
        ("99/99/2026", "is not a time such as 14:30"),
    ],
)
def test_what_is_none_or_two_is_asked_back(text: str, says: str) -> None:
    with pytest.raises(WrongUse) as caught:
        local_moment(text, CLOCK, NOW)
    assert says in str(caught.value)


def test_what_the_clock_showed_twice_can_be_said() -> None:
    first, second = (local_moment(f"2025-10-26T02:30+0{n}:00", CLOCK, NOW) for n in (2, 1))
    assert (second - first).total_seconds() == 3600


@given(
    st.one_of(
        st.text(max_size=40), st.from_regex(r"[0-9/.: -]{0,20}", fullmatch=True), st.sampled_from(rubbish.MOMENTS)
    )
)
def test_whatever_is_written_is_a_moment_or_one_sentence(text: str) -> None:
    try:
        answer = local_moment(text, CLOCK, NOW)
    except WrongUse as error:
        assert len(str(error).splitlines()) == 1
    else:
        assert answer.tzinfo is UTC and 1999 <= answer.year <= 2101
        assert is_plain(CLOCK.typed(answer)) and not is_plain("3.3. 14:30")
