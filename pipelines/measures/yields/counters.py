"""Running totals into increments: through rollovers, resets and gaps; what is not determined is marked, not guessed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

import polars as pl

FASTER = 3.0  # a counter may run at most so many times as fast as its own middle speed
SILENT_MIN = 10.0  # reads further apart than this are a gap: the sum can be known, its course cannot
OF_ONE = ("line", "station", "counter", "mould", "defect")
SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "from_at": pl.Datetime("us", "UTC"),
    "to_at": pl.Datetime("us", "UTC"),
    "line": pl.String,
    "station": pl.String,
    "counter": pl.String,
    "mould": pl.String,
    "defect": pl.String,
    "increment": pl.Int64,
    "at_least": pl.Int64,
    "at_most": pl.Int64,
    "doubt": pl.String,
}


def increments(reads: pl.DataFrame, moduli: Mapping[str, int | None], resets: Sequence[datetime] = ()) -> pl.DataFrame:
    """One row between two reads of one counter: what it counted.

    reads: read_at, line, station, counter, mould, defect, total. moduli: by station, the total at which a counter
    starts at zero again, None where it never does. resets: when somebody may have set counters to zero (a job change).
    increment is null where reads leave more than one answer; at_least and at_most bound it then (at_most null: no bound
    is known).
    doubt: empty, "reset", "reset or rollover", "more than one rollover", "gap" (the sum is known, its course is not).
    """
    rows: list[tuple[Any, ...]] = []
    for key, frame in reads.sort("read_at").group_by(OF_ONE, maintain_order=True):
        rows += _of_counter(key, frame, moduli.get(str(key[1])), resets)
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def _of_counter(
    key: tuple[object, ...], frame: pl.DataFrame, modulus: int | None, resets: Sequence[datetime]
) -> Iterator[tuple[Any, ...]]:
    at, total = frame["read_at"].to_list(), frame["total"].to_list()
    minutes = [(b - a).total_seconds() / 60 for a, b in pairwise(at)]
    fastest = _fastest(total, minutes)
    for number, length in enumerate(minutes):
        first, second = at[number], at[number + 1]
        touched = any(first < moment <= second for moment in resets)
        found, least, most, doubt = between(total[number], total[number + 1], modulus, fastest * length, touched)
        yield (first, second, *key, found, least, most, doubt or ("gap" if length > SILENT_MIN else ""))


def _fastest(total: list[int], minutes: list[float]) -> float:
    """The most that the counter can have counted in a minute: its middle speed between clear reads times FASTER; inf if
    none is clear.
    """
    speeds = sorted((b - a) / m for a, b, m in zip(total, total[1:], minutes, strict=False) if b > a and m > 0)
    return FASTER * speeds[len(speeds) // 2] if speeds else float("inf")


def between(
    first: int, second: int, modulus: int | None, at_most: float, touched: bool = False
) -> tuple[int | None, int, int | None, str]:
    """What a counter counted from total `first` to `second`: increment, its bounds, the doubt.

    at_most: the most that can have been counted in the time; touched: somebody may have set it to zero meanwhile. A
    total that falls has rolled over (second - first + modulus), which only a counter near its modulus can in the time,
    or was reset (`second` since then, an unknown number before).
    """
    step = second - first
    if step < 0 and modulus is not None and step + modulus <= at_most:
        step += modulus
        if touched:
            return None, second, step, "reset or rollover"
    elif step < 0:
        return None, second, None if at_most == float("inf") else max(second, int(at_most)), "reset"
    if modulus is not None and step + modulus <= at_most:
        return None, step, None, "more than one rollover"
    return step, step, step, ""


def counted(frame: pl.DataFrame, start: datetime, end: datetime) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Containers counted in [start, end): station, inspected, rejected; and the stretches that are not determined.

    frame: rows of `increments`. A stretch that the limits cut through counts by the time inside; one that is not
    determined counts with the least it can have been. Totals of single moulds or defects are parts of the whole and not
    added to it.
    """
    here = frame.filter(
        (pl.col("to_at") > start) & (pl.col("from_at") < end) & pl.col("mould").is_null() & pl.col("defect").is_null()
    )
    whole = (pl.col("to_at") - pl.col("from_at")).dt.total_seconds()
    inside = (pl.min_horizontal("to_at", pl.lit(end)) - pl.max_horizontal("from_at", pl.lit(start))).dt.total_seconds()
    units = pl.coalesce("increment", "at_least") * inside / whole
    sums = here.group_by("station").agg(
        units.filter(pl.col("counter") == name).sum().round().cast(pl.Int64).alias(name)
        for name in ("inspected", "rejected")
    )
    return sums.sort("station"), here.filter(pl.col("increment").is_null())
