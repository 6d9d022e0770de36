"""A file as text cells with line numbers, before any value is believed. Every format becomes this one shape."""

from __future__ import annotations

import csv
import io
from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipelines.errors import FileRefused
from schemas.feeds import Feed
from schemas.reasons import Reason

CELL = pa.dictionary(pa.int32(), pa.string())
csv.field_size_limit(1 << 26)  # lines are bounded before they are split
MOST_WORDS, MOST_WORD_BYTES = 3_000_000, 128 << 20  # different texts of one file: each is held in memory on its own
MOST_WRONG, MOST_WRONG_BYTES = 300_000, 32 << 20  # wrong rows of one file that are still told one by one; their text
_LONG = 64  # bytes; texts up to here are what feeds are made of
MOST_COLUMNS = 2_000
MIXED_ENDS = "a carriage return in it: the lines of the file end in different ways"
ASIDE = "refused_"  # columns that quarantine files carry for the reader; retry leaves them out


@dataclass(frozen=True)
class BrokenRow:
    """A row that could not be split into its cells."""

    line: int
    text: str
    reason: Reason
    value: str = ""
    expected: str = ""


@dataclass(frozen=True)
class Places:
    """Where the cells of a workbook's rows stood: for each column a number a row, as `place_code` makes it."""

    sheets: tuple[str, ...]
    rows: np.ndarray  # int64: the sheet and the row of each row
    columns: dict[str, np.ndarray]

    def name(self, column: str, row: int) -> str:
        """`Shift!F17`; `Shift row 17` for what stands in no cell of its own."""
        code = int(self.columns[column][row]) if column in self.columns else 0
        return self._name(code or int(self.rows[row]))

    def _name(self, code: int) -> str:
        number, line, column = code >> 36, code >> 15 & 0x1FFFFF, code & 0x7FFF
        sheet = self.sheets[number]
        if not column:
            return f"{sheet} row {line}"
        shown = sheet if sheet.isalnum() else f"'{sheet}'"
        return f"{shown}!{column_letters(column)}{line}"


def place_code(sheet: int, row: int, column: int = 0) -> int:
    """A cell as one number: the sheet's number from 0, the row from 1, the column from 1 (0: the row as a whole)."""
    return sheet << 36 | row << 15 | column


def column_letters(number: int) -> str:
    """A, B, ... Z, AA, ...: the name of a sheet's column by its number from 1."""
    letters = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@dataclass(frozen=True)
class Raw:
    """The cells of a file.

    table: dictionary-encoded text, a column a header name; empty text is an empty cell.
    lines: int32, the line of the file (rows of Parquet count from 1, of a workbook as its sheet does) of each row of
    the table. places: of a workbook.
    """

    table: pa.Table
    lines: np.ndarray
    broken: list[BrokenRow] = field(default_factory=list)
    note: str = ""
    places: Places | None = None

    @property
    def rows(self) -> int:
        """Rows of the file, broken ones included."""
        return int(self.table.num_rows) + len(self.broken)


class Lines:
    """The physical lines of a text by number from 0, cut out when they are asked for: a list of them would take several
    times the text's memory.
    """

    def __init__(self, text: bytes):
        self._text = text
        ends = [np.flatnonzero(part == 10) + at for at, part in _pieces(text)]
        self._ends = np.concatenate([*ends, [len(text)]]).astype(np.int64)

    def __len__(self) -> int:
        return len(self._ends)

    def __getitem__(self, number: int) -> bytes:
        start = int(self._ends[number - 1]) + 1 if number else 0
        return self._text[start : int(self._ends[number])].removesuffix(b"\r")

    def __iter__(self) -> Iterator[bytes]:
        return (self[number] for number in range(len(self)))


def _pieces(text: bytes, size: int = 1 << 24) -> Iterator[tuple[int, np.ndarray]]:
    for at in range(0, len(text), size):
        yield at, np.frombuffer(text, np.uint8, min(size, len(text) - at), at)


class Cells:
    """Rows gathered one by one as dictionary-encoded columns, so that a row costs four bytes a cell. A column that
    comes late is empty before.
    """

    def __init__(self, names: Iterable[str] = ()):
        self._words: dict[str, dict[str, int]] = {}
        self._codes: dict[str, array[int]] = {}
        self._rows = self._distinct = self._bytes = 0
        for name in names:
            self._new(name)

    def _new(self, name: str) -> None:
        if len(self._words) >= MOST_COLUMNS:
            raise FileRefused(Reason.TOO_LARGE, expected=f"{MOST_COLUMNS:,} columns")
        self._words[name], self._codes[name] = {"": 0}, array("i", bytes(4 * self._rows))

    def add(self, row: Mapping[str, str]) -> None:
        """One row; what it does not name is empty. FileRefused where there are too many different texts."""
        for name in row.keys() - self._words.keys():
            self._new(name)
        for name, codes in self._codes.items():
            word, words = row.get(name, ""), self._words[name]
            code = words.get(word)
            if code is None:
                code = words[word] = len(words)
                self._distinct, self._bytes = self._distinct + 1, self._bytes + len(word)
                check_words(self._distinct, self._bytes)
            codes.append(code)
        self._rows += 1

    def table(self) -> pa.Table:
        arrays = [
            pa.DictionaryArray.from_arrays(
                pa.array(np.frombuffer(self._codes[name], np.int32)), pa.array(list(words), pa.string())
            )
            for name, words in self._words.items()
        ]
        return pa.table(arrays, names=list(self._words))


def long_texts(table: pa.Table) -> np.ndarray:
    """Bytes of the long texts of each row; a text that is in memory once can be in every row."""
    size = np.zeros(table.num_rows, np.int64)
    for column in table.columns:
        at = 0
        for chunk in column.chunks:
            lengths = np.asarray(pc.binary_length(chunk.dictionary))
            if len(lengths) and lengths.max() > _LONG:
                size[at : at + len(chunk)] += np.where(lengths > _LONG, lengths, 0)[np.asarray(chunk.indices)]
            at += len(chunk)
    return size


def check_words(distinct: int, size: int) -> None:
    """FileRefused where a file's different texts are more, or longer together, than memory may be spent on."""
    if distinct > MOST_WORDS:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{MOST_WORDS:,} different values")
    if size > MOST_WORD_BYTES:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{MOST_WORD_BYTES >> 20} MB of different values")


def check_broken(broken: list[BrokenRow]) -> None:
    """FileRefused where so many rows are broken that the file as a whole is."""
    if len(broken) > MOST_WRONG:
        raise FileRefused(Reason.TOO_MANY_WRONG, expected=f"{MOST_WRONG:,}")


def with_line_feeds(text: bytes) -> bytes:
    """The text with line feeds where an old machine ends its lines by carriage returns alone."""
    return text if b"\n" in text else text.replace(b"\r", b"\n")


def check_header(names: list[str], feed: Feed) -> None:
    """FileRefused(WRONG_HEADER) unless every column is known, none doubled and none that is needed missing."""
    texts = [name for name in names if not name.startswith(ASIDE)]
    unknown = [name for name in texts if name not in feed.columns]
    doubled = sorted({name for name in texts if texts.count(name) > 1})
    missing = [name for name in feed.columns if name not in texts and name not in feed.omittable]
    faults = [
        f"{what} {', '.join(repr(n[:40]) for n in columns[:8])}"
        for what, columns in (
            ("an unknown column", unknown),
            ("twice the column", doubled),
            ("no column", missing),
        )
        if columns
    ]
    if faults:
        hint = f"; {feed.name} has the columns {', '.join(feed.columns)}"
        hint += "".join(f"; {text}" for text in dict.fromkeys(feed.quantity(name).lacking for name in missing) if text)
        raise FileRefused(Reason.WRONG_HEADER, expected=" and ".join(faults) + hint)


def split_line(line: str, separator: str) -> list[str]:
    """The cells of one record; where its quotes or line ends make no sense, what stands between the separators."""
    return next(iter(split_records(line, separator)), [])


def split_records(line: str, separator: str) -> list[list[str]]:
    """The cells of each record of a line: a carriage return alone ends one too, and what stands behind it must not be
    lost.
    """
    try:
        return list(csv.reader(io.StringIO(line, newline=""), delimiter=separator))
    except csv.Error:
        return [line.replace("\r", " ").split(separator)]


def without_aside(table: pa.Table) -> pa.Table:
    """The table without the columns that quarantine added."""
    return table.select([name for name in table.column_names if not name.startswith(ASIDE)])


def joined(parts: list[Raw]) -> Raw:
    """What several mappings make of one file for one feed; a line that is broken for all of them is one."""
    names = list(dict.fromkeys(name for raw in parts for name in raw.table.column_names))
    tables = [_with_columns(raw.table, names) for raw in parts]
    broken = {row.line: row for raw in parts for row in raw.broken}
    notes = dict.fromkeys(raw.note for raw in parts if raw.note)
    places = _joined_places(parts, names) if all(raw.places is not None for raw in parts) else None
    lines = np.concatenate([raw.lines for raw in parts])
    return Raw(pa.concat_tables(tables), lines, list(broken.values()), "; ".join(notes), places)


def _with_columns(table: pa.Table, names: list[str]) -> pa.Table:
    """The table with empty columns for the names that it lacks."""
    empty = pa.DictionaryArray.from_arrays(pa.array(np.zeros(table.num_rows, np.int32)), pa.array([""], pa.string()))
    return pa.table([table.column(name) if name in table.column_names else empty for name in names], names=names)


def _joined_places(parts: list[Raw], names: list[str]) -> Places:
    found = [(raw.places, raw.table.num_rows) for raw in parts if raw.places is not None]
    before = np.cumsum([0, *(len(places.sheets) for places, _ in found)])
    sheets = tuple(sheet for places, _ in found for sheet in places.sheets)

    def moved(values: np.ndarray, number: int) -> np.ndarray:
        return np.where(values > 0, values + place_code(int(before[number]), 0), 0)

    columns = {
        name: np.concatenate(
            [moved(places.columns.get(name, np.zeros(rows, np.int64)), n) for n, (places, rows) in enumerate(found)]
        )
        for name in names
    }
    return Places(sheets, np.concatenate([moved(places.rows, n) for n, (places, _) in enumerate(found)]), columns)
