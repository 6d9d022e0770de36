"""A line's hour in a few figures, and which stations still speak."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.measures.pareto.kinds_of_call import faults, rejected_for_none
from pipelines.measures.statistics.shares import ratio, share
from pipelines.plant.works import Plant
from pipelines.words import say

SILENT_AFTER = timedelta(minutes=30)  # behind the others of its line
LATE_AFTER = timedelta(minutes=75)  # behind the clock: an hour's file, and the time to send and take it in


@dataclass(frozen=True)
class Pulse:
    """ware: new containers at the first station; rejected: at the stations that send counts, for a fault; apart:
    rejected for none. calls: of faults. expected: defect calls by the line's own past, with the interval that 95 of 100
    such hours keep; q: probability of so many calls by chance. All None where no past tells. critical: critical calls.
    """

    ware: int
    rejected: int
    calls: int
    critical: int
    expected: float | None
    low: float | None
    high: float | None
    q: float | None
    apart: int = 0

    @property
    def share(self) -> float | None:
        """Rejected over ware; None where more was rejected than counted in."""
        return share(self.rejected, self.ware)

    @property
    def times(self) -> float | None:
        """Calls over expected calls."""
        return ratio(self.calls, self.expected)


def pulse(
    plant: Plant, line: str, seconds: float, calls: pl.DataFrame, ware: pl.DataFrame, expected: pl.DataFrame
) -> Pulse:
    """calls: station, mould, defect, calls; ware: station, mould, inspected, rejected; expected: kind, key, expected,
    variance, doubt, hours.

    The interval takes the count's own Poisson variance, the spread from hour to hour and the doubt of the expectation
    as independent, defects too, and a normal distribution.
    """
    from pipelines.measures.signals.expected import excess_q

    first = plant.first_stations(line)
    apart, calls = rejected_for_none(plant, calls, ware), faults(plant, calls)
    seen = int(calls["calls"].sum())
    here = _of_defects(expected, seconds)
    mean = low = high = q = None
    if here is not None:
        mean = float(here["expected"].sum())
        variance, doubt = float(here["variance"].sum()), float((here["doubt"] ** 2).sum()) ** 0.5
        half = 1.96 * (mean + variance + doubt**2) ** 0.5
        low, high = max(0.0, mean - half), mean + half
        q = float(excess_q(np.array([float(seen)]), *(np.array([x]) for x in (mean, variance, doubt)))[0])
    return Pulse(
        ware=int(ware.filter(pl.col("station").is_in(first))["inspected"].sum()),
        rejected=int(ware["rejected"].sum()) - apart,
        calls=seen,
        critical=int(calls.filter(pl.col("defect").is_in(plant.critical))["calls"].sum()),
        expected=mean,
        low=low,
        high=high,
        q=q,
        apart=apart,
    )


@dataclass(frozen=True)
class CriticalCount:
    """Calls of one critical defect on a line in a time; expected: by the line's own past, None where none tells."""

    defect: str
    calls: int
    expected: float | None


def critical_counts(plant: Plant, calls: pl.DataFrame, expected: pl.DataFrame, seconds: float) -> list[CriticalCount]:
    """Every critical defect of works.toml, called or not. calls, expected: as for `pulse`."""
    seen = dict(calls.group_by("defect").agg(pl.col("calls").sum()).iter_rows())
    here = _of_defects(expected, seconds)
    should = None if here is None else dict(here.select("key", "expected").iter_rows())
    return [
        CriticalCount(code, int(seen.get(code, 0)), None if should is None else should.get(code, 0.0))
        for code in plant.critical
    ]


def _of_defects(expected: pl.DataFrame, seconds: float) -> pl.DataFrame | None:
    """What is expected of each defect; None where the past does not cover the time."""
    here = expected.filter(pl.col("kind") == "defect")
    hours = here["hours"].max() if here.height else 0.0
    return here if isinstance(hours, float) and hours >= 0.95 * seconds / 3600 else None


@dataclass(frozen=True)
class StationLife:
    """One station: the end of its last window, and what that means. state: "alive", "silent" (its line's others go on),
    "late" (the whole line is behind the clock), "never" (nothing was found). sends, heard: what a station without
    counts by window sends instead, and until when; then `last` is None.
    """

    line: str
    station: str
    last: datetime | None
    behind: timedelta | None
    state: str
    sends: str = ""
    heard: datetime | None = None


TOTALS, REJECTS = say("running totals only"), say("rejects only")


def alive(
    stations: Sequence[tuple[str, str]],
    last: Mapping[str, datetime],
    now: datetime,
    otherwise: Mapping[str, Mapping[str, datetime]] = {},
) -> list[StationLife]:
    """The state of each (line, station) by the end of its last window. otherwise: by station without windows, the feeds
    it sends and until when.

    Rejects come only where something is rejected, so that their want says nothing: such a station is never late.
    """
    found = []
    for line, station in stations:
        of_line = max((last[s] for at, s in stations if at == line and s in last), default=None)
        mine = last.get(station)
        if station in otherwise and mine is None:
            found.append(_heard(line, station, otherwise[station], now))
            continue
        if mine is None or of_line is None:
            found.append(StationLife(line, station, None, None, "never"))
            continue
        state = "alive"
        if of_line - mine > SILENT_AFTER:
            state = "silent"
        elif now - mine > LATE_AFTER:
            state = "late"
        found.append(StationLife(line, station, mine, now - mine, state))
    return found


def _heard(line: str, station: str, feeds: Mapping[str, datetime], now: datetime) -> StationLife:
    heard = max(feeds.values())
    if "counter_reads" not in feeds:
        return StationLife(line, station, None, None, "alive", REJECTS, heard)
    state = "late" if now - heard > LATE_AFTER else "alive"
    return StationLife(line, station, None, now - heard, state, TOTALS, heard)
