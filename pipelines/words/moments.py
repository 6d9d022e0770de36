"""Days with the names of their months."""

from __future__ import annotations

from datetime import date, datetime

from pipelines.words.message import say

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


def dated(day: date) -> str:
    """A day without its year: 08 Mar."""
    return say("{day} {month}", day=f"{day:%d}", month=MONTHS[day.month - 1])


def moment_dated(local: datetime) -> str:
    """A local time with its day: 08 Mar 11:20."""
    return say("{day} {time}", day=dated(local), time=f"{local:%H:%M}")
