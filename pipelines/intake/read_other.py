"""JSON lines and Parquet as text cells."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipelines.errors import FileRefused
from pipelines.intake.raw import BrokenRow, Raw, check_header, without_aside
from schemas.feeds import Feed
from schemas.reasons import Reason


def parse_jsonl(data: bytes, feed: Feed, longest_line: int) -> Raw:
    """The cells of JSON lines: one object a line, its keys the columns; null or an absent key is an empty cell."""
    raw = json_lines(data, longest_line)
    if raw.table.num_columns:
        check_header(raw.table.column_names, feed)
    return Raw(without_aside(raw.table), raw.lines, raw.broken)


def json_lines(data: bytes, longest_line: int) -> Raw:
    """The cells of JSON lines under whatever keys they have."""
    if not data.strip():
        raise FileRefused(Reason.EMPTY_FILE)
    rows: list[dict[str, str]] = []
    lines: list[int] = []
    broken: list[BrokenRow] = []
    for number, line in enumerate(data.removeprefix(b"\xef\xbb\xbf").split(b"\n"), start=1):
        if not line.strip():
            continue
        cells = _json_cells(number, line, longest_line)
        if isinstance(cells, BrokenRow):
            broken.append(cells)
        else:
            rows.append(cells)
            lines.append(number)
    names = list(dict.fromkeys(name for row in rows for name in row))
    arrays = [pa.array([row.get(name, "") for row in rows], pa.string()).dictionary_encode() for name in names]
    return Raw(pa.table(arrays, names=names), np.array(lines, np.int32), broken)


def _json_cells(number: int, line: bytes, longest: int) -> dict[str, str] | BrokenRow:
    if len(line) > longest:
        shown = line[:200].decode("utf-8", "replace") + "..."
        return BrokenRow(number, shown, Reason.LINE_TOO_LONG, expected=f"{longest:,}")
    shown = line.decode("utf-8", "replace").rstrip("\r")
    try:
        told = json.loads(line.decode("utf-8"), parse_int=str, parse_float=str, parse_constant=str)
    except UnicodeDecodeError:
        return BrokenRow(number, shown, Reason.NOT_TEXT, shown)
    except (ValueError, RecursionError):
        return BrokenRow(number, shown, Reason.NOT_JSON)
    if not isinstance(told, dict):
        return BrokenRow(number, shown, Reason.NOT_JSON)
    nested = [value for value in told.values() if isinstance(value, dict | list)]
    if nested:
        return BrokenRow(number, shown, Reason.NESTED_JSON, json.dumps(nested[0]))
    return {name: _json_text(value) for name, value in told.items()}


def _json_text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)


def parse_parquet(data: bytes, feed: Feed, largest: int) -> Raw:
    """The cells of a Parquet file; FileRefused where a column's type could not be read without guessing."""
    if not data:
        raise FileRefused(Reason.EMPTY_FILE)
    try:
        file = pq.ParquetFile(pa.BufferReader(data))
        check_header(file.schema_arrow.names, feed)
        size = sum(file.metadata.row_group(i).total_byte_size for i in range(file.metadata.num_row_groups))
        if size > largest or file.metadata.num_rows > largest // 8:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
        table = file.read()
    except (pa.ArrowException, OSError, EOFError) as error:
        raise FileRefused(Reason.BROKEN_PARQUET, expected=str(error).splitlines()[0][:120]) from None
    told = without_aside(table)
    arrays = [_text_cells(told.column(name), feed, name) for name in told.column_names]
    lines = np.arange(1, told.num_rows + 1, dtype=np.int32)
    return Raw(pa.table(arrays, names=told.column_names), lines)


def _text_cells(column: pa.ChunkedArray, feed: Feed, name: str) -> pa.DictionaryArray:
    kind, dtype = feed.quantity(name).kind, column.type
    if not _fits(kind, dtype):
        expected = {
            "time": "a UTC timestamp",
            "count": "an integer",
            "number": "a number",
            "date": "a date",
        }.get(kind, "text")
        raise FileRefused(Reason.PARQUET_TYPE, str(dtype), expected, name)
    if pa.types.is_dictionary(dtype):
        column = column.cast(dtype.value_type)
    flat = column.combine_chunks()
    flat = pa.concat_arrays(flat.chunks) if isinstance(flat, pa.ChunkedArray) else flat
    coded = flat.dictionary_encode()
    words = [_parquet_text(value) for value in coded.dictionary.to_pylist()]
    words.append("")
    indices = pc.fill_null(coded.indices, len(words) - 1).cast(pa.int32())
    return pa.DictionaryArray.from_arrays(indices, pa.array(words, pa.string()))


def _fits(kind: str, dtype: pa.DataType) -> bool:
    if pa.types.is_dictionary(dtype):
        dtype = dtype.value_type
    if pa.types.is_string(dtype) or pa.types.is_large_string(dtype) or pa.types.is_string_view(dtype):
        return True
    if pa.types.is_null(dtype):
        return True
    if kind == "time":
        return pa.types.is_timestamp(dtype)
    if kind == "date":
        return pa.types.is_date(dtype)
    if kind == "number":
        return pa.types.is_floating(dtype) or pa.types.is_integer(dtype) or pa.types.is_decimal(dtype)
    return pa.types.is_integer(dtype)


def _parquet_text(value: Any) -> str:
    return value.isoformat() if hasattr(value, "isoformat") else str(value)
