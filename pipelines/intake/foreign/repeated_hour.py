"""The hour that the clock shows twice in autumn: told apart by the order of the rows, only where that order leaves no
doubt.
"""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

_MINUTE = 60_000_000
SURE_MINUTES = 20  # rows that run on from unambiguous ones within this time are of the same run


def order_says(clock: pl.Series, zone: ZoneInfo, groups: pl.DataFrame) -> pl.Series:
    """0 where a local time is the first of its two, 1 where it is the second, -1 where the order cannot tell or the
    time came once.

    clock: naive local times in the order of the rows, null where there is none.  groups: what the rows speak of (line,
    station, ...): where the whole file does not run in order, each of these is looked at alone.
    """
    local = clock.cast(pl.Int64).to_numpy().astype(float)  # microseconds, NaN for none
    twice = _twice(clock, zone)
    values = np.full(len(clock), -1, np.int8)
    nights = np.floor((local - 12 * 60 * _MINUTE) / (24 * 60 * _MINUTE))
    for night in np.unique(nights[twice]):
        rows = np.flatnonzero(np.abs(nights - night) <= 1)
        values[rows] = _night(local[rows], twice[rows] & (nights[rows] == night), groups[rows.tolist()])
    return pl.Series(np.where(twice, values, -1), dtype=pl.Int8)


def _twice(clock: pl.Series, zone: ZoneInfo) -> np.ndarray:
    distinct = clock.drop_nulls().unique().to_list()
    doubled = [at for at in distinct if _is_twice(at, zone)]
    return clock.is_in(doubled).fill_null(False).to_numpy()


def _is_twice(at: datetime, zone: ZoneInfo) -> bool:
    first, second = (at.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    return second > first


def _night(local: np.ndarray, twice: np.ndarray, groups: pl.DataFrame) -> np.ndarray:
    whole = _run(local, twice, strict=True)
    if whole is not None:
        return whole
    values = np.full(len(local), -1, np.int8)
    if groups.width == 0:
        return values
    numbers = groups.select(pl.struct(pl.all()).rank("dense")).to_series().to_numpy()
    for number in np.unique(numbers[twice]):
        rows = np.flatnonzero(numbers == number)
        part = _run(local[rows], twice[rows], strict=False)
        if part is not None:
            values[rows] = part
    return values


def _run(local: np.ndarray, twice: np.ndarray, strict: bool) -> np.ndarray | None:
    """Which of two each time of one run of rows is; None where the run is not in order or does not tell.

    strict: equal times can stand beside each other (several stations of one minute); else each time stands once, so
    that the same again is the second.
    """
    rows = np.flatnonzero(~np.isnan(local))
    times = local[rows]
    if np.sum(np.diff(times) < 0) > np.sum(np.diff(times) > 0):
        rows, times = rows[::-1], times[::-1]
    steps = np.diff(times)
    falls = np.flatnonzero(steps < 0 if strict else steps <= 0)
    values = np.full(len(local), -1, np.int8)
    if len(falls) == 1:
        at = falls[0]
        if not (twice[rows[at]] and twice[rows[at + 1]]):
            return None
        values[rows[: at + 1]], values[rows[at + 1 :]] = 0, 1
        return values
    if len(falls) > 1:
        return None
    which = _continued(times, twice[rows])
    if which is None:
        return None
    values[rows] = which
    return values


def _continued(times: np.ndarray, twice: np.ndarray) -> int | None:
    """Of rows that hold the hour once: the first where they run on from the time before, the second where they run into
    the time after.
    """
    inside = np.flatnonzero(twice)
    if not len(inside):
        return None
    first, last = inside[0], inside[-1]
    near = SURE_MINUTES * _MINUTE
    runs_on = first > 0 and times[first] - times[first - 1] <= near
    runs_into = last + 1 < len(times) and times[last + 1] - times[last] <= near
    if runs_on == runs_into:
        return None  # neither, or the hour stands once between both its neighbours: one of the two passes is missing
    return 0 if runs_on else 1
