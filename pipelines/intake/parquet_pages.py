"""What a Parquet file really holds, by the headers of its pages, before anything of it is unpacked: its footer can say
anything, and so can the size of a file of few bytes.

Places and fields: parquet.thrift of Apache Parquet; the protocol is Thrift's compact one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, NamedTuple

import pyarrow.parquet as pq

from pipelines.errors import FileRefused
from schemas.reasons import Reason

LARGEST_FOOTER = 16 << 20  # bytes: ten thousand groups of rows; to parse one takes thirty times as much memory
MOST_PAGES = 100_000  # of all columns: each header is read here, in 30 us
_DEEPEST = 8  # structs within structs of a page's header; Parquet's own have 3
_DEEPEST_FOOTER = 20  # structs within structs of a footer; Parquet's own have 6
_TRUE, _FALSE, _BYTE, _SHORT, _INT, _LONG, _DOUBLE, _BINARY, _LIST, _SET, _STRUCT = 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12
_DATA, _DICTIONARY, _DATA_2 = 0, 2, 3  # kinds of page
_GROUPS, _ENCRYPTED, _SHARED = 4, {8, 9}, {5, 6, 7}  # field of the footer; fields of a column; kinds of encoding
_HEAD_OF = {_DATA: 5, _DICTIONARY: 7, _DATA_2: 8}  # the field that counts a page's values
Struct = dict[int, list[Any]]  # field -> [type, value]; a list is (type of its elements, [values])


class Compact:
    """Reads one struct from `at` on, to which `at` then points behind. IndexError, ValueError where there is none."""

    def __init__(self, data: bytes, at: int = 0, deepest: int = _DEEPEST):
        self.data, self.at, self.deepest = data, at, deepest

    def struct(self) -> Struct:
        found: Struct = {}
        field, self.deepest = 0, self.deepest - 1
        if self.deepest < 0:
            raise ValueError("structs within structs")
        while head := self._byte():
            field = field + (head >> 4) if head >> 4 else _signed(self._varint())
            found[field] = [head & 15, self._value(head & 15)]
        self.deepest += 1
        return found

    def groups(self) -> Iterator[Struct]:
        """The groups of rows of a footer, one after the other: all of them at once would take thirty times its
        memory.
        """
        field = 0
        while head := self._byte():
            field = field + (head >> 4) if head >> 4 else _signed(self._varint())
            if (field, head & 15) != (_GROUPS, _LIST):
                self._value(head & 15)
                continue
            for _ in range(self._list_head()[1]):
                yield self.struct()

    def _byte(self) -> int:
        self.at += 1
        return self.data[self.at - 1]

    def _varint(self) -> int:
        number = shift = 0
        while shift < 70:
            byte = self._byte()
            number |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return number
        raise ValueError("a number without an end")

    def _value(self, kind: int) -> Any:
        if kind in (_TRUE, _FALSE):
            return kind == _TRUE
        if kind in (_LIST, _SET):
            inner, count = self._list_head()
            return inner, [self._element(inner) for _ in range(count)]
        if kind == _STRUCT:
            return self.struct()
        if kind in (_BYTE, _DOUBLE, _BINARY):
            size = {_DOUBLE: 8, _BYTE: 1}.get(kind) or self._varint()
            self.at += size
            return self.data[self.at - size : self.at]
        if kind in (_SHORT, _INT, _LONG):
            return _signed(self._varint())
        raise ValueError(f"no type {kind}")

    def _list_head(self) -> tuple[int, int]:
        head = self._byte()
        return head & 15, head >> 4 if head >> 4 < 15 else self._varint()

    def _element(self, kind: int) -> Any:
        return self._byte() if kind in (_TRUE, _FALSE) else self._value(kind)


def _signed(number: int) -> int:
    return (number >> 1) ^ -(number & 1)


@dataclass
class ParquetPages:
    """Pages of some columns: bytes when they are unpacked, of all and of the largest; how many there are; where those
    of each column and group of rows lie; `shared` columns keep texts as what they share with the one before, or apart
    from their lengths.
    """

    size: int = 0
    largest: int = 0
    count: int = 0
    spans: list[tuple[int, int]] = field(default_factory=list)
    shared: set[str] = field(default_factory=set)


class _Chunk(NamedTuple):
    """A column in a group of rows, by the footer: how many values, bytes as they lie there, where its pages begin (0:
    none).
    """

    name: str
    values: int
    packed: int
    data_at: int
    words_at: int
    shared: bool


class _Group(NamedTuple):
    """A group of rows by the footer: bytes when it is unpacked."""

    rows: int
    size: int
    chunks: list[_Chunk]


def check_footer(data: bytes) -> None:
    """FileRefused where the footer alone is more than any file needs that may be taken in."""
    size = int.from_bytes(data[-8:-4], "little")
    if LARGEST_FOOTER < size <= len(data):
        raise FileRefused(Reason.TOO_LARGE, expected=f"a footer of {LARGEST_FOOTER >> 20} MB")


def pages_of(data: bytes, meta: pq.FileMetaData, columns: Sequence[str], largest: int) -> ParquetPages:
    """Look at every page of these columns, none of them nested. FileRefused where footer and pages do not say the same,
    or where they unpack to more than `largest` bytes.
    """
    found = ParquetPages()
    groups = _groups_of(data)
    if meta.num_rows < 0 or [
        each for each in groups if each.rows < 0 or each.size < 0 or len(each.chunks) != meta.num_columns
    ]:
        raise _lies("groups of rows that cannot be")
    if len(groups) != meta.num_row_groups or sum(each.rows for each in groups) != meta.num_rows:
        raise _lies(f"{meta.num_rows} rows in all, {sum(each.rows for each in groups)} in its groups")
    if sum(each.size for each in groups) > largest:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
    for group in groups:
        chunks = {each.name: each for each in group.chunks}
        for name in columns:
            chunk = chunks.get(name)
            if chunk is None or chunk.values != group.rows:
                raise _lies(f"{group.rows} rows, column {name} has another number of them")
            if not 0 <= chunk.packed <= len(data):
                raise _lies(f"more bytes of column {name} than the file has")
            found.spans.append(_look(data, chunk, found, largest))
            if chunk.shared:
                found.shared.add(name)
    spans = sorted(found.spans)
    if any(end > start for (_, end), (start, _) in pairwise(spans)):
        raise _lies("one page for several columns or groups of rows")
    return found


def _groups_of(data: bytes) -> list[_Group]:
    """The groups of rows by the footer. Arrow is not asked: at a column that is encrypted, or says of its sizes what
    cannot be, it ends the whole process.
    """
    size = int.from_bytes(data[-8:-4], "little")
    footer = Compact(data[-8 - size : -8], deepest=_DEEPEST_FOOTER)
    try:
        return [
            _Group(group[3][1] + 0, group[2][1] + 0, [_chunk_of(of) for of in group[1][1][1]])
            for group in footer.groups()
        ]
    except (IndexError, KeyError, TypeError, ValueError, RecursionError):
        raise _lies("what cannot be understood") from None


def _chunk_of(row: Struct) -> _Chunk:
    if _ENCRYPTED & row.keys():
        raise FileRefused(Reason.BROKEN_PARQUET, expected="a column of it is encrypted")
    of = row[3][1]
    name = b".".join(of[3][1][1]).decode()
    words_at = of[11][1] + 0 if 11 in of else 0
    return _Chunk(name, of[5][1] + 0, of[7][1] + 0, of[9][1] + 0, words_at, bool(_SHARED & set(of[2][1][1])))


def _look(data: bytes, chunk: _Chunk, found: ParquetPages, largest: int) -> tuple[int, int]:
    """The pages of one column in one group of rows: from where to where they lie."""
    name = chunk.name
    at = start = min((place for place in (chunk.data_at, chunk.words_at) if place), default=0)
    values = 0
    while values < chunk.values and 0 < at < len(data):
        head = Compact(data, at)
        try:
            row = head.struct()
            kind, unpacked, packed = (row[field][1] for field in (1, 2, 3))
            many = row[_HEAD_OF[kind]][1][1][1] if kind in _HEAD_OF else 0
        except (IndexError, KeyError, TypeError, ValueError, RecursionError):
            raise _lies(f"pages of column {name} where there are none") from None
        if not all(isinstance(number, int) and number >= 0 for number in (kind, unpacked, packed, many)):
            raise _lies(f"pages of column {name} of less than nothing")
        if kind == _DICTIONARY and many > unpacked:
            raise _lies(f"{many} words of column {name} in {unpacked} bytes")
        values += many if kind in (_DATA, _DATA_2) else 0
        at = head.at + packed
        found.size, found.largest, found.count = found.size + unpacked, max(found.largest, unpacked), found.count + 1
        if found.size > largest:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
        if found.count > MOST_PAGES:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{MOST_PAGES:,} pages")
    if values != chunk.values:
        raise _lies(f"{chunk.values} rows of column {name}, {values} in its pages")
    return start, at


def _lies(what: str) -> FileRefused:
    return FileRefused(Reason.BROKEN_PARQUET, expected=f"its footer says {what}")
