"""Parquet files whose footer or page headers say other than what is in them, and such as hold little and unpack to
much. Thrift's compact protocol, as far as Parquet uses it, is written here and read by the intake's own reader;
https://github.com/apache/thrift/blob/master/doc/specs/thrift-compact-protocol.md
"""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from pipelines.intake.parquet_pages import Compact, Struct

_TRUE, _FALSE, _BYTE, _LONG, _DOUBLE, _BINARY, _LIST, _SET, _STRUCT = 1, 2, 3, 6, 7, 8, 9, 10, 12
Change = Callable[[Struct], object]
SCHEMA, ROWS, GROUPS = 2, 3, 4  # of the file (parquet.thrift)
COLUMNS, GROUP_BYTES, GROUP_ROWS = 1, 2, 3  # of a row group
META, VALUES, UNPACKED, PACKED, DATA_AT, DICTIONARY_AT = 3, 5, 6, 7, 9, 11  # of a column chunk
PATH, SIZES = 3, 16  # of a column chunk too
CRYPTO = 8  # of a column chunk, beside META: which key it has


def written(row: Struct) -> bytes:
    """A struct in bytes."""
    out, last = bytearray(), 0
    for field, (kind, value) in sorted(row.items()):
        kind = (_TRUE if value else _FALSE) if kind in (_TRUE, _FALSE) else kind
        near = 0 < field - last <= 15
        out += bytes([(field - last) << 4 | kind]) if near else bytes([kind]) + _number(field)
        out += b"" if kind in (_TRUE, _FALSE) else _in_bytes(kind, value)
        last = field
    return bytes(out) + b"\0"


def _in_bytes(kind: int, value: Any) -> bytes:
    if kind in (_LIST, _SET):
        inner, values = value
        head = bytes([len(values) << 4 | inner]) if len(values) < 15 else bytes([0xF0 | inner]) + _varint(len(values))
        return head + b"".join(bytes([v]) if inner in (_TRUE, _FALSE) else _in_bytes(inner, v) for v in values)
    if kind == _STRUCT:
        return written(value)
    if kind == _BINARY:
        return _varint(len(value)) + bytes(value)
    return bytes(value) if kind in (_DOUBLE, _BYTE) else _number(value)


def _number(value: int) -> bytes:
    return _varint((value << 1) ^ (value >> 63))


def _varint(value: int) -> bytes:
    out = bytearray()
    while value > 127:
        out.append(value & 127 | 128)
        value >>= 7
    return bytes([*out, value])


def with_footer(data: bytes, change: Change) -> bytes:
    """A Parquet file with its footer changed."""
    (size,) = struct.unpack("<I", data[-8:-4])
    row = Compact(data[-8 - size : -8], deepest=20).struct()
    change(row)
    footer = written(row)
    return data[: -8 - size] + footer + struct.pack("<I", len(footer)) + b"PAR1"


def columns_of(row: Struct) -> list[Struct]:
    """What a footer says of each column chunk."""
    return [column[META][1] for group in row[GROUPS][1][1] for column in group[COLUMNS][1][1]]


def with_page(data: bytes, change: Change) -> bytes:
    """A Parquet file of which the header of the first page is changed; the footer's places are moved along."""
    place = 4
    page = Compact(data, place)
    row = page.struct()
    change(row)
    new = written(row)
    more = len(new) - (page.at - place)
    moved = data[:place] + new + data[page.at :]

    def move(footer: Struct) -> None:
        first = True
        for column in columns_of(footer):
            for at in (DATA_AT, DICTIONARY_AT):
                if at in column and column[at][1] > place:
                    column[at][1] += more
            if first:
                column[PACKED][1] += more
            first = False

    return with_footer(moved, move)


def _file(field: int, value: Any) -> Change:
    return lambda row: row[field].__setitem__(1, value)


def _groups(field: int, value: int) -> Change:
    def change(row: Struct) -> None:
        for group in row[GROUPS][1][1]:
            group[field][1] = value

    return change


def _columns(field: int, value: int) -> Change:
    def change(row: Struct) -> None:
        for column in columns_of(row):
            if field in column:
                column[field][1] = value

    return change


def _all(*changes: Change) -> Change:
    def change(row: Struct) -> None:
        for each in changes:
            each(row)

    return change


def _group_often(times: int) -> Change:
    def change(row: Struct) -> None:
        kind, groups = row[GROUPS][1]
        row[GROUPS][1], row[ROWS][1] = (kind, groups * times), row[ROWS][1] * times

    return change


def _columns_often(row: Struct) -> None:
    for group in row[GROUPS][1][1]:
        kind, columns = group[COLUMNS][1]
        group[COLUMNS][1] = (kind, columns * 1000)


def _levels_of_others(row: Struct) -> None:
    """Sizes by levels of nesting that a flat column has not: Arrow ends the process where such a column is asked
    for.
    """
    for column in columns_of(row):
        column[SIZES] = [_STRUCT, {3: [_LIST, (_LONG, [5, 5, 5])]}]


def _names_no_text(row: Struct) -> None:
    for column in columns_of(row):
        column[PATH][1] = (_BINARY, [b"\xff"])


def _schema_no_text(row: Struct) -> None:
    row[SCHEMA][1][1][1][4][1] = b"\xff"


def lying(data: bytes) -> Iterator[tuple[str, bytes]]:
    """A good file of five rows with one lie in each copy. Rows without a page behind them, pages without their rows:
    whatever is believed, rows would be lost or made up.
    """
    great, none = 1 << 40, -1
    five_million = [change(field, 5_000_000) for change, field in ((_file, ROWS), (_groups, GROUP_ROWS))]
    changes: Mapping[str, Change] = {
        "rows-great": _file(ROWS, great),
        "rows-none": _file(ROWS, none),
        "rows-fewer": _file(ROWS, 3),
        "group-rows-great": _groups(GROUP_ROWS, great),
        "group-rows-200m": _groups(GROUP_ROWS, 200_000_000),
        "group-rows-none": _groups(GROUP_ROWS, none),
        "group-rows-fewer": _groups(GROUP_ROWS, 3),
        "all-rows": _all(*five_million, _columns(VALUES, 5_000_000)),
        "all-fewer": _all(_file(ROWS, 3), _groups(GROUP_ROWS, 3), _columns(VALUES, 3)),
        "values-great": _columns(VALUES, great),
        "values-none": _columns(VALUES, none),
        "values-fewer": _columns(VALUES, 2),
        "bytes-great": _groups(GROUP_BYTES, 1 << 62),
        "bytes-none": _groups(GROUP_BYTES, -(1 << 62)),
        "packed-great": _columns(PACKED, 1 << 62),
        "packed-none": _columns(PACKED, none),
        "packed-nought": _columns(PACKED, 0),
        "data-at-none": _columns(DATA_AT, none),
        "words-at-none": _columns(DICTIONARY_AT, -9),
        "words-at-others": _columns(DICTIONARY_AT, 4),
        "data-at-nought": _all(_columns(DATA_AT, 0), _columns(DICTIONARY_AT, 0)),
        "sizes-of-others": _levels_of_others,
        "names-no-text": _names_no_text,
        "schema-no-text": _schema_no_text,
        "groups-of-one": _group_often(1000),
        "groups-more-than-fit": _group_often(30_000),
        "columns-of-one": _columns_often,
    }
    for name, change in changes.items():
        yield name, with_footer(data, change)
    yield from _lying_pages(data)
    yield "footer-long", data[:-8] + struct.pack("<I", 2**31 - 1) + b"PAR1"


def _lying_pages(data: bytes) -> Iterator[tuple[str, bytes]]:
    great, none = 2**31 - 1, -1
    pages: Mapping[str, Change] = {
        "page-great": _file(2, great),
        "page-none": _file(2, none),
        "page-packed-great": _file(3, great),
        "page-words-great": lambda row: row[7][1][1].__setitem__(1, 2**31 - 1),
        "page-words-nought": lambda row: row[7][1][1].__setitem__(1, 0),
    }
    for name, change in pages.items():
        yield name, with_page(data, change)


def encrypted(data: bytes) -> bytes:
    """A file of which one column has a key of its own, under a footer that everybody can read."""
    key: Struct = {2: [_STRUCT, {1: [_LIST, (_BINARY, [b"mould"])]}]}

    def change(row: Struct) -> None:
        row[GROUPS][1][1][0][COLUMNS][1][1][3][CRYPTO] = [_STRUCT, key]

    return with_footer(data, change)


def swelling(cells: Mapping[str, Any]) -> Iterator[tuple[str, bytes]]:
    """Files of a few kB that unpack to 40 MB, of which the footer says nothing: one great text, one in thousands of
    rows, one that shares all with the one before.
    """
    small = _all(_groups(GROUP_BYTES, 700), _columns(UNPACKED, 700))

    def table(mould: pa.Array) -> pa.Table:
        return pa.table(
            {name: mould if name == "mould" else [str(value)] * len(mould) for name, value in cells.items()}
        )

    def file(mould: pa.Array, **how: Any) -> bytes:
        out = io.BytesIO()
        pq.write_table(
            table(mould), out, compression="zstd", write_statistics=False, dictionary_pagesize_limit=1 << 28, **how
        )
        return with_footer(out.getvalue(), small)

    long, often = "1" * 100_000, pa.array([0] * 400)
    yield "page", file(pa.array(["1" * 40_000_000]), use_dictionary=False)
    yield "text", file(pa.array([long]).take(often))
    yield "view", file(pa.array([long]).take(often).cast(pa.string_view()))
    yield "fixed", file(pa.array([long.encode()], pa.binary(len(long))).take(often))
    yield "shared", with_footer(written_shared([table(pa.array([long] * 40))] * 10), small)


def written_shared(tables: Sequence[pa.Table]) -> bytes:
    """Texts kept as what each shares with the one before; a group of rows for each table."""
    out = io.BytesIO()
    names = tables[0].column_names
    with pq.ParquetWriter(
        out,
        tables[0].schema,
        use_dictionary=False,
        write_statistics=False,
        compression="zstd",
        column_encoding=dict.fromkeys(names, "DELTA_BYTE_ARRAY"),
    ) as file:
        for table in tables:
            file.write_table(table)
    return out.getvalue()
