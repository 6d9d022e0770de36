"""Windows of different lengths that lie over each other at one place: an hour beside its own minutes would be counted
twice. The later one is set aside.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import polars as pl

from pipelines.ledger.delivery import TOLD_AT, Delivery
from pipelines.ledger.near import distinct, in_force
from pipelines.ledger.reader import Reader
from pipelines.ledger.store import Ledger
from schemas.feeds import ALL_FEEDS, Feed
from schemas.quantities import MAX_WINDOW_S
from schemas.reasons import Reason

# rows of one place that lie over each other: more is no mistake of a few windows, and all that come are set aside
_MOST = 5_000
State = dict[int, dict[int, None]]  # length -> starts [us]
Row = tuple[int | None, int, int, int, int]  # row, file, start [us], length [s], a number for what it counts


def without_overlaps(ledger: Ledger, delivery: Delivery) -> Delivery:
    """The delivery without rows whose window lies over windows of another length of the same key (station, line,
    mould...) by half of the shorter or more; those are refused. What has the same start and length replaces, as
    everywhere; of the same start and another length only what counts the same, which corrects the length. Decided file
    by file in the order of receipt, so that it does not matter which files are committed together.
    """
    frames = {
        name: frame for name, frame in delivery.kept.items() if "window_s" in ALL_FEEDS[name].columns and frame.height
    }
    if not frames:
        return delivery
    if not ledger.exists:
        found = {name: _clashing(None, ALL_FEEDS[name], frame) for name, frame in frames.items()}
    else:
        with ledger.reading() as reader:
            found = {name: _clashing(reader, ALL_FEEDS[name], frame) for name, frame in frames.items()}
    for name, bad in found.items():
        delivery = _refused(delivery, ALL_FEEDS[name], bad) if bad else delivery
    return delivery


def _clashing(reader: Reader | None, feed: Feed, frame: pl.DataFrame) -> dict[int, int]:
    """Rows of the frame that are to be refused, each with the length of the windows that it lies over [s]."""
    when = str(feed.when)
    place = [c for c in feed.key if c != when and c not in feed.optional and c != "defect"]
    first, last = frame[when].min(), frame[when].max()
    assert isinstance(first, datetime) and isinstance(last, datetime)
    lo, hi = first - timedelta(seconds=MAX_WINDOW_S), last + timedelta(seconds=MAX_WINDOW_S)
    there = None if reader is None else distinct(reader, feed.name, (*place, "window_s"), when, lo, hi)
    if pl.concat([frame["window_s"].unique(), *([] if there is None else [there["window_s"]])]).n_unique() == 1:
        return {}  # so it is nearly always, and to compare the names of millions of rows takes memory
    lengths = frame.select(*place, "window_s").unique()
    if reader is None or there is None:
        return _among(frame, frame.head(0), feed, _several(lengths, place))
    several = _several(pl.concat([lengths, there]).unique(), place)
    return {} if several.is_empty() else _among(frame, _there(reader, feed, several, lo, hi), feed, several)


def _several(lengths: pl.DataFrame, place: list[str]) -> pl.DataFrame:
    """Places with windows of more than one length."""
    return lengths.group_by(place).len().filter(pl.col("len") > 1).select(place)


def _there(reader: Reader, feed: Feed, places: pl.DataFrame, lo: datetime, hi: datetime) -> pl.DataFrame:
    found = in_force(reader, feed.name, feed.where, places[feed.where], feed.when, lo, hi)
    return found.join(places, on=places.columns, how="semi")


def _among(frame: pl.DataFrame, there: pl.DataFrame, feed: Feed, places: pl.DataFrame) -> dict[int, int]:
    if places.is_empty():
        return {}
    when, group = str(feed.when), [c for c in feed.key if c != feed.when]
    said = [c for c in feed.columns if c not in (*feed.key, "window_s")]
    start, length = pl.col(when).dt.epoch("us").alias("start"), pl.col("window_s").alias("length")
    columns = (*map(pl.col, (*group, *said)), start, length)
    came = frame.with_row_index("row").join(places, on=places.columns, how="semi").sort("row")
    both = pl.concat(
        [
            there.select(*columns, row=pl.lit(None, pl.Int64), file_no=pl.lit(-1, pl.Int64)),
            came.select(*columns, row=pl.col("row").cast(pl.Int64), file_no=pl.col("file_no").cast(pl.Int64)),
        ]
    )
    bad: dict[int, int] = {}
    for rows in _heaps(both.with_columns(says=pl.struct(said).hash()), group):
        bad |= _of_heap(rows)
    return bad


def _heaps(rows: pl.DataFrame, group: list[str]) -> Iterator[list[Row]]:
    """Chains of windows of one key that lie over each other and are of more than one length, in the order of
    receipt.
    """
    end = pl.col("start") + pl.col("length") * 1_000_000
    rows = rows.sort("start").with_columns(before=end.cum_max().shift(1).over(group))
    begins = pl.col("before").is_null() | (pl.col("start") >= pl.col("before"))
    heap = rows.with_columns(heap=begins.cast(pl.Int32).cum_sum().over(group))
    heap = heap.filter(pl.col("length").n_unique().over([*group, "heap"]) > 1)
    for part in heap.partition_by([*group, "heap"]):
        frame = part.sort("file_no", "row", nulls_last=False).select("row", "file_no", "start", "length", "says")
        yield list(frame.iter_rows())


def _of_heap(rows: list[Row]) -> dict[int, int]:
    if len(rows) > _MOST:
        return {row: length for row, _, _, length, _ in rows if row is not None}
    state: State = {}
    there: dict[int, tuple[int, int]] = {}  # start -> length, what it counts
    bad: dict[int, int] = {}
    for number in sorted({file for _, file, _, _, _ in rows}):
        came = [found for found in rows if found[1] == number]
        for _, _, start, length, says in came:  # lengths that this file corrects are no longer in one another's way
            before, same = there.get(start, (length, says))
            if same == says and before != length:
                state[before].pop(start, None)
        for row, _, start, length, says in came:
            clash = None if row is None else _clash(state, there.get(start), start, length, says)
            if row is not None and clash is not None:
                bad[row] = clash
                length, says = there.get(start, (length, says))
            else:
                there[start] = length, says
            if start in there:
                state.setdefault(length, {})[start] = None
    return bad


def _clash(state: State, there: tuple[int, int] | None, start: int, length: int, says: int) -> int | None:
    """The length of a window for which this one can neither be taken beside it nor, at the same start, in its place."""
    if there is not None and there[0] == length:
        return None
    if there is not None and there[1] != says:
        return there[0]
    if there is not None:
        state.get(there[0], {}).pop(start, None)
    return _lies_over(state, start, length)


def _lies_over(state: State, start: int, length: int) -> int | None:
    """The length of a window that is there and shares half of the shorter of the two with this one."""
    for other, starts in state.items():
        least = min(length, other) * 500_000
        if other != length and any(
            min(start + length * 1_000_000, number + other * 1_000_000) - max(start, number) >= least
            for number in starts
        ):
            return other
    return None


def _refused(delivery: Delivery, feed: Feed, bad: dict[int, int]) -> Delivery:
    """The delivery with these rows of a feed set aside."""
    frame = delivery.kept[feed.name].with_row_index("row")
    gone = frame.filter(pl.col("row").is_in(list(bad)))
    kept = {**delivery.kept, feed.name: frame.filter(~pl.col("row").is_in(list(bad))).drop("row")}
    assert delivery.refused_rows is not None and delivery.refusals is not None
    if TOLD_AT in gone.columns and feed.when is not None:
        gone = gone.with_columns(pl.col(TOLD_AT).alias(feed.when))
    moments = [name for name, dtype in gone.schema.items() if dtype == pl.Datetime]
    plain = gone.with_columns(pl.col(moments).dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ"))
    texts, whys = [], []
    parts = dict(delivery.refused_rows.group_by("file_no", "file_line").agg(pl.col("part").max()).iter_rows())
    for row in plain.iter_rows(named=True):
        cells = {name: "" if row[name] is None else str(row[name]) for name in feed.columns}
        line = row["file_no"], row["file_line"]
        part = parts[line] = parts.get(line, -1) + 1
        texts.append((*line, json.dumps(cells), part))
        expected = f"windows of {bad[row['row']]} s"
        value = cells[str(feed.when)]
        whys.append((*line, feed.when, value, Reason.WINDOW_OVERLAPS.code, expected, part, ""))
    counts = dict(gone.group_by("file_no").len().iter_rows())
    files = tuple(
        replace(
            file_entry,
            rows_kept=file_entry.rows_kept - counts.get(n, 0),
            rows_refused=file_entry.rows_refused + counts.get(n, 0),
        )
        if file_entry.feed == feed.name
        else file_entry
        for n, file_entry in enumerate(delivery.files)
    )
    return replace(
        delivery,
        files=files,
        kept={name: each for name, each in kept.items() if each.height},
        refused_rows=pl.concat([delivery.refused_rows, _like(texts, delivery.refused_rows)]),
        refusals=pl.concat([delivery.refusals, _like(whys, delivery.refusals)]),
    )


def _like(rows: Sequence[tuple[object, ...]], frame: pl.DataFrame) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=frame.schema, orient="row")
