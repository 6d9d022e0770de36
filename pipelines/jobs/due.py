"""When what is due. Pure: the clock, the plant file and what ran decide; a schedule is only a wake-up call, and what a
flow does depends on what it finds.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipelines.plant.works import Plant
from pipelines.words import say

HOUR = timedelta(hours=1)
BETWEEN = timedelta(minutes=1)  # from one intake that a new file called to the next, where stations send without end
RETRIES = (timedelta(minutes=5), timedelta(minutes=15), timedelta(hours=1))  # after a run that failed, then every hour


@dataclass(frozen=True)
class Due:
    """One wake-up. at: None for what happens when something comes."""

    flow: str
    at: datetime | None
    why: str


def next_intake(plant: Plant, after: datetime) -> datetime:
    """The next moment whose minute, by the works' clock, is the one set; hours that a change of the clock skips or
    doubles have theirs too.
    """
    minute = plant.schedule.intake_minute
    local = plant.clock.local(after)
    behind = timedelta(minutes=local.minute - minute, seconds=local.second, microseconds=local.microsecond)
    at = after - behind
    return at if at > after else at + HOUR


def close_time(plant: Plant, day: date) -> datetime:
    """When a production day is closed by the clock: at the set time after its end, or at the latest so long after
    it.
    """
    clock, end = plant.clock, plant.clock.day(day).end
    at = plant.schedule.close_at
    if at is None:
        return end + timedelta(minutes=plant.schedule.close_latest_minutes)
    on = day + timedelta(days=1)
    moment = clock.at(on, at)
    return moment if moment >= end else clock.at(on + timedelta(days=1), at)


def upcoming(plant: Plant, now: datetime, most: int = 4, closed: Collection[date] = ()) -> list[Due]:
    """What will run when, the soonest first. closed: production days that are closed already."""
    checks = []
    at = now
    for _ in range(most):
        at = next_intake(plant, at)
        checks.append(
            Due("intake", at, say("every hour at minute {intake_minute}", intake_minute=plant.schedule.intake_minute))
        )
    if plant.schedule.on_new_file:
        checks.append(Due("intake", None, say("whenever a whole file lies in inbox/")))
    today = plant.clock.day_of(now)
    for day in (today - timedelta(days=1), today):
        moment = close_time(plant, day)
        if moment > now and day not in closed:
            why = say("production day {day}", day=day) + (
                "" if plant.schedule.close_at else say(", at the latest; sooner when its last feed has come")
            )
            checks.append(Due("close", moment, why))
    return sorted(checks, key=lambda answer: (answer.at is None, answer.at or now))


@dataclass
class PastRuns:
    """What a scheduler remembers of the runs: when each flow began last, and how often it has failed since it last went
    well.
    """

    begun: dict[str, datetime]
    failed: dict[str, int]

    def wait(self, flow: str) -> timedelta:
        """How long after its last beginning a flow that failed is tried again."""
        tries = self.failed.get(flow, 0)
        return RETRIES[min(tries, len(RETRIES)) - 1] if tries else timedelta(0)

    def may(self, flow: str, now: datetime) -> bool:
        return flow not in self.begun or now - self.begun[flow] >= self.wait(flow)


def intake_due(plant: Plant, past: PastRuns, now: datetime, files: bool) -> str:
    """Why an intake is due now; empty where none is. files: whether whole files lie in the inbox and have been left
    alone for a while.
    """
    if not past.may("intake", now):
        return ""
    if "intake" not in past.begun:
        return "start"
    if past.failed.get("intake"):
        return say("the one before failed")
    if next_intake(plant, past.begun["intake"]) <= now:
        return say("minute {intake_minute} of the hour", intake_minute=plant.schedule.intake_minute)
    rested = now - past.begun["intake"] >= BETWEEN
    return say("a new file") if files and rested and plant.schedule.on_new_file else ""


def close_due(
    plant: Plant, past: PastRuns, now: datetime, unclosed: Sequence[date], missing: Mapping[date, Sequence[str]]
) -> str:
    """Why a close is due now; empty where none is. unclosed: days over and not closed since their last feed; missing:
    what of the newest of them has not come.

    A day that was closed before and was touched since waits for the next close of a newer day or for its own time on
    the day after.
    """
    if not unclosed or not past.may("close", now):
        return ""
    for day in unclosed:
        if close_time(plant, day) <= now and (
            "close" not in past.begun or past.begun["close"] < _last_close_time(plant, now) or past.failed.get("close")
        ):
            return say("production day {day}: its time has come", day=day)
        if plant.schedule.close_at is None and day in missing and not missing[day]:
            return say("production day {day}: its last feed has come", day=day)
    return ""


def _last_close_time(plant: Plant, now: datetime) -> datetime:
    """The newest moment, up to now, at which some production day was due to be closed."""
    day = plant.clock.day_of(now)
    while close_time(plant, day) > now:
        day -= timedelta(days=1)
    return close_time(plant, day)
