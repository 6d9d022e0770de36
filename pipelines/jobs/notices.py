"""What is worth a mail or a call to another program: critical defects, signals over a set loss, silent stations.
Sending is elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from pipelines.answers.now import LineNow, Now
from pipelines.clock import utc_text
from pipelines.measures.signals.closing import PASSED_MIN
from pipelines.plant.works import Plant
from schemas.answers.signals import Signal

FRESH = timedelta(hours=6)  # what is older was news once and is none now
YOUNG = timedelta(minutes=PASSED_MIN)  # a signal whose place is a guess is told of only when it has lasted this long


@dataclass(frozen=True)
class Notice:
    """One thing to tell. key: the same thing has the same key, whenever it is looked at."""

    key: str
    title: str
    text: str


def notices_of(plant: Plant, works_now: Now) -> list[Notice]:
    """Everything that asks for a notice as the works stands now, under the works' own limits."""
    if works_now.newest is None or works_now.at - works_now.newest > FRESH:
        return list(_silent_works(plant, works_now))
    return [*(n for line in works_now.lines for n in _of_line(plant, line)), *_silent(plant, works_now)]


def _of_line(plant: Plant, line: LineNow) -> Iterator[Notice]:
    limits = plant.notices
    if limits.critical:
        for call in line.critical_calls:
            yield _critical(plant, line, call)
    for signal in line.open_signals:
        if _may_pass(line, signal):
            continue
        over = limits.loss_per_hour is not None and signal.lost_per_hour >= limits.loss_per_hour
        if over or (limits.critical and signal.severity == "critical"):
            since = plant.clock.show(signal.onset)
            text = (
                f"{signal.calls} calls in {signal.ware:.0f} containers since {since}; about "
                f"{signal.lost_per_hour:.0f} lost an hour. Look first: {signal.look_first}. "
                f"It has the name {signal.id}."
            )
            yield Notice(
                f"signal {signal.id}",
                f"{line.line}: {signal.defect} {signal.name} ({signal.severity}), {signal.scope} "
                f"{', '.join(signal.members)}",
                text,
            )


def _may_pass(line: LineNow, signal: Signal) -> bool:
    """Whether a signal is so young, its place a guess, that it may be over before anybody reads of it."""
    assert line.span is not None
    return signal.is_guess and signal.severity != "critical" and line.span.end - signal.raised < YOUNG


def _critical(plant: Plant, line: LineNow, call: Signal) -> Notice:
    """Once a shift for each line and critical defect: the calls go on, the shift knows."""
    assert line.span is not None
    clock = plant.clock
    day = clock.day_of(line.span.start)
    shift = next(s for s in clock.shifts_of(day) if s.span.start <= line.span.start < s.span.end)
    text = (
        f"{call.calls} calls in the hour from {clock.show(clock.hour_of(line.span.start).start)}; moulds read: "
        f"{', '.join(call.moulds) or 'none'}. Further calls of this shift are on the "
        "line's page. What to stop, hold or sort is decided by the works' authorised people."
    )
    return Notice(
        f"critical {line.line} {call.defect} {utc_text(shift.span.start)}",
        f"{line.line}: critical defect {call.defect} {call.name}",
        text,
    )


def _silent(plant: Plant, works_now: Now) -> Iterator[Notice]:
    after = plant.notices.silent_minutes
    if after is None:
        return
    for line in works_now.lines:
        for station in line.stations:
            others = max((s.last for s in line.stations if s.last is not None), default=None)
            if station.last is None or others is None or station.state == "alive":
                continue
            if others - station.last >= timedelta(minutes=after) or works_now.at - station.last >= timedelta(
                minutes=after + 60
            ):
                text = (
                    f"Its last count is of {plant.clock.show(station.last)}. What it alone can call is not judged "
                    "since; look at the station and its export."
                )
                yield Notice(
                    f"silent {station.station} {utc_text(station.last)}",
                    f"{station.line}: no counts from {station.station}",
                    text,
                )


def _silent_works(plant: Plant, works_now: Now) -> Iterator[Notice]:
    if works_now.newest is not None and plant.notices.silent_minutes is not None:
        text = (
            f"The newest count is of {plant.clock.show(works_now.newest)}. Look at the network, the stations' exports "
            "and the inbox."
        )
        yield Notice(f"silent works {utc_text(works_now.newest)}", "no station sends counts", text)


def failed_run(plant: Plant, flow: str, day: str, why: str, at: datetime) -> Notice:
    """A close that failed: once for a day and a reason."""
    return Notice(
        f"failed {flow} {day} {why[:120]}",
        f"{flow} of production day {day} failed",
        f"{plant.clock.show(at)}: {why}. It is tried again by itself; nothing received was lost.",
    )
