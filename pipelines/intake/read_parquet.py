"""Parquet as text cells. Values count, not the types they are kept in: a whole 12.0 or a decimal 12 is a count, bytes
that are UTF-8 are text.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipelines.errors import FileRefused
from pipelines.intake.parquet_pages import check_footer, pages_of
from pipelines.intake.raw import BrokenRow, Raw, check_header, check_words, long_texts, without_aside
from pipelines.settings import Settings
from schemas.feeds import Feed
from schemas.reasons import Reason

_PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
_EPOCH, _EPOCH_DAY = datetime(1970, 1, 1, tzinfo=UTC), date(1970, 1, 1)
_EXPECTED = {"time": "a UTC timestamp", "count": "an integer", "number": "a number", "date": "a date"}
_PART_BYTES, _MOST_AT_ONCE = 64 << 20, 65_536  # of texts that have no dictionary: bytes, rows
_TEXTS = (
    pa.types.is_string,
    pa.types.is_large_string,
    pa.types.is_string_view,
    pa.types.is_binary,
    pa.types.is_large_binary,
    pa.types.is_binary_view,
)
_UNREADABLE = "\0"  # stands for bytes that are no text; no cell is that


def parse_parquet(data: bytes, feed: Feed, settings: Settings) -> Raw:
    """The cells of a Parquet file; FileRefused where a column's type could not be read without guessing, or where it
    unpacks to too much.
    """
    if not data:
        raise FileRefused(Reason.EMPTY_FILE)
    try:
        table = _table(data, feed, settings.largest_file, settings.most_lines)
        arrays = [_text_cells(table.column(name), feed, name) for name in table.column_names]
    except (pa.ArrowException, OSError, EOFError, UnicodeDecodeError) as error:
        raise FileRefused(Reason.BROKEN_PARQUET, expected=(str(error).splitlines() or [""])[0][:120]) from None
    check_words(sum(len(array.dictionary) for array in arrays), sum(array.dictionary.nbytes for array in arrays))
    cells = pa.table(arrays, names=table.column_names)
    lengths = long_texts(cells)
    if lengths.sum() > settings.largest_file:  # rows that are set aside would hold each of these texts whole
        raise FileRefused(Reason.TOO_LARGE, expected=f"{settings.largest_file >> 20} MB")
    return _set_aside(cells, lengths, settings.longest_line)


def _table(data: bytes, feed: Feed, largest: int, most_rows: int) -> pa.Table:
    """The columns as they are kept. Texts stay dictionaries: a file of few different texts must not become one text a
    row.
    """
    check_footer(data)
    file = pq.ParquetFile(pa.BufferReader(data))
    schema = file.schema_arrow
    check_header(schema.names, feed)
    answer = without_aside(schema.empty_table())
    for name in answer.column_names:
        _check_type(feed, name, answer.schema.field(name).type)
    meta = file.metadata
    if meta.num_rows > most_rows:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{most_rows:,} rows")
    pages = pages_of(data, meta, answer.column_names, largest)
    for name in answer.column_names:
        if _width(answer.schema.field(name).type) * meta.num_rows > largest:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
    texts = [name for name in answer.column_names if _is_text(answer.schema.field(name).type)]
    shared = [name for name in texts if name in pages.shared]  # pyarrow makes no dictionaries of these
    whole = [name for name in answer.column_names if name not in shared]
    table = pq.ParquetFile(pa.BufferReader(data), read_dictionary=[n for n in texts if n not in shared]).read(whole)
    for name in shared:
        table = table.append_column(name, _by_parts(data, name, max(1, _PART_BYTES // max(1, pages.largest)), largest))
    if table.num_rows != meta.num_rows:
        raise FileRefused(Reason.BROKEN_PARQUET, expected=f"{meta.num_rows} rows by its footer, {table.num_rows} read")
    return table.select(answer.column_names)


def _by_parts(data: bytes, name: str, rows: int, largest: int) -> pa.ChunkedArray:
    """Texts of a column, a few rows at a time: a page of few bytes can hold a long text thousands of times."""
    size, parts = 0, []
    for batch in pq.ParquetFile(pa.BufferReader(data)).iter_batches(min(rows, _MOST_AT_ONCE), columns=[name]):
        parts.append(_plain(batch.column(0)).dictionary_encode())
        size += parts[-1].dictionary.nbytes
        if size > largest:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
    return pa.chunked_array(parts) if parts else pa.chunked_array([], pa.dictionary(pa.int32(), pa.string()))


def _width(dtype: pa.DataType) -> int:
    """Bytes of a value of a type that says so itself, whatever of it repeats."""
    plain = dtype.value_type if pa.types.is_dictionary(dtype) else dtype
    return int(plain.byte_width) if pa.types.is_fixed_size_binary(plain) else 0


def _check_type(feed: Feed, name: str, dtype: pa.DataType) -> None:
    kind = feed.quantity(name).kind
    if not _fits(kind, dtype):
        raise FileRefused(Reason.PARQUET_TYPE, str(dtype)[:80], _EXPECTED.get(kind, "text"), name)


def _text_cells(column: pa.ChunkedArray, feed: Feed, name: str) -> pa.DictionaryArray:
    dtype = column.type
    if pa.types.is_dictionary(dtype):
        coded, dtype = column.unify_dictionaries(), dtype.value_type
        coded = pa.chunked_array(coded.chunks, coded.type).combine_chunks()
    else:
        flat = column.combine_chunks()
        flat = pa.concat_arrays(flat.chunks) if isinstance(flat, pa.ChunkedArray) else flat
        coded = _plain(flat).dictionary_encode()
    coded = coded.chunk(0) if isinstance(coded, pa.ChunkedArray) and coded.num_chunks == 1 else coded
    if isinstance(coded, pa.ChunkedArray):  # no row at all
        return pa.array([], pa.string()).dictionary_encode()
    words = _words(coded.dictionary, dtype, feed, name)
    words.append("")
    indices = pc.fill_null(coded.indices.cast(pa.int32()), len(words) - 1)
    return pa.DictionaryArray.from_arrays(indices, pa.array(words, pa.string()))


def _plain(flat: pa.Array) -> pa.Array:
    """Moments and days as whole numbers: what lies beyond the year 9999 is no date of Python's, but still a number."""
    dtype = flat.type
    if pa.types.is_timestamp(dtype) or pa.types.is_date64(dtype):
        return flat.cast(pa.int64())
    if pa.types.is_date32(dtype):
        return flat.cast(pa.int32())
    if pa.types.is_float16(dtype):
        return flat.cast(pa.float64())
    if pa.types.is_string_view(dtype):
        return flat.cast(pa.string())
    return flat.cast(pa.binary()) if pa.types.is_binary_view(dtype) else flat


def _words(values: pa.Array, dtype: pa.DataType, feed: Feed, name: str) -> list[str]:
    kind = feed.quantity(name).kind
    answer = _teller(kind, dtype)
    words = [answer(value) for value in values.to_pylist()]
    if kind in ("text", "code") and _is_real(dtype):
        broken = next((word for word in words if word and not word.lstrip("+-").isdigit()), None)
        if broken is not None:  # an id of 11.5 is no id
            raise FileRefused(Reason.PARQUET_TYPE, f"{dtype} with {broken}"[:80], "text", name)
    return words


def _teller(kind: str, dtype: pa.DataType) -> Callable[[Any], str]:
    if pa.types.is_timestamp(dtype):
        offset = "" if dtype.tz is None else "Z"
        return lambda value: "" if value is None else _moment(value, dtype.unit, offset)
    if pa.types.is_date(dtype):
        per_day = 86_400_000 if pa.types.is_date64(dtype) else 1
        return lambda value: "" if value is None else _day(value // per_day)
    return _number if _is_real(dtype) and kind != "number" else _value


def _moment(value: int, unit: str, offset: str) -> str:
    seconds, parts = divmod(value, _PER_SECOND[unit])
    try:
        moment = _EPOCH + timedelta(seconds=seconds)
    except OverflowError:
        return f"{value} {unit} since 1970"  # no time that anybody means: refused with its row
    digits = len(str(_PER_SECOND[unit])) - 1
    return (
        f"{moment:%H:%M:%S}".join((f"{moment.date().isoformat()}T", f".{parts:0{digits}d}" if digits else "")) + offset
    )


def _day(days: int) -> str:
    try:
        return (_EPOCH_DAY + timedelta(days=days)).isoformat()
    except OverflowError:
        return f"{days} days since 1970"


def _number(value: Any) -> str:
    """A float or decimal that is whole as the whole number it is; any other as it stands, to be refused with its
    row.
    """
    if value is None:
        return ""
    if value == value and abs(value) < 1e18 and value == int(value):
        return str(int(value))
    return str(value)


def _value(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bytes):
        try:
            return value.decode().replace("\0", "\ufffd")
        except UnicodeDecodeError:
            return _UNREADABLE
    if isinstance(value, Decimal):
        return repr(float(value))
    return str(value)


def _set_aside(table: pa.Table, lengths: np.ndarray, longest: int) -> Raw:
    """Rows that are too long, or have bytes which are no text, set aside."""
    lines = np.arange(1, table.num_rows + 1, dtype=np.int32)
    bad = np.zeros(table.num_rows, bool)
    for column in table.columns:
        for chunk in column.chunks[:1]:
            words = chunk.dictionary.to_pylist()
            if _UNREADABLE in words:
                bad |= np.asarray(chunk.indices) == words.index(_UNREADABLE)
    long = lengths > longest
    if not bad.any() and not long.any():
        return Raw(table, lines)
    broken = [
        BrokenRow(int(line), "(texts that are too long)", Reason.LINE_TOO_LONG, expected=f"{longest:,}")
        if too_long
        else BrokenRow(int(line), "(bytes that are no text)", Reason.NOT_TEXT, "\ufffd")
        for line, too_long in zip(lines[bad | long], long[bad | long], strict=True)
    ]
    return Raw(table.filter(pa.array(~(bad | long))), lines[~(bad | long)], broken)


def _is_text(dtype: pa.DataType) -> bool:
    plain = dtype.value_type if pa.types.is_dictionary(dtype) else dtype
    return any(text(plain) for text in _TEXTS)


def _is_real(dtype: pa.DataType) -> bool:
    return bool(pa.types.is_floating(dtype) or pa.types.is_decimal(dtype))


def _fits(kind: str, dtype: pa.DataType) -> bool:
    """Whether values of a type can be read as this kind without guessing."""
    if pa.types.is_dictionary(dtype):
        dtype = dtype.value_type
    types = pa.types
    if _is_text(dtype) or types.is_fixed_size_binary(dtype) or types.is_null(dtype):
        return True
    if kind == "time":
        return bool(types.is_timestamp(dtype))
    if kind == "date":
        return bool(types.is_date(dtype))
    return bool(types.is_integer(dtype) or _is_real(dtype))
