"""Keeping the ledger whole over years: copied while in use, written anew without gaps, its minutes rolled into hours,
its rows counted.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import duckdb
import pyarrow as pa

from pipelines.errors import LedgerBroken, LedgerBusy, SiteError
from pipelines.ledger.migrations import migrate
from pipelines.ledger.past import tables
from pipelines.ledger.queries import query
from pipelines.ledger.reader import Reader
from pipelines.ledger.sentences import plain_error, unwritable
from pipelines.ledger.store import Ledger
from pipelines.whole_files import written_whole

_ROLLS = {
    "station_counts": ("roll_station_counts", "drop_rolled_station_counts"),
    "reject_counts": ("roll_reject_counts", "drop_rolled_reject_counts"),
}
ROLLED = tuple(_ROLLS)
Progress = Callable[[str], None]


def copy_ledger(ledger: Ledger, target: Path) -> None:
    """A byte-for-byte copy of the ledger at rest, its log of the last commits with it; readers that are open go on, new
    ones and writers wait.

    LedgerBusy where a program outside coldledger keeps writing it. Only for a process that has the ledger open nowhere
    else.
    """
    source = ledger.site.ledger
    with ledger.gate():
        ledger.rest()
        before = _stamps(source)
        for path in (source, _log_of(source)):
            if path.exists():
                _copy(path, target.with_name(target.name + path.name.removeprefix(source.name)))
        if _stamps(source) != before:
            raise LedgerBusy(
                f"{source} was written by another program while it was copied; close it there, then run this again"
            )


def _log_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.wal")


def _stamps(source: Path) -> list[tuple[int, int]]:
    return [
        (found.st_size, found.st_mtime_ns)
        for path in (source, _log_of(source))
        if path.exists()
        for found in [path.stat()]
    ]


def _copy(source: Path, target: Path) -> None:
    with written_whole(target, durable=True) as part:
        shutil.copyfile(source, part)


def read_whole(path: Path) -> dict[str, int]:
    """Rows of every table of a ledger file, each block read and its checksum checked; LedgerBroken where one does not
    hold.
    """
    row = {}
    try:
        con = duckdb.connect(str(path), read_only=True, config={"memory_limit": "700MB"})
        try:
            for table in tables():
                if not con.execute(
                    "select 1 from information_schema.tables where table_name = $t", {"t": table}
                ).fetchall():
                    continue
                row[table] = Reader(con).read_all(table)
        finally:
            con.close()
    except duckdb.Error as error:
        raise LedgerBroken(f"{path} could not be read whole: {str(error).splitlines()[0]}") from error
    return row


def compact(ledger: Ledger, progress: Progress | None = None) -> tuple[int, int]:
    """Write the ledger anew without the gaps that replaced and rolled rows left; bytes before and after.

    Pages go on meanwhile; writers wait. Killed at any instant, the ledger is the one before or the one after.
    """
    with ledger.writing():
        pass  # of this version, whatever wrote it
    source = ledger.site.ledger
    part = source.with_name(f".{source.name}.compact")
    before = source.stat().st_size
    _clear(part)
    try:
        con = duckdb.connect(str(part), config={"memory_limit": ledger.settings.writer_memory})
        try:
            con.execute("set timezone = 'UTC'")
            migrate(con)
            con.execute("attach $path as kept (read_only)", {"path": str(source)})
            for table in tables():
                if progress:
                    progress(table)
                con.table(f"kept.main.{table}").insert_into(table)
            con.execute("checkpoint")
            with ledger.gate():  # no reader begins, and no writer: the old one is still held to read
                con.execute("detach kept")
                con.close()
                _copy_mode(source, part)
                ledger.guard.drop()
                part.replace(source)
                _log_of(source).unlink(missing_ok=True)
        finally:
            with suppress(duckdb.Error):
                con.close()
    except duckdb.Error as error:
        raise plain_error(error, ledger.site) from error
    except OSError as error:
        raise SiteError(unwritable(ledger.site, error)) from error
    finally:
        _clear(part)
    return before, source.stat().st_size


def _clear(part: Path) -> None:
    """What an earlier try left; where it cannot be taken away, the next try says so."""
    for left in (part, _log_of(part)):
        with suppress(OSError):
            left.unlink(missing_ok=True)


def _copy_mode(source: Path, target: Path) -> None:
    with suppress(OSError):
        shutil.copymode(source, target)


@dataclass(frozen=True)
class Rolled:
    """One production day rolled: rows of its minutes, every version of them, and rows of its hours."""

    day: date
    before: int
    after: int


def roll_day(ledger: Ledger, day: date, start: datetime, end: datetime, at: datetime) -> Rolled:
    """Put hours in place of one production day's minutes, in one transaction."""
    moments = {"from_time": start.replace(tzinfo=None), "to_time": end.replace(tzinfo=None)}
    with ledger.writing() as con:
        last = int(Reader(con).ask("last_batch").item() or 0)
        before = after = 0
        for number, (feed, (roll, drop)) in enumerate(_ROLLS.items(), start=1):
            here = {**moments, "batch": last + number}
            rows = _count(con, feed, start, end)
            con.execute(query(roll, "writes"), here)
            con.execute(query(drop, "writes"), here)
            left = _count(con, feed, start, end)
            before, after = before + rows, after + left
            name = f"hours-of-{day}"
            note = f"hours rolled out of {rows} rows of minutes; the files they came in are in the archive"
            batch = {
                **here,
                "feed": feed,
                "sha256": hashlib.sha256(f"{name} {feed}".encode()).hexdigest(),
                "file": name,
            }
            con.execute(
                query("keep_roll_batch", "writes"), {**batch, "at": at.replace(tzinfo=None), "rows": left, "note": note}
            )
        noted = {
            "day": day,
            **moments,
            "at": at.replace(tzinfo=None),
            "last_batch": last,
            "before": before,
            "after": after,
        }
        con.execute(query("keep_rolled_day", "writes"), noted)
    return Rolled(day, before, after)


def _count(con: duckdb.DuckDBPyConnection, table: str, start: datetime, end: datetime) -> int:
    limits = [duckdb.ConstantExpression(moment.replace(tzinfo=None)) for moment in (start, end)]
    when = duckdb.ColumnExpression("window_start")
    rows = con.table(table).filter(when >= limits[0]).filter(when < limits[1])
    return int(rows.aggregate("count(*)").fetchall()[0][0])


SAID = (
    "plants",
    "closes",
    "balance_days",
    "acknowledgements",
)  # what no feed file brings; holds have their own copy in the archive


def kept_decisions(ledger: Ledger) -> dict[str, pa.Table]:
    """What people and closes had said, table by table."""
    with ledger.reading() as reader:
        return {table: reader.whole(table) for table in SAID}


def keep_what_people_said(ledger: Ledger, said: Mapping[str, pa.Table]) -> None:
    """Put it into a ledger made anew."""
    with ledger.writing() as con:
        for table, rows in said.items():
            if rows.num_rows:
                con.from_arrow(rows).insert_into(table)
