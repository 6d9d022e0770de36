"""An open ledger that answers named queries."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import Any

import duckdb
import polars as pl
import pyarrow as pa

from pipelines.clock import Span
from pipelines.ledger.queries import query


class Reader:
    """An open ledger that answers named queries. asked: which it was asked, as paths under sql/ without `.sql`."""

    def __init__(self, con: duckdb.DuckDBPyConnection, asked: set[str] | None = None):
        self._con = con
        self.asked: set[str] = set() if asked is None else asked

    def noting(self) -> Reader:
        """The same open ledger with a note of its own of what it is asked from now on."""
        return Reader(self._con)

    @contextmanager
    def beside(self) -> Iterator[Reader]:
        """Another reader of the same open ledger, for a thread of its own."""
        con = self._con.cursor()
        try:
            yield Reader(con, self.asked)
        finally:
            con.close()

    def together(self, *asks: Callable[[Reader], Any]) -> list[Any]:
        """Several answers, in their order, asked by two threads; each ask has a reader of its own."""

        def one(ask: Callable[[Reader], Any]) -> Any:
            with self.beside() as mine:
                return ask(mine)

        with ThreadPoolExecutor(min(2, len(asks))) as pool:
            return list(pool.map(one, asks))

    def ask(self, name: str, **params: Any) -> pl.DataFrame:
        """The rows of sql/out/<name>.sql. Moments go in and come out as UTC."""
        self.asked.add(f"out/{name}")
        return self._run(query(name), params)

    def check(self, name: str, **params: Any) -> pl.DataFrame:
        """The offending rows of sql/checks/<name>.sql; none when all is well."""
        self.asked.add(f"checks/{name}")
        return self._run(query(name, "checks"), params)

    def _run(self, text: str, params: dict[str, Any]) -> pl.DataFrame:
        row = {key: naive(value) for key, value in params.items()}
        return aware(self._con.sql(text, params=row).pl())

    def current(self, table: str) -> pl.DataFrame:
        """All rows in force of one fact table, with the batch and line of the file each came from."""
        return aware(self._con.table(f"current_{table}").pl())

    def replaced(self, table: str) -> pl.DataFrame:
        """The rows of one fact table that are no longer in force, with the time at which each was replaced."""
        return aware(self._con.table(table).filter(duckdb.ColumnExpression("replaced_at").isnotnull()).pl())

    def sorted_rows(self, table: str, when: str | None, span: Span | None, key: Sequence[str]) -> pa.Table:
        """Rows of a table or view in an order that only they decide; where `when` is told, those in a span."""
        rows = self._con.table(table)
        if when is not None and span is not None:
            first, last = (duckdb.ConstantExpression(naive(moment)) for moment in (span.start, span.end))
            rows = rows.filter(duckdb.ColumnExpression(when) >= first).filter(duckdb.ColumnExpression(when) < last)
        order = dict.fromkeys((*key, *rows.columns))
        return rows.sort(*(duckdb.ColumnExpression(name).nulls_first() for name in order)).to_arrow_table()

    def form(self, table: str) -> pa.Schema:
        """Names and types of the columns of a table or view."""
        return self._con.table(table).limit(0).to_arrow_table().schema

    def read_all(self, table: str) -> int:
        """Rows of a table, every block of it read and its checksum with it."""
        rows = self._con.table(table)
        sums = ", ".join(f'bit_xor(hash("{name}"))' for name in rows.columns)
        return int(rows.aggregate(f"count(*), {sums}").fetchall()[0][0])

    def lies_in(self, table: str) -> pl.DataFrame:
        """Where in the file a table's rows lie: `column_name`, `block_id`, `additional_block_ids`; nothing of a table
        that a ledger of an earlier version has not.
        """
        named = duckdb.ColumnExpression("table_name") == duckdb.ConstantExpression(table)
        kept = duckdb.ColumnExpression("database_name") != duckdb.ConstantExpression("memory")
        found = self._con.table_function("duckdb_tables").filter(named).filter(kept).select("database_name").fetchall()
        if not found:
            return pl.DataFrame(
                schema={"column_name": pl.String, "block_id": pl.Int64, "additional_block_ids": pl.List(pl.Int64)}
            )
        rows = self._con.table_function("pragma_storage_info", [f"{found[0][0]}.main.{table}"]).filter("persistent")
        return rows.select("column_name", "block_id", "additional_block_ids").pl()

    def whole(self, table: str) -> pa.Table:
        """Every row of a table, as it is."""
        return self._con.table(table).to_arrow_table()

    def grouped(self, table: str, by: tuple[str, ...]) -> pl.DataFrame:
        """How many rows of a table there are by some columns, every version: these columns and `rows`."""
        names = ", ".join(by)
        return self._con.table(table).aggregate(f"{names}, count(*) as rows", names).pl()

    def of_batch(self, table: str, batch: int) -> pl.DataFrame:
        """The rows that a batch brought to a table, every version."""
        mine = duckdb.ColumnExpression("batch") == duckdb.ConstantExpression(batch)
        return aware(self._con.table(table).filter(mine).pl())

    def doubled(self, table: str, key: tuple[str, ...], when: str | None, start: Any, end: Any) -> int:
        """How many keys have more than one version in force; where `start` is told, of those whose `when` is in [start,
        end).
        """
        rows = self._con.table(table).filter(duckdb.ColumnExpression("replaced_at").isnull())
        if start is not None and when is not None:
            first, last = (duckdb.ConstantExpression(naive(moment)) for moment in (start, end))
            rows = rows.filter(duckdb.ColumnExpression(when) >= first).filter(duckdb.ColumnExpression(when) < last)
        names = ", ".join(f'"{name}"' for name in key)
        twice = rows.aggregate(f"{names}, count(*) as versions", names).filter(
            duckdb.ColumnExpression("versions") > duckdb.ConstantExpression(1)
        )
        return int(twice.aggregate("count(*)").fetchall()[0][0])


def naive(value: Any) -> Any:
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.astimezone(UTC).replace(tzinfo=None)
    if isinstance(value, date | str | int | float | type(None)):
        return value
    return [naive(each) for each in value]


def aware(frame: pl.DataFrame) -> pl.DataFrame:
    moments = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    return frame.with_columns(pl.col(moments).dt.cast_time_unit("us").dt.replace_time_zone("UTC")) if moments else frame
