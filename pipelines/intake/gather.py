"""What the rows of several files come to: in order, counted, and where and when they speak of."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import polars as pl

from pipelines.errors import FileRefused
from pipelines.intake.validate import REFUSALS, REFUSED_ROWS, Sorted
from pipelines.ledger.delivery import Delivery
from schemas.feeds import ALL_FEEDS

_NO_CODE = pl.lit(None, dtype=pl.UInt64)  # codes of frames that were read apart cannot be compared


def touched_by(delivery: Delivery, feeds: Iterable[str], every: str) -> set[tuple[str, datetime]]:
    """Where and when the rows kept of some feeds speak of, one moment in each `every`."""
    found: set[tuple[str, datetime]] = set()
    for name in feeds:
        if name in delivery.kept:
            where, when = ALL_FEEDS[name].where, str(ALL_FEEDS[name].when)
            rows = delivery.kept[name].select(where, when)
            first = pl.struct(where, when).ne_missing(pl.struct(where, when).shift(1))  # of its run: files are in order
            found |= set(rows.filter(first).with_columns(pl.col(when).dt.truncate(every)).unique().iter_rows())
    return found


def in_order(frames: list[pl.DataFrame]) -> pl.DataFrame:
    """The rows of all frames in the order of receipt."""
    return (
        frames[0]
        if len(frames) == 1
        else pl.concat(frames).with_columns(key_code=_NO_CODE).sort("file_no", maintain_order=True)
    )


def refused_whole(files: Iterable[tuple[int, FileRefused]]) -> Sorted:
    """Files refused as they are, by their number: one refusal each, of line 0."""
    rows, whys = [], []
    for number, file_refused in files:
        rows.append((number, 0, "{}", 0))
        value, expected = file_refused.value[:200], file_refused.expected
        whys.append((number, 0, file_refused.column, value, file_refused.reason.code, expected, 0, ""))
    return Sorted(
        pl.DataFrame(),
        pl.DataFrame(rows, schema=REFUSED_ROWS, orient="row"),
        pl.DataFrame(whys, schema=REFUSALS, orient="row"),
    )


def tallies_of(kept: dict[str, pl.DataFrame], refused: pl.DataFrame) -> dict[int, dict[str, Any]]:
    """Rows kept and refused, first and last moment of each file."""
    tallies: dict[int, dict[str, Any]] = {}
    for name, frame in kept.items():
        when = ALL_FEEDS[name].when
        spans = [pl.col(when).min().alias("first"), pl.col(when).max().alias("last")] if when else []
        for row in frame.group_by("file_no").agg(pl.len().alias("kept"), *spans).iter_rows(named=True):
            tallies[row.pop("file_no")] = row
    for number, count in refused.group_by("file_no").len().iter_rows():
        tallies.setdefault(number, {})["refused"] = count
    return tallies
