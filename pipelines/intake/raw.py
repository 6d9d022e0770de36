"""A file as text cells with line numbers, before any value is believed. Every format becomes this one shape."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from pipelines.errors import FileRefused
from schemas.feeds import Feed
from schemas.reasons import Reason

CELL = pa.dictionary(pa.int32(), pa.string())
csv.field_size_limit(1 << 26)  # lines are bounded before they are split
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
class Raw:
    """The cells of a file.

    table: dictionary-encoded text, a column a header name; empty text is an empty cell.
    lines: int32, the line of the file (rows of Parquet count from 1) of each row of the table.
    """

    table: pa.Table
    lines: np.ndarray
    broken: list[BrokenRow] = field(default_factory=list)
    note: str = ""

    @property
    def rows(self) -> int:
        """Rows of the file, broken ones included."""
        return int(self.table.num_rows) + len(self.broken)


def check_header(names: list[str], feed: Feed) -> None:
    """FileRefused(WRONG_HEADER) unless every column is known, none doubled and none that is needed missing."""
    told = [name for name in names if not name.startswith(ASIDE)]
    unknown = [name for name in told if name not in feed.columns]
    doubled = sorted({name for name in told if told.count(name) > 1})
    missing = [name for name in feed.columns if name not in told and name not in feed.omittable]
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
        raise FileRefused(Reason.WRONG_HEADER, expected=" and ".join(faults) + hint)


def split_line(line: str, separator: str) -> list[str]:
    """The cells of one record; where its quotes or line ends make no sense, what stands between the separators."""
    try:
        return next(csv.reader(io.StringIO(line, newline=""), delimiter=separator), [])
    except csv.Error:
        return line.replace("\r", " ").split(separator)


def without_aside(table: pa.Table) -> pa.Table:
    """The table without the columns that quarantine added."""
    return table.select([name for name in table.column_names if not name.startswith(ASIDE)])
