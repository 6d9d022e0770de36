"""The columns of an export: meaning and unit of each, in the Arrow schema of every file and in one list beside them.

Meanings and units are those of the glossary (schemas/quantities.py, schemas/tables.py). A moment is UTC, whatever the
glossary says of its text. An answer that has a shape of its own (`signal_hours.told`) is a struct; read back it is the
text again that the ledger keeps, and files of older exports, which hold that text, are read as they are.

Text that stays JSON: `closes.answers`, `closes.moved` and `reading`, `usual`, `told` of `balance_days` are what a close
said and leaned on in the words of the version that made it, compared to the letter when a day is closed again. A
struct of all versions' keys would put a null where a version said nothing, and a rebuild would take it for an answer.
"""

from __future__ import annotations

import types
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Annotated, Any, Union, get_args, get_origin

import pyarrow as pa

from schemas.answers.shape import Result
from schemas.feeds import ALL_FEEDS
from schemas.quantities import Quantity
from schemas.tables import LINEAGE, TABLES

_MOMENT = pa.timestamp("us", "UTC")
_TYPES = {
    str: pa.string(),
    int: pa.int64(),
    float: pa.float64(),
    bool: pa.bool_(),
    datetime: _MOMENT,
    date: pa.date32(),
}
_UNITS = {"time": "UTC", "date": "day"}


def key_of(table: str) -> tuple[str, ...]:
    """The columns that name one row of an exported table."""
    return ALL_FEEDS[table].key if table in ALL_FEEDS else TABLES[table].key


def grain_of(table: str) -> str:
    """What one row of an exported table is."""
    return ALL_FEEDS[table].grain if table in ALL_FEEDS else TABLES[table].grain


def schema_of(table: str, found: pa.Schema) -> pa.Schema:
    """The schema of an exported table with these columns: types as written, meaning and unit beside each."""
    shapes = _shapes(table)
    kinds = {
        field.name: _struct(table, field.name, shapes[field.name]) if field.name in shapes else _written(field.type)
        for field in found
    }
    return pa.schema([pa.field(name, kind, metadata=_about(table, name)) for name, kind in kinds.items()])


def in_utc(form: pa.Schema) -> pa.Schema:
    """The ledger's columns as the export has them, an answer still as text."""
    return pa.schema([pa.field(field.name, _written(field.type)) for field in form])


def written(table: str, rows: pa.Table, schema: pa.Schema) -> pa.Table:
    """Rows of the ledger as the export writes them, by `schema_of`."""
    columns = []
    for field in schema:
        column = rows.column(field.name)
        model = _shapes(table).get(field.name)
        if model is not None and not pa.types.is_struct(column.type):
            values = [
                _values(field.type, model.model_validate_json(text).model_dump(by_alias=True))
                for text in column.to_pylist()
            ]
            column = pa.chunked_array([pa.array(values, field.type)])
        elif pa.types.is_timestamp(field.type):
            column = column.cast(pa.timestamp("us", column.type.tz)).cast(field.type)
        columns.append(column.cast(field.type))
    return pa.table(columns, schema=schema)


def as_kept(table: str, rows: pa.Table) -> pa.Table:
    """Rows of an export as the ledger keeps them: a struct is the text of its answer again."""
    for name, model in _shapes(table).items():
        number = rows.schema.get_field_index(name)
        if number >= 0 and pa.types.is_struct(rows.schema.field(number).type):
            kind = rows.schema.field(number).type
            answers = (model.model_validate(_mappings(kind, row)) for row in rows.column(number).to_pylist())
            texts = [answer.model_dump_json(by_alias=True) for answer in answers]
            rows = rows.set_column(number, name, pa.array(texts, pa.string()))
    return rows


def has_shapes(table: str) -> bool:
    """Whether files of one table can differ in the type of a column, older ones holding text."""
    return bool(_shapes(table))


def listed(schemas: Mapping[str, pa.Schema]) -> list[dict[str, Any]]:
    """Every column of every table, a row a column: table, grain (of the table), column, type, unit, meaning, key.

    The fields of a struct follow it, as `told.onset`.
    """
    return [
        {
            "table": table,
            "grain": grain_of(table),
            "column": name,
            "type": "struct" if pa.types.is_struct(field.type) else str(field.type),
            **{about: field.metadata[about.encode()].decode() for about in ("unit", "meaning")},
            "key": name in key_of(table),
        }
        for table, schema in schemas.items()
        for name, field in _with_inner(schema)
    ]


def _with_inner(schema: pa.Schema) -> Iterator[tuple[str, pa.Field]]:
    for field in schema:
        yield field.name, field
        if pa.types.is_struct(field.type):
            yield from ((f"{field.name}.{inner.name}", inner) for inner in field.type)


def _about(table: str, column: str) -> dict[str, str]:
    quantity = _quantity(table, column)
    return {"meaning": quantity.meaning, "unit": _UNITS.get(quantity.kind, quantity.unit)}


def _quantity(table: str, column: str) -> Quantity:
    own = {quantity.name: quantity for quantity in LINEAGE} if table in ALL_FEEDS else {}
    if column in own:
        return own[column]
    return ALL_FEEDS[table].quantity(column) if table in ALL_FEEDS else TABLES[table].quantity(column)


def _shapes(table: str) -> dict[str, type[Result]]:
    return dict(TABLES[table].shapes) if table in TABLES else {}


def _written(kind: pa.DataType) -> pa.DataType:
    if pa.types.is_timestamp(kind):
        return _MOMENT
    return pa.string() if pa.types.is_large_string(kind) else kind


def _struct(table: str, column: str, model: type[Result]) -> pa.DataType:
    named = {field.alias or name: _type_of(field.annotation) for name, field in model.model_fields.items()}
    about = {name: _about(table, f"{column}.{name}") for name in named}
    return pa.struct([pa.field(name, kind, metadata=about[name]) for name, kind in named.items()])


def _type_of(kind: Any) -> pa.DataType:
    """The Arrow type of what a field of an answer can hold."""
    inner = [get_arg for get_arg in get_args(kind) if get_arg not in (type(None), ...)]
    match get_origin(kind):
        case origin if origin is Annotated or origin is Union or origin is types.UnionType:
            return _type_of(inner[0])
        case origin if origin is tuple:
            return pa.list_(pa.field("element", _type_of(inner[0])))
        case origin if origin is dict:
            return pa.map_(_type_of(inner[0]), _type_of(inner[1]))
    return _TYPES[kind]


def _values(kind: pa.DataType, answer: Mapping[str, Any]) -> dict[str, Any]:
    """An answer's values as Arrow takes them: a mapping as its pairs."""
    maps = {field.name for field in kind if pa.types.is_map(field.type)}
    return {name: list(value.items()) if name in maps else value for name, value in answer.items()}


def _mappings(kind: pa.DataType, row: Mapping[str, Any]) -> dict[str, Any]:
    maps = {field.name for field in kind if pa.types.is_map(field.type)}
    return {name: dict(value) if name in maps else value for name, value in row.items()}
