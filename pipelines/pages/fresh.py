"""How old what is shown is: the newest count and the stations that are late, by the works' clock at the moment of an
answer, whatever the ledger is doing.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from pipelines.answers.now import Heard, heard
from pipelines.errors import ColdledgerError, LedgerBusy
from pipelines.measures.pareto.hour_figures import StationLife
from pipelines.pages.texts import Texts
from pipelines.plant.works import Plant
from pipelines.site.folder import OpenSite

NAMED = 4  # late stations that are named
FIRST_S, AGAIN_S = 5.0, 0.3  # an answer waits so long for what was never read, and for what was written since


@dataclass(frozen=True)
class Fresh:
    """What stands on a live page about its age. newest: of all counts; late: stations silent or late, the longest
    first, never one that was never heard of.
    """

    at: datetime
    newest: datetime | None
    stations: tuple[StationLife, ...]

    @property
    def late(self) -> tuple[StationLife, ...]:
        bad = [station for station in self.stations if station.state in ("late", "silent")]
        return tuple(sorted(bad, key=lambda answer: -behind(answer).total_seconds()))

    @property
    def age(self) -> timedelta | None:
        return max(timedelta(0), self.at - self.newest) if self.newest else None


def behind(station: StationLife) -> timedelta:
    return station.behind or timedelta(0)


def long(age: timedelta, t: Texts) -> str:
    """A length of time for people, in the greatest fitting unit."""
    minutes = int(age.total_seconds() // 60)
    if minutes < 120:
        return t("{n} min", n=minutes)
    if minutes < 48 * 60:
        return t("{h} h {n} min", h=minutes // 60, n=f"{minutes % 60:02d}")
    return t("{n} days", n=minutes // (24 * 60))


def told(fresh: Fresh, plant: Plant, t: Texts) -> dict[str, str]:
    """The strip of a live page: its sentence, and the stations that are late."""
    newest = (
        t("No count was taken in yet.")
        if fresh.newest is None or fresh.age is None
        else t(
            "Newest count {at}, {age} old.",
            at=plant.clock.local(fresh.newest).strftime("%H:%M"),
            age=long(fresh.age, t),
        )
    )
    late = fresh.late
    longest = long(behind(late[0]), t) if late else ""
    said = t("{n} of {of} stations late or silent:", n=len(late), of=len(fresh.stations)) if late else ""
    return {"newest": newest, "late": said, "longest": longest, "names": _names(fresh, t)}


def _names(fresh: Fresh, t: Texts) -> str:
    """Which stations are late by how much: a length once for all that have it, no names where all are late alike."""
    late = fresh.late
    alike = {long(behind(station), t) for station in late}
    if len(alike) == 1 and len(late) == len(fresh.stations):
        return alike.pop().replace(" ", "\u00a0")
    shown = [
        (age, [station.station for station in of])
        for age, of in groupby(late[:NAMED], lambda answer: long(behind(answer), t))
    ]
    names = "; ".join(f"{', '.join(stations)} {age}" for age, stations in shown)
    return names + (t(" and {n} more", n=len(late) - NAMED) if len(late) > NAMED else "")


class Ears:
    """What the ledger last said of its stations, read again when it was written; nobody waits for a commit to be told
    the rest.
    """

    def __init__(self, opened: Callable[[], OpenSite], stamp: Callable[[], tuple[int, ...]], busy: Callable[[], bool]):
        self._opened, self._stamp, self._busy = opened, stamp, busy
        self._lock, self._one = threading.Lock(), ThreadPoolExecutor(1, thread_name_prefix="ears")
        self._told: tuple[tuple[int, ...], Heard] | None = None
        self._reading: Future[None] | None = None
        self.problem = ""
        self.last_batch: int | None = None

    def now(self, plant: Plant, at: datetime) -> Fresh | None:
        """As it stands at `at`; None where nothing is known (no ledger, or one that does not answer: `problem` says
        why).
        """
        stamp, told_ = self._stamp(), self._told
        if told_ is None or told_[0] != stamp:
            patience = FIRST_S if told_ is None else 0.0 if self._busy() else AGAIN_S
            with suppress(TimeoutError):
                self._read(at).result(patience)
        told_ = self._told
        if told_ is None:
            return None
        return Fresh(at, told_[1].newest, tuple(told_[1].stations(plant, at)))

    def _read(self, at: datetime) -> Future[None]:
        with self._lock:
            if self._reading is None or self._reading.done():
                self._reading = self._one.submit(self._listen, at)
            return self._reading

    def _listen(self, at: datetime) -> None:
        opened, stamp = self._opened(), self._stamp()
        if not opened.ledger.exists:
            self.problem, self._told, self.last_batch = "", None, None
            return
        try:
            with opened.ledger.reading() as reader:
                self.last_batch = int(reader.ask("ledger_marks").row(0)[0])
                self._told = (stamp, heard(reader, opened.plant, at))
            self.problem = ""
        except LedgerBusy as error:  # what it said before stands, and grows old in front of everybody
            self.problem = "" if self._told else str(error)
        except ColdledgerError as error:
            self.problem = str(error)

    def close(self) -> None:
        self._one.shutdown(wait=False, cancel_futures=True)
