"""What is in force where and when a delivery speaks of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import duckdb
import polars as pl

from pipelines.ledger.reader import Reader, aware, naive

_WIDE = timedelta(days=3)
_FEW = 300_000  # keys that are cheaper to look up one by one than what lies between them


def distinct(
    reader: Reader, table: str, columns: Sequence[str], when: str, first: datetime, last: datetime
) -> pl.DataFrame:
    """The different values of some columns among versions in force whose `when` lies in [first, last]."""
    return _of_span(reader, table, when, first, last).select(*columns).distinct().pl()


def in_force(
    reader: Reader,
    table: str,
    where: str,
    among: pl.Series,
    when: str | None,
    first: Any,
    last: Any,
    keys: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The versions in force of one fact table whose `where` is `among` and whose `when` lies in [first, last]. keys: of
    a long span those alone, as two rows a year apart must not bring the year between them into memory.
    """
    rows = _of_span(reader, table, when, first, last)
    if keys is not None and 0 < keys.height <= _FEW and (when is None or last - first > _WIDE):
        moments = [name for name, dtype in keys.schema.items() if isinstance(dtype, pl.Datetime)]
        wanted = keys.unique().with_columns(pl.col(moments).dt.replace_time_zone(None)).to_arrow()
        same = " and ".join(f't."{name}" is not distinct from i."{name}"' for name in keys.columns)
        duck_dbpy_relation = rows.set_alias("t").join(
            reader._con.from_arrow(wanted).set_alias("i"), condition=same, how="semi"
        )
        return aware(duck_dbpy_relation.pl())
    wanted_in = among.unique()
    if wanted_in.len() <= 64:  # few constants let DuckDB pass over whole row groups
        constants = (duckdb.ConstantExpression(value) for value in wanted_in)
        rows = rows.filter(duckdb.ColumnExpression(where).isin(*constants))
    else:
        rows = rows.join(reader._con.from_arrow(pl.DataFrame({where: wanted_in}).to_arrow()), where, how="semi")
    return aware(rows.pl())


def _of_span(reader: Reader, table: str, when: str | None, first: Any, last: Any) -> duckdb.DuckDBPyRelation:
    rows = reader._con.table(table).filter(duckdb.ColumnExpression("replaced_at").isnull())
    if when is not None:
        limits = (duckdb.ConstantExpression(naive(moment)) for moment in (first, last))
        rows = rows.filter(duckdb.ColumnExpression(when).between(*limits))
    return rows
