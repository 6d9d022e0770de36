"""Clocks and counts that cannot be right: a clock that is off, a station that stands still, more ware behind than
before, moulds that are not fitted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from pipelines.words import joined, say

MINUTE = timedelta(minutes=1)
FARTHEST_MINUTES = 150  # a clock that was not put forward or back is 60 off; two such 120
SURE = 5.0  # standard deviations of Fisher's z between the best shift and any other
LEAST_ALIKE = 0.3  # correlation
SMALLEST_MINUTES = 4  # less is within the windows' own length and what the way between stations varies
STILL_MINUTES, FROZEN_WINDOWS = 30, 20


@dataclass(frozen=True)
class StationFault:
    """One thing that cannot be right. kind: "clock", "ahead of arrival", "stands still", "frozen", "order", "mould not
    fitted".

    minutes: a clock's error, later than the true time positive.  certain: nothing else explains it; else it is a guess.
    size: containers, windows or minutes, as the sentence says.
    """

    line: str
    station: str
    kind: str
    since: datetime
    until: datetime
    certain: bool
    sentence: str
    minutes: float | None = None
    size: float | None = None
    key: str = ""


@dataclass(frozen=True)
class ClockShift:
    """By how much one series runs behind another [minutes], the correlations there and at nought, and how far the best
    stands above all others [sd].
    """

    minutes: int
    best: float
    at_nought: float
    sure: float


def minute_grid(windows: pl.DataFrame, start: datetime, end: datetime) -> dict[str, np.ndarray]:
    """Containers inspected by station and minute; NaN where no window tells. windows: station, window_start, window_s,
    inspected. A window is spread over its minutes.
    """
    size = int((end - start) / MINUTE)
    row: dict[str, np.ndarray] = {}
    for (station,), part in windows.partition_by("station", as_dict=True).items():
        values = np.full(size, np.nan)
        at = ((part["window_start"] - start).dt.total_seconds() // 60).to_numpy()
        span = np.maximum(1, (part["window_s"].to_numpy() + 30) // 60)
        for first, minutes, seen in zip(at, span, part["inspected"].to_numpy(), strict=True):
            values[max(0, first) : first + minutes] = seen / minutes
        row[str(station)] = values
    return row


def shift_between(mine: np.ndarray, others: np.ndarray, farthest: int = FARTHEST_MINUTES) -> ClockShift | None:
    """How many minutes `mine` runs behind `others`, by the correlation of the two series over all shifts; None where
    too little varies or is known.

    Fisher's z = atanh(r) has the variance 1 / (n - 3) for n independent pairs (Fisher, Metron 1 (1921) 3); series that
    go slowly up and down have fewer, n (1 - ab) / (1 + ab) of autocorrelations a and b at one minute (Bartlett, J. R.
    Stat. Soc. 98 (1935) 536).
    """
    size = len(mine)
    both = int(np.sum(~np.isnan(mine) & ~np.isnan(others)))
    if both < 4 * 60 or np.nanstd(mine) < 1e-9 or np.nanstd(others) < 1e-9:
        return None
    shifts = np.arange(-farthest, farthest + 1)
    values = np.array([_correlation(mine, others, shift) for shift in shifts.tolist()])
    if np.isnan(values).all():
        return None
    best = int(np.nanargmax(values))
    rival = np.nanmax(np.where(np.abs(shifts - shifts[best]) > 3, values, np.nan))
    slow = _autocorrelation(mine) * _autocorrelation(others)
    pairs = max(4.0, (size - abs(shifts[best])) * (1 - slow) / (1 + slow))
    sure = (np.arctanh(min(values[best], 0.999999)) - np.arctanh(min(rival, 0.999999))) * np.sqrt((pairs - 3) / 2)
    return ClockShift(int(shifts[best]), float(values[best]), float(values[farthest]), float(sure))


def _correlation(mine: np.ndarray, others: np.ndarray, shift: int) -> float:
    a, b = (mine[shift:], others[: len(others) - shift]) if shift >= 0 else (mine[:shift], others[-shift:])
    known = ~np.isnan(a) & ~np.isnan(b)
    if known.sum() < 120:
        return float("nan")
    x, y = a[known] - a[known].mean(), b[known] - b[known].mean()
    scale = float(np.sqrt((x @ x) * (y @ y)))
    return float(x @ y / scale) if scale > 0 else float("nan")


def _autocorrelation(values: np.ndarray) -> float:
    value = _correlation(values, values, 1)
    return 0.0 if np.isnan(value) else min(max(value, 0.0), 0.99)


def composite(series: Sequence[np.ndarray]) -> np.ndarray:
    """What several stations agree on: the median of their counts, each over its own mean. NaN where none tells."""
    scaled = [each / mean for each in series if (mean := np.nanmean(each)) > 0]
    if not scaled:
        return np.full(len(series[0]) if series else 0, np.nan)
    stacked = np.vstack(scaled)
    values = np.full(stacked.shape[1], np.nan)
    known = ~np.isnan(stacked).all(axis=0)
    values[known] = np.nanmedian(stacked[:, known], axis=0)
    return values


def clocks_off(
    line: str,
    grid: Mapping[str, np.ndarray],
    after: Mapping[str, float],
    lanes: Sequence[Sequence[str]],
    start: datetime,
    end: datetime,
) -> list[StationFault]:
    """Stations whose counts come earlier or later than those of all others of their line, by their way from the first
    station.

    grid: containers by minute and station.  after: minutes from the first station.  lanes: stations side by side, which
    share the ware: each is looked at against what the stations of the whole ware leave for it.  With two stations
    nothing tells which of them is off: both are named, as a guess.
    """
    flat = {
        s: np.roll(values, -round(after.get(s, 0.0))) for s, values in grid.items() if np.isfinite(values).sum() > 240
    }
    faults, pending = [], dict(flat)
    for _ in range(len(flat)):  # the worst first: it would pull at what the others agree on
        found = {s: _off(s, pending, lanes) for s in pending}
        off = {s: clock_shift for s, clock_shift in found.items() if clock_shift is not None}
        if not off:
            break
        worst = max(off, key=lambda s: (off[s].sure, s))
        faults.append(_clock_fault(line, worst, off[worst], len(pending) > 2, start, end))
        pending.pop(worst)
        if len(pending) < 2:
            break
    return faults


def _off(station: str, series: Mapping[str, np.ndarray], lanes: Sequence[Sequence[str]]) -> ClockShift | None:
    others = _without(station, series, lanes)
    shift = shift_between(series[station], others) if others is not None else None
    if shift is None or abs(shift.minutes) < SMALLEST_MINUTES or shift.sure < SURE or shift.best < LEAST_ALIKE:
        return None
    return shift


def _without(station: str, series: Mapping[str, np.ndarray], lanes: Sequence[Sequence[str]]) -> np.ndarray | None:
    """What the other stations let expect of a station's counts, up to a factor; None where there is no other."""
    beside = next((set(group) - {station} for group in lanes if station in group and len(group) > 1), set())
    whole = [values for name, values in series.items() if name != station and name not in beside]
    if beside and whole and beside <= series.keys():
        share: np.ndarray = np.nanmean(np.vstack(whole), axis=0) - sum(series[name] for name in beside)
        return share
    others = [values for name, values in series.items() if name != station]
    return composite(others) if others else None


def _clock_fault(
    line: str, station: str, shift: ClockShift, several: bool, start: datetime, end: datetime
) -> StationFault:
    way = say("ahead of") if shift.minutes > 0 else say("behind")
    who = (
        say("all other stations of its line")
        if several
        else say("the only other station of its line, or that one is off")
    )
    text = say(
        "the clock of {station} runs {minutes} min {way} {who}: its counts follow theirs with a "
        "correlation of {best} at that shift, {at_nought} as they stand",
        station=station,
        minutes=abs(shift.minutes),
        way=way,
        who=who,
        best=f"{shift.best:.2f}",
        at_nought=f"{shift.at_nought:.2f}",
    )
    return StationFault(line, station, "clock", start, end, several, text, float(shift.minutes))


def standing_still(
    line: str, grid: Mapping[str, np.ndarray], start: datetime, frozen_after: int = FROZEN_WINDOWS
) -> list[StationFault]:
    """Stations that count nothing, or the same again and again, while the others of their line count ware that
    varies.
    """
    faults = []
    for station, mine in grid.items():
        others = [values for name, values in grid.items() if name != station]
        if not others:
            continue
        ware = composite(others)
        faults += [
            _still(
                line,
                station,
                "stands still",
                run,
                start,
                say(
                    "{station} counted nothing for {run} min while its line's other stations counted ware",
                    station=station,
                    run=run[1] - run[0],
                ),
            )
            for run in _runs((mine == 0) & (ware > 0.2), STILL_MINUTES)
        ]
        same = np.concatenate(([False], (np.diff(mine) == 0) & (mine[1:] > 0)))
        faults += [
            _still(
                line,
                station,
                "frozen",
                run,
                start,
                say(
                    "{station} sent the same count, {n} a minute, for {run} min while its line's other stations varied",
                    station=station,
                    n=f"{mine[run[0]]:g}",
                    run=run[1] - run[0] + 1,
                ),
            )
            for run in _runs(same, frozen_after - 1)
            if len(np.unique(np.round(ware[run[0] : run[1]], 3))) > 4
        ]
    return faults


def _still(line: str, station: str, kind: str, run: tuple[int, int], start: datetime, text: str) -> StationFault:
    since, until = start + run[0] * MINUTE, start + run[1] * MINUTE
    return StationFault(line, station, kind, since, until, kind == "stands still", text, size=float(run[1] - run[0]))


def _runs(true: np.ndarray, least: int) -> list[tuple[int, int]]:
    """First and last + 1 of every run of at least `least`."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], true, [False])).astype(int)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def out_of_order(
    line: str,
    steps: Sequence[tuple[int, Sequence[str]]],
    counts: Mapping[str, tuple[int, int, float]],
    relative: float,
    start: datetime,
    end: datetime,
) -> list[StationFault]:
    """Steps of a line at which more ware was inspected than the step before let pass.

    steps: order and stations (lanes) of each.  counts: station -> inspected, rejected, share of the window that its
    counts cover.  relative: standard uncertainty of a station's total.  The bound is three standard uncertainties of
    the difference and two minutes of ware, which the way between them shifts over the edges.
    """
    faults = []
    minutes = max(1.0, (end - start) / MINUTE)
    for (_, before), (_, behind) in pairwise(steps):
        known = [counts.get(s) for s in (*before, *behind)]
        if any(found is None or found[2] < 0.98 for found in known):
            continue
        passed = sum(counts[s][0] - counts[s][1] for s in before)
        seen = sum(counts[s][0] for s in behind)
        room = 3 * relative * np.hypot(passed, seen) + 2 * passed / minutes
        if seen - passed <= room:
            continue
        text = say(
            "{behind} inspected {seen} containers, {passed} more than {before} before let pass "
            "({before_count}); {room} would be within the meters' uncertainty: one of them miscounts, or ware"
            " came in between, such as ware put on again",
            behind=joined(say(" and "), behind),
            seen=f"{seen:,}",
            passed=f"{seen - passed:,}",
            before=joined(say(" and "), before),
            before_count=f"{passed:,}",
            room=f"{room:,.0f}",
        )
        faults.append(StationFault(line, behind[0], "order", start, end, True, text, size=float(seen - passed)))
    return faults


def not_fitted(
    line: str,
    ware: pl.DataFrame,
    like: Mapping[str, Sequence[str]],
    places_filled: bool,
    start: datetime,
    end: datetime,
) -> list[StationFault]:
    """Mould numbers that were read and, by the mould log, stood nowhere on the line when the ware was formed.

    ware: station, mould, section, inspected (section null where the number had no place).  like: numbers that were
    fitted and look like it.  places_filled:
    whether the log fills every place of the machine: then such a number is a misreading for certain; else the log may
    lack a fitting.
    """
    lost = ware.filter(pl.col("section").is_null() & pl.col("mould").is_not_null())
    faults = []
    for (mould,), part in lost.partition_by("mould", as_dict=True).items():
        count = int(part["inspected"].sum())
        stations = sorted(part["station"].unique().to_list())
        near = like.get(str(mould), ())
        guess = say("; perhaps {near} (a guess by its characters)", near=joined(say(" or "), near[:3])) if near else ""
        why = (
            say("every place of the machine is filled by the log, so it was misread")
            if places_filled
            else say("a place of the machine is empty by the log, which may lack a fitting")
        )
        text = say(
            "mould {mould} was read on {count} containers at {stations} and stood nowhere on {line} then: {why}{guess}",
            mould=mould,
            count=f"{count:,}",
            stations=joined(", ", stations),
            line=line,
            why=why,
            guess=guess,
        )
        faults.append(
            StationFault(
                line,
                stations[0],
                "mould not fitted",
                start,
                end,
                places_filled,
                text,
                size=float(count),
                key=str(mould),
            )
        )
    return sorted(faults, key=lambda answer: -(answer.size or 0))
