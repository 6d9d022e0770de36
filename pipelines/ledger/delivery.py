"""Taking files into the ledger: which rows are new, which replace others, and the one transaction that says so."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import duckdb
import polars as pl

from pipelines.errors import LedgerBusy
from pipelines.ledger.store import Ledger, Reader
from schemas.feeds import ALL_FEEDS, Feed

LINEAGE = ("batch", "file_line", "replaced_at", "replaced_by")


@dataclass(frozen=True)
class FileEntry:
    """One received file. Row counts add up: rows_read = rows_kept + rows_refused."""

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


@dataclass(frozen=True)
class Delivery:
    """Files that are committed together, wholly or not at all.

    kept: by feed, the feed's columns with `file_no` (index into files) and `file_line`.
    refused_rows: file_no, file_line, row_text.  refusals: file_no, file_line, column_name, value, reason, expected.
    """

    files: tuple[FileEntry, ...]
    kept: dict[str, pl.DataFrame] = field(default_factory=dict)
    refused_rows: pl.DataFrame | None = None
    refusals: pl.DataFrame | None = None


@dataclass(frozen=True)
class Versions:
    """What a delivery does to one fact table.

    insert: the table's columns with lineage.  gone: batch, file_line, replaced_by of rows no longer in force.
    unchanged, replacing: rows by batch that said what was known already, or said it anew.
    """

    insert: pl.DataFrame
    gone: pl.DataFrame
    unchanged: dict[int, int]
    replacing: dict[int, int]


def plan_versions(existing: pl.DataFrame, incoming: pl.DataFrame, key: tuple[str, ...], at: datetime) -> Versions:
    """Which incoming rows are new versions, which repeat the version in force, and what they replace.

    existing: rows in force; incoming: rows in the order of receipt; both with `batch` and `file_line`.
    Of several incoming rows with one key the last holds and the others go straight into history.
    """
    unsure = _unsure_keys(existing, incoming, key)
    if unsure is None:
        return Versions(_with_history(incoming, at), incoming.select("batch", "file_line").head(0), {}, {})
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
        gone=gone.select("batch", "file_line", "replaced_by"),
        unchanged=_by_batch(repeats.filter(~pl.col("old"))),
        replacing=_by_batch(new.filter(pl.col("replaces"))),
    )


def _unsure_keys(existing: pl.DataFrame, incoming: pl.DataFrame, key: tuple[str, ...]) -> pl.DataFrame | None:
    """Keys that stand more than once; None where every incoming key is new and alone."""
    packed = incoming.select(pl.struct(key).hash())
    alone = packed.to_series().n_unique() == incoming.height
    if alone and existing.is_empty():
        return None
    parts = [] if alone else [incoming.filter(packed.to_series().is_duplicated()).select(key)]
    if not existing.is_empty():
        parts.append(existing.select(key).join(incoming.select(key), on=list(key), how="semi", nulls_equal=True))
    keys = pl.concat(parts).unique()
    return None if keys.is_empty() else keys


def _with_history(frame: pl.DataFrame, at: datetime) -> pl.DataFrame:
    by = pl.col("replaced_by") if "replaced_by" in frame.columns else pl.lit(None, dtype=pl.Int32)
    moment = pl.lit(at.replace(tzinfo=None), dtype=pl.Datetime("us"))
    return frame.with_columns(replaced_at=pl.when(by.is_not_null()).then(moment), replaced_by=by.cast(pl.Int32))


def _by_batch(frame: pl.DataFrame) -> dict[int, int]:
    counts = frame.group_by("batch").len()
    return dict(zip(counts["batch"].to_list(), counts["len"].to_list(), strict=True))


def commit(ledger: Ledger, delivery: Delivery, at: datetime) -> dict[int, FileEntry]:
    """Take a delivery into the ledger in one transaction; the files by the batch number each was given.

    The plan is made while the ledger is only read; the lock to write is held for the commit alone. The caller
    holds the site's intake lock; LedgerBusy if somebody wrote batches without it.
    """
    first = _next_batch(ledger)
    numbered = {first + number: entry for number, entry in enumerate(delivery.files)}
    plans = {name: _plan(ledger, ALL_FEEDS[name], frame, first, at) for name, frame in delivery.kept.items()}
    with ledger.writing() as con:
        if _last_batch(con) != first - 1:
            raise LedgerBusy("another intake wrote to the ledger at the same time; run this again")
        _write_batches(con, numbered, plans, at)
        for name, plan in plans.items():
            _write_facts(con, name, plan, at)
        for table, frame in (("refused_rows", delivery.refused_rows), ("refusals", delivery.refusals)):
            if frame is not None and frame.height:
                _write_refused(con, table, frame, first)
        _settle_retries(con, numbered, at)
    return numbered


def _next_batch(ledger: Ledger) -> int:
    if not ledger.exists:
        with ledger.writing():
            return 1
    with ledger.reading() as reader:
        return int(reader.ask("last_batch").item() or 0) + 1


def _last_batch(con: duckdb.DuckDBPyConnection) -> int:
    return int(Reader(con).ask("last_batch").item() or 0)


def _plan(ledger: Ledger, feed: Feed, kept: pl.DataFrame, first: int, at: datetime) -> Versions:
    batch = (pl.col("file_no").cast(pl.Int32) + first).alias("batch")
    incoming = kept.select(*feed.columns, batch, pl.col("file_line").cast(pl.Int32))
    lo, hi = (incoming[feed.when].min(), incoming[feed.when].max()) if feed.when else (None, None)
    with ledger.reading() as reader:
        existing = reader.in_force(feed.name, feed.where, incoming[feed.where], _range_column(feed), lo, hi)
    return plan_versions(existing, incoming, feed.key, at)


def _range_column(feed: Feed) -> str | None:
    return feed.when if feed.when in feed.key else None


def _write_facts(con: duckdb.DuckDBPyConnection, table: str, plan: Versions, at: datetime) -> None:
    if plan.gone.height:
        con.register("gone", plan.gone.to_arrow())
        hit = duckdb.SQLExpression("(batch, file_line) in (select (batch, file_line) from gone)")
        by = "(select any_value(g.replaced_by) from gone g where g.batch = {0}.batch and g.file_line = {0}.file_line)"
        change = {"replaced_at": duckdb.ConstantExpression(at.replace(tzinfo=None)), "replaced_by": duckdb.SQLExpression(by.format(table))}
        con.table(table).update(change, condition=hit)
        con.unregister("gone")
    if plan.insert.height:
        _append(con, table, plan.insert)


def _append(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> None:
    aware = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    plain = frame.with_columns(pl.col(aware).dt.replace_time_zone(None)) if aware else frame
    ordered = plain.select(con.table(table).columns)
    con.from_arrow(ordered.to_arrow()).insert_into(table)


def _write_refused(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame, first: int) -> None:
    batch = (pl.col("file_no").cast(pl.Int32) + first).alias("batch")
    missing = [pl.lit(None).alias(name) for name in con.table(table).columns if name not in (*frame.columns, "batch")]
    _append(con, table, frame.with_columns(batch, *missing))


def _write_batches(
    con: duckdb.DuckDBPyConnection, numbered: dict[int, FileEntry], plans: dict[str, Versions], at: datetime
) -> None:
    rows: list[dict[str, Any]] = []
    for batch, entry in numbered.items():
        plan = plans.get(entry.feed)
        rows.append(
            {"batch": batch, **vars(entry), "received_at": at}
            | {"rows_unchanged": plan.unchanged.get(batch, 0) if plan else 0}
            | {"rows_replacing": plan.replacing.get(batch, 0) if plan else 0}
        )
    moment = {name: pl.Datetime("us", "UTC") for name in ("received_at", "data_from", "data_to")}
    frame = pl.DataFrame(rows, schema_overrides={**moment, "batch": pl.Int32, "retry_of": pl.Int32}, infer_schema_length=None)
    _append(con, "batches", frame)
    arrivals = frame.select("batch", "file", pl.col("received_at").alias("arrived_at"), pl.lit(False).alias("repeated"))
    _append(con, "arrivals", arrivals)


def _settle_retries(con: duckdb.DuckDBPyConnection, numbered: dict[int, FileEntry], at: datetime) -> None:
    for batch, entry in numbered.items():
        if entry.retry_of is not None:
            told = {"at": at.replace(tzinfo=None), "batch": batch, "old": entry.retry_of}
            con.execute(
                "update refused_rows set retried_in = $batch, retried_at = $at where batch = $old and retried_at is null", told
            )
