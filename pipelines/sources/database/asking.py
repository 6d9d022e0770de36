"""The query of a source asked: from where, and what comes of it, a batch at a time and in its order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CursorResult, TextClause, bindparam, text
from sqlalchemy.types import NullType

from pipelines.plant.database import DatabaseSource, places_of_since
from pipelines.sources.database.cell_words import cell
from pipelines.sources.database.reach import Reached
from pipelines.sources.database.trouble import SourceTrouble
from pipelines.sources.database.watermark import FIRST, Watermark
from pipelines.words import say

_POSTGRES_KINDS = {"timestamptz": "time", "timestamp": "local", "date": "day", "text": "text", "varchar": "text"}
_POSTGRES_NUMBERS = ("int2", "int4", "int8", "numeric", "float4", "float8", "oid")


@dataclass(frozen=True)
class Batch:
    """Rows as words under the query's own headings, and each row's value of the column that only grows."""

    headings: list[str]
    cells: list[list[str]]
    since: list[Any]


def asked_from(here: Reached, source: DatabaseSource, watermark: Watermark | None) -> Any:
    """What stands for $since."""
    if watermark is not None:
        return _bound(watermark.before(source), source)
    if source.begin is not None:
        return _bound(source.begin, source)
    if source.kind == "sqlite":
        return FIRST["number"]  # every text is greater than every number there
    result = _asked(here, source, None)  # nothing is greater than nothing: no row, but the kinds of the columns
    kind = _kind_of(result, source)
    result.close()
    if kind is None:
        raise SourceTrouble(
            say("what `{since}` is cannot be told; say in `begin` where the first reading begins", since=source.since)
        )
    return FIRST[kind]


def batches(here: Reached, source: DatabaseSource, asked: Any, size: int) -> Iterator[Batch]:
    """The rows from there on. SourceTrouble where they are not in order, or the query lacks its `since` column."""
    here.patience.begin()
    result = _asked(here, source, asked)
    headings = _headings(result)
    at = _column(headings, source)
    last: Watermark | None = None
    while rows := result.fetchmany(size):
        here.patience.rest()
        marks = [Watermark.of(row[at]) for row in rows]
        for mark in marks:
            if last is not None:
                _check_order(last, mark, source)
            last = mark
        words = [[cell(value, source.decimal) for value in row] for row in rows]
        yield Batch(headings, words, [mark.value for mark in marks])
        here.patience.begin()


def _check_order(last: Watermark, mark: Watermark, source: DatabaseSource) -> None:
    if mark.kind != last.kind:
        raise SourceTrouble(several_kinds(last.kind, mark.kind))
    if mark.value < last.value:
        raise SourceTrouble(
            say(
                "its rows do not come in the order of `{since}` ({this} after {other}); end the query with order by "
                "{since}",
                since=source.since,
                this=mark.shown,
                other=last.shown,
            )
        )


def several_kinds(first: str, other: str) -> str:
    """What is said of a column whose values cannot be compared."""
    return say(
        "its `since` column has values of two kinds ({first} and {other}); cast them",
        first=first,
        other=other,
    )


def statement_of(query: str) -> TextClause:
    """The query with $since as a value that is bound, whatever else stands in it as it is."""
    parts, end = [], 0
    for start, stop in places_of_since(query):
        parts.append(query[end:start].replace(":", "\\:"))
        end = stop
    parts.append(query[end:].rstrip().rstrip(";").replace(":", "\\:"))
    return text(":since".join(parts)).bindparams(bindparam("since", type_=NullType()))


def _asked(here: Reached, source: DatabaseSource, since: Any) -> CursorResult[Any]:
    return here.connection.execute(statement_of(source.query), {"since": since})


def _headings(result: CursorResult[Any]) -> list[str]:
    names = [str(column[0]) for column in result.cursor.description]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise SourceTrouble(say("its query gives two columns the name {name}; name them apart", name=twice[0]))
    return names


def _column(headings: Sequence[str], source: DatabaseSource) -> int:
    """Where the column that only grows stands; its letters may be large or small."""
    same = [n for n, name in enumerate(headings) if name == source.since]
    same = same or [n for n, name in enumerate(headings) if name.lower() == source.since.lower()]
    if len(same) != 1:
        shown = ", ".join(headings[:12])
        raise SourceTrouble(
            say(
                "its query gives no column `{since}`, which it is read by; it gives {columns}",
                since=source.since,
                columns=shown,
            )
        )
    return same[0]


def _kind_of(result: CursorResult[Any], source: DatabaseSource) -> str | None:
    code: Any = result.cursor.description[_column(_headings(result), source)][1]
    if source.kind == "postgresql":
        from psycopg.postgres import types

        found = types.get(code)
        name = found.name if found is not None else ""
        return "number" if name in _POSTGRES_NUMBERS else _POSTGRES_KINDS.get(name)
    if code in (int, float, Decimal):
        return "number"
    return {datetime: "local", date: "day", str: "text"}.get(code)


def _bound(value: Any, source: DatabaseSource) -> Any:
    """A value as the driver takes it: SQLite has no times and no decimals."""
    if source.kind != "sqlite":
        return value
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, date):
        return value.isoformat()
    return float(value) if isinstance(value, Decimal) else value
