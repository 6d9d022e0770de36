"""The ledger as it was known at an earlier moment: every version of every row is kept, so that the moment can be looked
up.
"""

from __future__ import annotations

import re
from datetime import datetime

import duckdb

from pipelines.ledger.queries import statements

_RECEIVED = {
    "batches": "received_at",
    "arrivals": "arrived_at",
    "closes": "closed_at",
    "acknowledgements": "acknowledged_at",
    "hold_events": "told_at",
}

_PADDED = "padded"


def look_through(con: duckdb.DuckDBPyConnection) -> None:
    """Make a connection beside which an older ledger is open as `kept` answer as if it had this version's tables;
    nothing of it is changed.

    Tables and columns that it does not have are empty: all that migrations did so far is to add some.
    """
    _pad(con)
    for table in tables():
        con.table(f"{_PADDED}.{table}").create_view(table)
    for _, text in statements("core"):
        con.execute(text)


def _pad(con: duckdb.DuckDBPyConnection) -> None:
    """Views of every table of this version, of what `kept` has of it, in a schema of their own."""
    here = {
        row[0] for row in con.execute("select table_name from duckdb_tables() where database_name = 'kept'").fetchall()
    }
    with duckdb.connect() as model:
        for _, text in statements("migrations"):
            model.execute(text)
        shapes = {table: (model.table(table).columns, model.table(table).types) for table in tables()}
    con.execute(f"create schema {_PADDED}")
    con.execute("create table nothing (n integer)")
    none = con.table("memory.main.nothing")
    for table, (columns, types) in shapes.items():
        rows = con.table(f"kept.main.{table}") if table in here else None
        expressions = [
            duckdb.ColumnExpression(name)
            if rows is not None and name in rows.columns
            else duckdb.ConstantExpression(None).cast(kind).alias(name)
            for name, kind in zip(columns, types, strict=True)
        ]
        whole = none if rows is None else rows
        con.execute(f"use memory.{_PADDED}")
        whole.select(*expressions).create_view(table)
        con.execute("use memory.main")


def look_back(con: duckdb.DuckDBPyConnection, moment: datetime, older: bool = False) -> None:
    """Make a connection beside which the ledger is open as `kept` answer as at `moment` (naive UTC): rows of files
    received later are gone, rows replaced later stand again, later closes and acknowledgements are unknown. What is
    worked out by hour (lehr times, expectations, signals) stays as it is now. older: the ledger is an older version's.
    """
    then = duckdb.ConstantExpression(moment)
    if older:
        _pad(con)
    for table in tables():
        _table_then(con, f"{_PADDED if older else 'kept.main'}.{table}", table, then)
    for _, text in statements("core"):
        con.execute(text)


def tables() -> list[str]:
    """Every table that the migrations make."""
    texts = (text for _, text in statements("migrations"))
    return [found[1] for text in texts if (found := re.search(r"create table (\w+)", text))]


def _table_then(con: duckdb.DuckDBPyConnection, where: str, table: str, then: duckdb.Expression) -> None:
    rows = con.table(where)
    column = duckdb.ColumnExpression
    if table == "batches":  # hours that were rolled later stand for minutes that were there then
        rows = rows.filter((column("received_at") <= then) | (column("archived_as") == duckdb.ConstantExpression("")))
    elif table in _RECEIVED:
        rows = rows.filter(column(_RECEIVED[table]) <= then)
    elif table == "balance_days":
        known = con.table(where.replace(table, "closes")).filter(column("closed_at") <= then).select("day", "revision")
        rows = rows.join(known, "day, revision", how="semi")
    elif "batch" in rows.columns:
        last = (
            con.table(where.replace(table, "batches"))
            .filter(column("received_at") <= then)
            .max("batch")
            .fetchall()[0][0]
        )
        of_then = column("batch") <= duckdb.ConstantExpression(last if last is not None else -1)
        rolled = con.table(where.replace(table, "batches")).filter(
            column("archived_as") == duckdb.ConstantExpression("")
        )
        hours = [duckdb.ConstantExpression(row[0]) for row in rolled.select("batch").fetchall()]
        rows = rows.filter(of_then | column("batch").isin(*hours) if hours else of_then)
    if "replaced_at" in rows.columns:
        still = duckdb.CaseExpression(column("replaced_at") <= then, column("replaced_at")).alias("replaced_at")
        rows = rows.select(*(still if name == "replaced_at" else column(name) for name in rows.columns))
    rows.create_view(table)
