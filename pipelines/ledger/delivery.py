"""Taking files into the ledger: which rows are new, which replace others, and the one transaction that says so."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import duckdb
import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.errors import LedgerBusy
from pipelines.ledger.near import in_force
from pipelines.ledger.queries import query
from pipelines.ledger.reader import Reader
from pipelines.ledger.store import Ledger
from schemas.feeds import ALL_FEEDS, Feed

_TABLE = 1 << 26
ROW_GROUP = 122_880  # rows of a row group of DuckDB: pieces of this size are inserted fastest
TOLD_AT = "told_at"  # of rows kept, where works.toml corrects clocks: the time as the station has it
LINEAGE = ("batch", "file_line", "replaced_at", "replaced_by")
BATCHES = (
    "batch",
    "feed",
    "sha256",
    "file",
    "archived_as",
    "bytes",
    "received_at",
    "rows_read",
    "rows_kept",
    "rows_refused",
    "rows_unchanged",
    "rows_replacing",
    "data_from",
    "data_to",
    "retry_of",
    "note",
)


@dataclass(frozen=True)
class FileEntry:
    """One received file. Row counts add up: rows_read = rows_kept + rows_refused. received_at: where it was not
    received with the rest of its delivery.
    """

    feed: str
    sha256: str
    file: str
    archived_as: str
    bytes: int
    rows_read: int = 0
    rows_kept: int = 0
    rows_refused: int = 0
    data_from: datetime | date | None = None
    data_to: datetime | date | None = None
    retry_of: int | None = None
    note: str = ""
    received_at: datetime | None = None


@dataclass(frozen=True)
class Delivery:
    """Files that are committed together, wholly or not at all.

    kept: by feed, the feed's columns with `file_no` (index into files), `file_line` and `key_code`, an integer that is
    equal where the keys are (null where it is not known).
    refused_rows: file_no, file_line, row_text, part (of its line, from 0).  refusals: file_no, file_line, column_name,
    value, reason, expected, part, place (the cell of a workbook).
    """

    files: tuple[FileEntry, ...]
    kept: dict[str, pl.DataFrame] = field(default_factory=dict)
    refused_rows: pl.DataFrame | None = None
    refusals: pl.DataFrame | None = None


@dataclass(frozen=True)
class Versions:
    """What a delivery does to one fact table.

    insert: the table's columns with lineage.  gone: key, batch, file_line, replaced_by of rows no longer in force.
    unchanged, replacing: rows by batch that said what was known already, or said it anew.
    """

    insert: pl.DataFrame
    gone: pl.DataFrame
    unchanged: dict[int, int]
    replacing: dict[int, int]


def plan_versions(
    existing: pl.DataFrame,
    incoming: pl.DataFrame,
    key: tuple[str, ...],
    at: datetime,
    codes: pl.Series | None = None,
) -> Versions:
    """Which incoming rows are new versions, which repeat the version in force, and what they replace.

    existing: rows in force; incoming: rows in the order of receipt; both with `batch` and `file_line`.
    Of several incoming rows with one key the last holds and the others go straight into history.
    codes: an integer for each incoming row that is equal where the keys are; made here when not given.
    """
    if codes is None or codes.null_count():
        codes = incoming.select(pl.struct(key).hash()).to_series()
    unsure = _unsure_keys(existing, incoming, key, codes)
    if unsure is None:
        return Versions(_with_history(incoming, at), incoming.select(*key, "batch", "file_line").head(0), {}, {})
    on = list(key)
    fresh = incoming.join(unsure, on=on, how="anti", nulls_equal=True)
    touched = pl.concat(
        [
            existing.select(incoming.columns).join(unsure, on=on, how="semi", nulls_equal=True).with_columns(old=True),
            incoming.join(unsure, on=on, how="semi", nulls_equal=True).with_columns(old=False),
        ]
    )
    said = [name for name in incoming.columns if name not in (*key, "batch", "file_line")]
    same = pl.all_horizontal(pl.col(c).eq_missing(pl.col(c).shift(1).over(on)) for c in said) if said else pl.lit(True)
    follows = pl.int_range(pl.len()).over(on) > 0
    touched = touched.with_columns(repeats=follows & same)
    repeats = touched.filter(pl.col("repeats"))
    versions = touched.filter(~pl.col("repeats")).with_columns(
        replaced_by=pl.col("batch").shift(-1).over(on), replaces=pl.int_range(pl.len()).over(on) > 0
    )
    new = versions.filter(~pl.col("old"))
    gone = versions.filter(pl.col("old") & pl.col("replaced_by").is_not_null())
    return Versions(
        insert=pl.concat([_with_history(fresh, at), _with_history(new.select(*incoming.columns, "replaced_by"), at)]),
        gone=gone.select(*key, "batch", "file_line", "replaced_by"),
        unchanged=_by_batch(repeats.filter(~pl.col("old"))),
        replacing=_by_batch(new.filter(pl.col("replaces"))),
    )


def _unsure_keys(
    existing: pl.DataFrame, incoming: pl.DataFrame, key: tuple[str, ...], codes: pl.Series
) -> pl.DataFrame | None:
    """Keys that stand more than once; None where every incoming key is new and alone."""
    alone = _all_different(codes)
    if alone and existing.is_empty():
        return None
    parts = [] if alone else [incoming.filter(codes.is_duplicated()).select(key)]
    if not existing.is_empty():
        near = incoming.filter(_near(existing, key)).select(key)
        parts.append(existing.select(key).join(near, on=list(key), how="semi", nulls_equal=True))
    keys = pl.concat(parts).unique()
    return None if keys.is_empty() else keys


def _near(existing: pl.DataFrame, key: tuple[str, ...]) -> pl.Expr:
    """Rows that lie where some of those in force do: most files bring an hour that the ledger has nothing of."""
    limits = [
        pl.col(name).is_between(existing[name].min(), existing[name].max())
        for name in key
        if existing.schema[name].is_temporal() and not existing[name].null_count()
    ]
    return pl.all_horizontal(pl.lit(True), *limits)


def _all_different(codes: pl.Series) -> bool:
    """Whether no code occurs twice; small codes are ticked off in a table, which is faster than to sort them."""
    numbers = codes.to_numpy()
    if not len(numbers) or int(numbers.max()) >= _TABLE:
        ordered = np.sort(numbers)
        return not bool((ordered[1:] == ordered[:-1]).any())
    seen = np.zeros(int(numbers.max()) + 1, bool)
    seen[numbers] = True
    return int(np.count_nonzero(seen)) == len(numbers)


def _with_history(frame: pl.DataFrame, at: datetime) -> pl.DataFrame:
    by = pl.col("replaced_by") if "replaced_by" in frame.columns else pl.lit(None, dtype=pl.Int32)
    moment = pl.lit(at.replace(tzinfo=None), dtype=pl.Datetime("us"))
    columns = [name for name in frame.columns if name != "replaced_by"]
    return frame.select(*columns, replaced_at=pl.when(by.is_not_null()).then(moment), replaced_by=by.cast(pl.Int32))


def _at_their_times(plan: Versions, times: dict[int, datetime]) -> Versions:
    """What a delivery replaces, replaced when the file that replaces it was received. times: by batch."""
    old, new = list(times), [time.replace(tzinfo=None) for time in times.values()]
    when = pl.col("replaced_by").replace_strict(old, new, default=None, return_dtype=pl.Datetime("us"))
    if plan.gone.height:
        plan = replace(plan, gone=plan.gone.with_columns(replaced_at=when))
    return plan if len(set(new)) == 1 else replace(plan, insert=plan.insert.with_columns(replaced_at=when))


def _by_batch(frame: pl.DataFrame) -> dict[int, int]:
    counts = frame.group_by("batch").len()
    return dict(zip(counts["batch"].to_list(), counts["len"].to_list(), strict=True))


def commit(ledger: Ledger, delivery: Delivery, at: datetime) -> dict[int, FileEntry]:
    """Take a delivery into the ledger in one transaction; the files by the batch number each was given.

    The plan is made while the ledger is only read; the lock to write is held for the commit alone. The caller
    holds the site's intake lock; LedgerBusy if somebody wrote batches without it.
    """
    first, plans = _plans(ledger, delivery, at)
    numbered = {first + number: entry for number, entry in enumerate(delivery.files)}
    tables = _tables(numbered, plans, delivery, first, at)
    with ledger.writing() as con:
        if _last_batch(con) != first - 1:
            raise LedgerBusy("another intake wrote to the ledger at the same time; run this again")
        for name, plan in plans.items():
            if plan.gone.height:
                _replace(con, ALL_FEEDS[name], plan.gone)
        for name, table in tables:
            con.from_arrow(table.select(con.table(name).columns)).insert_into(name)  # a later column stands last
        _settle_retries(con, numbered, at)
    return numbered


def _plans(ledger: Ledger, delivery: Delivery, at: datetime) -> tuple[int, dict[str, Versions]]:
    """The number of the first new batch, and what the delivery does to each table."""
    if not ledger.exists:
        with ledger.writing():
            pass
    with ledger.reading() as reader:
        first = int(reader.ask("last_batch").item() or 0) + 1
        plans = {name: _plan(reader, ALL_FEEDS[name], frame, first, at) for name, frame in delivery.kept.items()}
    times = {first + number: entry.received_at or at for number, entry in enumerate(delivery.files)}
    return first, {name: _at_their_times(plan, times) for name, plan in plans.items()}


def foreseen(ledger: Ledger, delivery: Delivery, at: datetime) -> tuple[int, int]:
    """How many rows of a delivery say what the ledger holds already, and how many would replace others; nothing is
    written.
    """
    _, plans = _plans(ledger, delivery, at)
    every = plans.values()
    return sum(sum(p.unchanged.values()) for p in every), sum(sum(p.replacing.values()) for p in every)


def _last_batch(con: duckdb.DuckDBPyConnection) -> int:
    return int(Reader(con).ask("last_batch").item() or 0)


def _plan(reader: Reader, feed: Feed, kept: pl.DataFrame, first: int, at: datetime) -> Versions:
    batch = (pl.col("file_no").cast(pl.Int32) + first).alias("batch")
    incoming = kept.select(*feed.columns, batch, pl.col("file_line").cast(pl.Int32))
    lo, hi = (incoming[feed.when].min(), incoming[feed.when].max()) if feed.when else (None, None)
    keys = incoming.select(feed.key)
    existing = in_force(reader, feed.name, feed.where, incoming[feed.where], _range_column(feed), lo, hi, keys)
    return plan_versions(existing, incoming, feed.key, at, kept["key_code"])


def _range_column(feed: Feed) -> str | None:
    return feed.when if feed.when in feed.key else None


def _replace(con: duckdb.DuckDBPyConnection, feed: Feed, gone: pl.DataFrame) -> None:
    """Note on rows in force which batch replaced them. A line of a wide export is many rows: only the key tells them
    apart.
    """
    moments = [name for name, dtype in gone.schema.items() if isinstance(dtype, pl.Datetime)]
    con.register("gone", gone.with_columns(pl.col(moments).dt.replace_time_zone(None)).to_arrow())
    table = feed.name
    same = " and ".join(
        f'g."{name}" is not distinct from {table}."{name}"' for name in (*feed.key, "batch", "file_line")
    )
    hit = duckdb.SQLExpression(
        f"(batch, file_line) in (select (batch, file_line) from gone) and exists (from gone g where {same})"
    )
    change = {
        "replaced_at": duckdb.SQLExpression(f"(select any_value(g.replaced_at) from gone g where {same})"),
        "replaced_by": duckdb.SQLExpression(f"(select any_value(g.replaced_by) from gone g where {same})"),
    }
    con.table(table).update(change, condition=hit)
    con.unregister("gone")


def _tables(
    numbered: dict[int, FileEntry], plans: dict[str, Versions], delivery: Delivery, first: int, at: datetime
) -> list[tuple[str, pa.Table]]:
    """Everything to be inserted, in the ledger's columns, made before the ledger is locked."""
    batches = _batches(numbered, plans, at)
    arrivals = batches.select(
        "batch", "file", pl.col("received_at").alias("arrived_at"), pl.lit(False).alias("repeated")
    )
    made = [("batches", _arrow(batches, BATCHES)), ("arrivals", _arrow(arrivals, tuple(arrivals.columns)))]
    for name, plan in plans.items():
        if plan.insert.height:
            made.append((name, _arrow(plan.insert, (*ALL_FEEDS[name].columns, *LINEAGE))))
    batch = (pl.col("file_no").cast(pl.Int32) + first).alias("batch")
    never = [
        pl.lit(None, dtype=pl.Int32).alias("retried_in"),
        pl.lit(None, dtype=pl.Datetime("us")).alias("retried_at"),
    ]
    if delivery.refused_rows is not None and delivery.refused_rows.height:
        rows = delivery.refused_rows.select(batch, "file_line", "row_text", *never, "part")
        made.append(("refused_rows", _arrow(rows, tuple(rows.columns))))
    if delivery.refusals is not None and delivery.refusals.height:
        whys = delivery.refusals.select(batch, pl.exclude("file_no"))
        made.append(("refusals", _arrow(whys, tuple(whys.columns))))
    return made


def _arrow(frame: pl.DataFrame, columns: tuple[str, ...]) -> pa.Table:
    aware = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    whole = frame.select(columns).with_columns(pl.col(aware).dt.replace_time_zone(None)).to_arrow().combine_chunks()
    return pa.Table.from_batches(whole.to_batches(ROW_GROUP), whole.schema)


def _batches(numbered: dict[int, FileEntry], plans: dict[str, Versions], at: datetime) -> pl.DataFrame:
    rows: list[dict[str, Any]] = []
    for batch, entry in numbered.items():
        plan = plans.get(entry.feed)
        rows.append(
            {"batch": batch, **vars(entry), "received_at": entry.received_at or at}
            | {"rows_unchanged": plan.unchanged.get(batch, 0) if plan else 0}
            | {"rows_replacing": plan.replacing.get(batch, 0) if plan else 0}
        )
    moment = {name: pl.Datetime("us", "UTC") for name in ("received_at", "data_from", "data_to")}
    return pl.DataFrame(
        rows, schema_overrides={**moment, "batch": pl.Int32, "retry_of": pl.Int32}, infer_schema_length=None
    )


def _settle_retries(con: duckdb.DuckDBPyConnection, numbered: dict[int, FileEntry], at: datetime) -> None:
    for batch, entry in numbered.items():
        if entry.retry_of is not None:
            row = {"at": at.replace(tzinfo=None), "batch": batch, "old": entry.retry_of}
            con.execute(query("settle_retry", "writes"), row)
