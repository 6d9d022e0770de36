"""Cells of many files of one feed -> rows that satisfy its pandera class, and refusals for all others."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl
import pyarrow as pa
from pandera.errors import SchemaErrors

from pipelines.intake.cast import BadCell, Reading, cast_text
from pipelines.intake.plant_checks import against_plant
from pipelines.intake.raw import Raw
from schemas.feeds import Feed
from schemas.reasons import Reason

REFUSALS = {
    "file_no": pl.Int32,
    "file_line": pl.Int32,
    "column_name": pl.String,
    "value": pl.String,
    "reason": pl.String,
    "expected": pl.String,
}
REFUSED_ROWS = {"file_no": pl.Int32, "file_line": pl.Int32, "row_text": pl.String}
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
    good = np.ones(work.rows, bool)
    for fault in work.faults:
        good[fault.rows] = False
    frame = frame.with_columns(pl.int_range(pl.len(), dtype=pl.Int32).alias("row")).filter(pl.Series(good))
    frame = _without(frame, _broken_rules(work, frame))
    frame = _without(frame, _broken_plant_rules(work, frame, reading))
    kept = _lineage(work, frame)
    return Sorted(kept, *_refused(work, files))


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
            columns[column] = pl.Series([None], dtype=work.feed.dtype(column)).new_from_index(0, work.rows)
        if column in work.feed.defaults:
            columns[column] = columns[column].fill_null(work.feed.defaults[column])
    return pl.DataFrame(columns)


def _cast_column(work: _Work, column: str, reading: Reading) -> pl.Series:
    quantity = work.feed.quantity(column)
    values, bad = [], {}
    for number, word in enumerate(work.words[column]):
        try:
            values.append(cast_text(word, quantity, reading))
        except BadCell as error:
            values.append(None)
            bad[number] = error
    indices = work.indices[column]
    for number, error in bad.items():
        rows = np.flatnonzero(indices == number) if len(bad) < 50 else None
        if rows is not None:
            work.faults.append(_Fault(rows, column, [work.words[column][number]] * len(rows), error.reason, error.expected))
    if len(bad) >= 50:
        _many_faults(work, column, indices, bad)
    return pl.Series(values, dtype=work.feed.dtype(column), strict=False).gather(pl.Series(indices, dtype=pl.UInt32))


def _many_faults(work: _Work, column: str, indices: np.ndarray, bad: dict[int, BadCell]) -> None:
    rows = np.flatnonzero(np.isin(indices, np.fromiter(bad, np.int32)))
    order = np.argsort(indices[rows], kind="stable")
    rows = rows[order]
    starts = np.flatnonzero(np.diff(indices[rows], prepend=-1))
    for part in np.split(rows, starts[1:]):
        if len(part):
            number = int(indices[part[0]])
            error = bad[number]
            work.faults.append(_Fault(part, column, [work.words[column][number]] * len(part), error.reason, error.expected))


def _broken_rules(work: _Work, frame: pl.DataFrame) -> np.ndarray:
    """Rows that the feed's pandera class refuses."""
    try:
        work.feed.schema.validate(frame.select(work.feed.columns), lazy=True)
        return np.zeros(0, np.int64)
    except SchemaErrors as errors:
        cases = errors.failure_cases
    at = frame["row"].to_numpy()
    found = []
    for (check, column), part in cases.group_by("check", "column", maintain_order=True):
        if part["index"].null_count():
            raise AssertionError(f"{work.feed.name}: {check} of {column} failed without a row")  # a wrong type: our fault
        rows = at[part["index"].to_numpy()]
        found.append(rows)
        work.faults.append(_rule_fault(work, str(check), str(column), rows))
    return np.concatenate(found)


def _rule_fault(work: _Work, check: str, column: str, rows: np.ndarray) -> _Fault:
    name = check.partition("(")[0]
    if name not in _CHECKS:
        return _Fault(rows, "", [None] * len(rows), Reason[check.upper()])
    reason, bound = _CHECKS[name]
    limit = getattr(work.feed.quantity(column), bound) if bound else None
    return _Fault(rows, column, work.cells(column, rows), reason, "" if limit is None else f"{limit:g}" if limit < 1e6 else f"{limit:.0f}")


def _broken_plant_rules(work: _Work, frame: pl.DataFrame, reading: Reading) -> np.ndarray:
    found = [np.zeros(0, np.int64)]
    for column, rows, reason in against_plant(frame, reading.plant):
        found.append(rows)
        work.faults.append(_Fault(rows, column, work.cells(column, rows), reason))
    return np.concatenate(found)


def _without(frame: pl.DataFrame, rows: np.ndarray) -> pl.DataFrame:
    if not len(rows):
        return frame
    return frame.filter(~pl.col("row").is_in(pl.Series(np.unique(rows), dtype=pl.Int32).implode()))


def _lineage(work: _Work, frame: pl.DataFrame) -> pl.DataFrame:
    rows = frame["row"].to_numpy()
    return frame.drop("row").with_columns(
        file_no=pl.Series(work.file_no[rows], dtype=pl.Int32), file_line=pl.Series(work.file_line[rows], dtype=pl.Int32)
    )


def _refused(work: _Work, files: Sequence[tuple[int, Raw]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    texts, whys = [pl.DataFrame(schema=REFUSED_ROWS)], [pl.DataFrame(schema=REFUSALS)]
    for fault in work.faults:
        whys.append(_why(work, fault))
    bad = np.unique(np.concatenate([fault.rows for fault in work.faults])) if work.faults else np.zeros(0, np.int64)
    if len(bad):
        told = pl.DataFrame({column: work.cells(column, bad) for column in work.feed.columns})
        row_text = told.select(pl.struct(pl.all()).struct.json_encode()).to_series()
        texts.append(pl.DataFrame({"file_no": work.file_no[bad], "file_line": work.file_line[bad], "row_text": row_text}, schema=REFUSED_ROWS))
    for number, raw in files:
        if raw.broken:
            texts.append(_frame(REFUSED_ROWS, [(number, b.line, json.dumps({"refused_text": b.text})) for b in raw.broken]))
            whys.append(_frame(REFUSALS, [(number, b.line, "", b.value, b.reason.code, b.expected) for b in raw.broken]))
    return pl.concat(texts), pl.concat(whys)


def _why(work: _Work, fault: _Fault) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "file_no": work.file_no[fault.rows],
            "file_line": work.file_line[fault.rows],
            "column_name": [fault.column] * len(fault.rows),
            "value": [None if v is None else v[:200] for v in fault.values],
            "reason": [fault.reason.code] * len(fault.rows),
            "expected": [fault.expected] * len(fault.rows),
        },
        schema=REFUSALS,
    )


def _frame(schema: dict[str, type[pl.DataType]], rows: list[tuple[object, ...]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=schema, orient="row")
