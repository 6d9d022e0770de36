"""Cells of many files of one feed -> rows that satisfy its pandera class, and refusals for all others."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa
from pandera.errors import SchemaErrors

from pipelines.errors import FileRefused
from pipelines.intake.cast import BadCell, Reading, bound_text, cast_text
from pipelines.intake.clocks import with_right_clocks
from pipelines.intake.plant_checks import against_plant
from pipelines.intake.raw import MOST_WRONG, MOST_WRONG_BYTES, Places, Raw
from pipelines.ledger.keeping import ROLLED
from schemas.feeds import Feed
from schemas.reasons import Reason

REFUSALS = {
    "file_no": pl.Int32,
    "file_line": pl.Int32,
    "column_name": pl.String,
    "value": pl.String,
    "reason": pl.String,
    "expected": pl.String,
    "part": pl.Int32,
    "place": pl.String,
}
REFUSED_ROWS = {"file_no": pl.Int32, "file_line": pl.Int32, "row_text": pl.String, "part": pl.Int32}
CELLS = "refused_cells"  # in a row's text: where the cells of a workbook's row stood
_CHECKS = {
    "greater_than_or_equal_to": (Reason.TOO_LOW, "low"),
    "less_than_or_equal_to": (Reason.TOO_HIGH, "high"),
    "str_length": (Reason.TOO_LONG, "high"),
    "not_nullable": (Reason.MISSING, ""),
}


@dataclass
class Sorted:
    """Rows of one feed: `kept` with file_no and file_line; every other row once in `refused_rows`."""

    kept: pl.DataFrame
    refused_rows: pl.DataFrame
    refusals: pl.DataFrame


class TooManyWrong(FileRefused):
    """Files (by their number) of which so many rows are wrong, or so long ones, that they are refused whole: each wrong
    row told takes memory.
    """

    def __init__(self, files: list[int], expected: str = f"{MOST_WRONG:,}"):
        super().__init__(Reason.TOO_MANY_WRONG, expected=expected)
        self.files = files


@dataclass
class _Fault:
    rows: np.ndarray
    column: str
    values: Sequence[str | None]
    reason: Reason
    expected: str = ""


@dataclass
class _Work:
    """The cells of all files, joined; `row` numbers them through."""

    feed: Feed
    file_no: np.ndarray
    file_line: np.ndarray
    indices: dict[str, np.ndarray] = field(default_factory=dict)
    words: dict[str, list[str]] = field(default_factory=dict)
    values: dict[str, list[Any]] = field(default_factory=dict)
    faults: list[_Fault] = field(default_factory=list)

    @property
    def rows(self) -> int:
        return len(self.file_no)

    def cells(self, column: str, rows: np.ndarray) -> list[str]:
        if column not in self.words:
            return [""] * len(rows)
        words = self.words[column]
        return [words[i] for i in self.indices[column][rows]]


def sort_rows(feed: Feed, files: Sequence[tuple[int, Raw]], reading: Reading) -> Sorted:
    """Every row of the files either kept, typed and valid, or refused with all its reasons."""
    work = _join(feed, files)
    frame = _cast(work, reading)
    unread = _mask(work)
    _check_wrong(work, unread)
    _broken_rules(work, frame, unread)
    for column, rows, reason in against_plant(work.indices, work.values, reading.plant, feed.name):
        work.faults.append(_Fault(rows, column, work.cells(column, rows), reason))
    _rolled(work, frame, reading)
    good = ~_mask(work)
    _check_wrong(work, ~good)
    _check_text(work, ~good, files)
    frame = frame.with_columns(
        pl.Series("file_no", work.file_no),
        pl.Series("file_line", work.file_line),
        pl.Series("key_code", _key_codes(work, frame)),
    )
    frame = with_right_clocks(frame, feed, reading.plant)
    return Sorted(frame if good.all() else frame.filter(pl.Series(good)), *_refused(work, files))


def _mask(work: _Work) -> np.ndarray:
    """Which rows have a fault so far."""
    bad = np.zeros(work.rows, bool)
    for fault in work.faults:
        bad[fault.rows] = True
    return bad


def _check_wrong(work: _Work, bad: np.ndarray) -> None:
    if int(bad.sum()) > MOST_WRONG:
        over = np.flatnonzero(np.bincount(work.file_no[bad]) > MOST_WRONG)
        if len(over):
            raise TooManyWrong(over.tolist())


def _check_text(work: _Work, bad: np.ndarray, files: Sequence[tuple[int, Raw]]) -> None:
    """That the wrong rows of no file are too long to be told."""
    size = {number: sum(len(row.text) for row in raw.broken) for number, raw in files}
    if bad.any():
        lengths = np.zeros(int(bad.sum()))
        for column, words in work.words.items():
            lengths += np.fromiter(map(len, words), np.int64, len(words))[work.indices[column][bad]]
        for number, more in enumerate(np.bincount(work.file_no[bad], lengths)):
            size[number] = size.get(number, 0) + int(more)
    over = [number for number, many in size.items() if many > MOST_WRONG_BYTES]
    if over:
        raise TooManyWrong(over, f"{MOST_WRONG_BYTES >> 20} MB")


def _key_codes(work: _Work, frame: pl.DataFrame) -> np.ndarray:
    """One integer a row that is equal where the keys are: cheaper to compare than the key's columns."""
    code, size = np.zeros(work.rows, np.uint64), 1
    for column in work.feed.key:
        if column not in work.words:
            continue
        values = _distinct(work, column)
        size *= len(values) + 1
        if size >= 1 << 63:
            return frame.select(pl.struct(work.feed.key).hash()).to_series().to_numpy()
        code *= np.uint64(len(values) + 1)
        code += values[work.indices[column]]
    return code


def _distinct(work: _Work, column: str) -> np.ndarray:
    """The number of the value that each word stands for; words that are one value have one number."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(value, len(numbers)) for value in work.values[column]], np.uint64)


def _join(feed: Feed, files: Sequence[tuple[int, Raw]]) -> _Work:
    counts = [raw.table.num_rows for _, raw in files]
    work = _Work(
        feed,
        np.repeat(np.array([number for number, _ in files], np.int32), counts),
        np.concatenate([raw.lines for _, raw in files]),
    )
    for column in feed.columns:
        parts = [_column(raw, column, count) for (_, raw), count in zip(files, counts, strict=True)]
        if any(part is not None for part in parts):
            filled = [part if part is not None else _empty(count) for part, count in zip(parts, counts, strict=True)]
            work.indices[column], work.words[column] = _unified(filled)
    return work


def _column(raw: Raw, column: str, count: int) -> list[pa.DictionaryArray] | None:
    if column not in raw.table.column_names:
        return None
    chunked = raw.table.column(column)
    return chunked.chunks if isinstance(chunked, pa.ChunkedArray) else [chunked]


def _empty(count: int) -> list[pa.DictionaryArray]:
    return [pa.DictionaryArray.from_arrays(pa.array(np.zeros(count, np.int32)), pa.array([""]))]


def _unified(parts: list[list[pa.DictionaryArray]]) -> tuple[np.ndarray, list[str]]:
    chunks = [chunk for part in parts for chunk in part if len(chunk)]
    if not chunks:
        return np.zeros(0, np.int32), []
    whole = pa.chunked_array(chunks).unify_dictionaries()
    indices = np.concatenate([np.asarray(chunk.indices) for chunk in whole.chunks])
    return indices, whole.chunk(0).dictionary.to_pylist()


def _cast(work: _Work, reading: Reading) -> pl.DataFrame:
    columns = {}
    for column in work.feed.columns:
        if column in work.words:
            columns[column] = _cast_column(work, column, reading)
        else:
            absent = pl.Series([work.feed.defaults.get(column)], dtype=work.feed.dtype(column))
            columns[column] = absent.new_from_index(0, work.rows)
    return pl.DataFrame(columns)


def _cast_column(work: _Work, column: str, reading: Reading) -> pl.Series:
    quantity = work.feed.quantity(column)
    values, bad = [], {}
    for number, word in enumerate(work.words[column]):
        try:
            values.append(cast_text(word, quantity, reading))
        except BadCell as wrong:
            values.append(None)
            bad[number] = wrong
    indices = work.indices[column]
    if column in work.feed.defaults:
        values = [work.feed.defaults[column] if v is None and n not in bad else v for n, v in enumerate(values)]
    work.values[column] = values
    if bad:
        _note_faults(work, column, indices, bad)
    return pl.Series(values, dtype=work.feed.dtype(column), strict=False).gather(pl.Series(indices.view(np.uint32)))


def _note_faults(work: _Work, column: str, indices: np.ndarray, bad: dict[int, BadCell]) -> None:
    """A fault for each bad word, with the rows that hold it; one pass over the column however many there are."""
    is_bad = np.zeros(len(work.words[column]), bool)
    is_bad[list(bad)] = True
    rows = np.flatnonzero(is_bad[indices])
    order = np.argsort(indices[rows], kind="stable")
    rows = rows[order]
    starts = np.flatnonzero(np.diff(indices[rows], prepend=-1))
    for part in np.split(rows, starts[1:]):
        if len(part):
            number = int(indices[part[0]])
            error = bad[number]
            work.faults.append(
                _Fault(part, column, [work.words[column][number]] * len(part), error.reason, error.expected)
            )


def _broken_rules(work: _Work, frame: pl.DataFrame, unread: np.ndarray) -> None:
    """Rows that the feed's pandera class refuses. `unread` rows have a cell that is no value: its absence is no second
    fault.
    """
    try:
        work.feed.schema.validate(frame, lazy=True)
        return
    except SchemaErrors as errors:
        cases = errors.failure_cases
    for (check, column), part in cases.group_by("check", "column", maintain_order=True):
        if part["index"].null_count():
            raise AssertionError(
                f"{work.feed.name}: {check} of {column} failed without a row"
            )  # a wrong type: our fault
        fault = _rule_fault(work, str(check), str(column), part["index"].to_numpy(), unread)
        if len(fault.rows):
            work.faults.append(fault)


def _rule_fault(work: _Work, check: str, column: str, rows: np.ndarray, unread: np.ndarray) -> _Fault:
    name = check.partition("(")[0]
    if name not in _CHECKS:
        whole = rows[~unread[rows]]
        return _Fault(whole, "", [None] * len(whole), Reason[check.upper()])
    reason, bound = _CHECKS[name]
    if reason is Reason.MISSING:
        rows = rows[np.array([not cell.strip() for cell in work.cells(column, rows)], bool)]
    limit = getattr(work.feed.quantity(column), bound) if bound else None
    if reason is Reason.MISSING and (lacking := work.feed.quantity(column).lacking):
        return _Fault(rows, column, work.cells(column, rows), reason, f"; {lacking}")
    expected = "" if limit is None else bound_text(limit)
    return _Fault(rows, column, work.cells(column, rows), reason, expected)


def _rolled(work: _Work, frame: pl.DataFrame, reading: Reading) -> None:
    """Rows of days of which only hours are kept: beside their hours they would count twice."""
    feed, until = work.feed, reading.rolled_until
    if until is None or feed.name not in ROLLED or feed.when is None or feed.when not in work.words:
        return
    rows = np.flatnonzero((frame[feed.when] < until).fill_null(False).to_numpy())
    if len(rows):
        work.faults.append(_Fault(rows, feed.when, work.cells(feed.when, rows), Reason.MINUTES_ROLLED))


def _refused(work: _Work, files: Sequence[tuple[int, Raw]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    texts, whys = [pl.DataFrame(schema=REFUSED_ROWS)], [pl.DataFrame(schema=REFUSALS)]
    if work.faults:
        bad = np.unique(np.concatenate([fault.rows for fault in work.faults]))
        where, parts = _Whereabouts(files), _parts(work, bad)
        whys.append(_whys(work, where, bad, parts))
        frame = pl.DataFrame({column: work.cells(column, bad) for column in work.feed.columns})
        if where.any:
            frame = frame.with_columns(pl.Series(CELLS, [where.cells(int(row), work.feed) for row in bad]))
        row_text = frame.select(pl.struct(pl.all()).struct.json_encode()).to_series()
        lines = {"file_no": work.file_no[bad], "file_line": work.file_line[bad], "row_text": row_text, "part": parts}
        texts.append(pl.DataFrame(lines, schema=REFUSED_ROWS))
    for number, raw in files:
        if raw.broken:
            texts.append(
                _frame(REFUSED_ROWS, [(number, b.line, json.dumps({"refused_text": b.text}), 0) for b in raw.broken])
            )
            whys.append(
                _frame(
                    REFUSALS,
                    [(number, b.line, "", b.value[:200], b.reason.code, b.expected, 0, "") for b in raw.broken],
                )
            )
    return pl.concat(texts), pl.concat(whys)


def _parts(work: _Work, bad: np.ndarray) -> np.ndarray:
    """Which of the wrong rows of its line each is, from 0: a line of a wide table is many rows."""
    lines = work.file_no[bad].astype(np.int64) << 32 | work.file_line[bad]
    return (
        pl.Series(lines)
        .to_frame("line")
        .select(pl.int_range(pl.len(), dtype=pl.Int32).over("line"))
        .to_series()
        .to_numpy()
    )


class _Whereabouts:
    """Where the rows of all files, joined, stood in the workbooks among them."""

    def __init__(self, files: Sequence[tuple[int, Raw]]):
        self._places = [raw.places for _, raw in files]
        self._ends = np.cumsum([raw.table.num_rows for _, raw in files])
        self.any = any(places is not None for places in self._places)

    def _of(self, row: int) -> tuple[Places | None, int]:
        number = int(np.searchsorted(self._ends, row, side="right"))
        return self._places[number], row - (int(self._ends[number - 1]) if number else 0)

    def name(self, row: int, column: str) -> str:
        """The cell, such as `Shift!F17`; nothing for what came in no workbook."""
        places, at = self._of(row)
        return "" if places is None else places.name(column, at)

    def cells(self, row: int, feed: Feed) -> str:
        """All cells of a row, column by column."""
        places, at = self._of(row)
        names = [] if places is None else [column for column in feed.columns if column in places.columns]
        return ", ".join(f"{column} {places.name(column, at)}" for column in names) if places is not None else ""


def _whys(work: _Work, where: _Whereabouts, bad: np.ndarray, parts: np.ndarray) -> pl.DataFrame:
    rows = np.concatenate([fault.rows for fault in work.faults])

    def told(what: Callable[[_Fault], str]) -> list[str]:
        return [word for fault in work.faults for word in [what(fault)] * len(fault.rows)]

    columns = told(lambda fault: fault.column)
    places = [where.name(int(row), column) for row, column in zip(rows, columns, strict=True)] if where.any else ""
    return pl.DataFrame(
        {
            "file_no": work.file_no[rows],
            "file_line": work.file_line[rows],
            "column_name": columns,
            "value": [None if v is None else v[:200] for fault in work.faults for v in fault.values],
            "reason": told(lambda fault: fault.reason.code),
            "expected": told(lambda fault: fault.expected),
            "part": parts[np.searchsorted(bad, rows)],
            "place": places,
        },
        schema=REFUSALS,
    )


def _frame(schema: dict[str, type[pl.DataType]], rows: list[tuple[object, ...]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=schema, orient="row")
