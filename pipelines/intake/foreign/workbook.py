"""The sheets of a workbook as tables. A process of its own opens the file (`workbook_process.py`), one at a time:
whatever the file is, an intake takes no more memory for it.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from array import array
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.errors import FileRefused
from pipelines.intake.by_bytes import what_it_is
from pipelines.intake.foreign.above import Above, patterns_of
from pipelines.intake.foreign.table import LINE, PLACE, ROW, ForeignTable, headings, numbered, with_above
from pipelines.intake.raw import MOST_COLUMNS, BrokenRow, Cells, check_broken, place_code
from pipelines.plant.mapping import Mapping
from pipelines.settings import Settings
from schemas.reasons import Reason

MOST_CELLS = 12_000_000  # of one sheet, empty ones between others included: each takes 32 bytes
LARGEST = 128 << 20  # bytes of a workbook as it comes
_MEMORY, _SECONDS = 900 << 20, 90  # of the process, all of it
_PROCESS = Path(__file__).with_name("workbook_process.py")
_ALONE = threading.Lock()
Cell = str | int | float | bool


@dataclass
class SheetRow:
    """A row that is not blank: its number and that of its first cell, from 1, and its cells."""

    number: int
    first: int
    cells: list[Cell]


@dataclass
class WholeSheet:
    """A sheet as it lies in the workbook. merged: top, left, bottom, right of each merged cell, from 1."""

    name: str
    hidden: bool
    merged: list[tuple[int, int, int, int]]
    rows: list[SheetRow] = field(default_factory=list)


@dataclass
class _Range:
    """The part of a sheet that a mapping names, columns and rows from 1, both ends included."""

    left: int = 1
    top: int = 1
    right: int = MOST_COLUMNS * 10
    bottom: int = 1 << 30


def sheets_of(
    data: bytes, wanted: Sequence[str | int], settings: Settings
) -> Iterator[tuple[list[str], str, Iterator[SheetRow]]]:
    """All names of the sheets, and each wanted sheet by its name with its rows; they are read in order.

    FileRefused where the workbook cannot or must not be opened, or has no such sheet.
    """
    if len(data) > LARGEST:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{LARGEST >> 20} MB")
    with _ALONE, _lines(data, wanted, settings) as lines:
        names: list[str] = []
        ahead: Any = next(lines, None)
        if isinstance(ahead, dict):
            names = ahead.get("names", [])
        ahead = next(lines, None)
        while isinstance(ahead, dict) and "sheet" in ahead:
            name, after = ahead["sheet"], [None]

            def rows(after: list[Any] = after) -> Iterator[SheetRow]:
                for line in lines:
                    if isinstance(line, dict):
                        after[0] = line
                        return
                    yield SheetRow(*line)

            these = rows()
            yield names, name, these
            for _ in these:  # what its reader left
                pass
            ahead = after[0]


def laid_out(data: bytes, settings: Settings) -> list[WholeSheet]:
    """Every sheet with all its cells, whether it is hidden, and what is merged. FileRefused as in `sheets_of`."""
    if len(data) > LARGEST:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{LARGEST >> 20} MB")
    sheets: list[WholeSheet] = []
    with _ALONE, _lines(data, ["*"], settings, merged=True) as lines:
        for line in lines:
            if isinstance(line, list):
                sheets[-1].rows.append(SheetRow(*line))
            elif "sheet" in line:
                sheets.append(WholeSheet(line["sheet"], line["hidden"], line["merged"]))
    return sheets


@contextmanager
def _lines(
    data: bytes, wanted: Sequence[str | int], settings: Settings, merged: bool = False
) -> Iterator[Iterator[Any]]:
    """The answer of the process, line by line; whatever ends early, it ends with it."""
    asked = {
        "sheets": list(wanted),
        "merged": merged,
        "unpacked": settings.largest_file,
        "rows": settings.most_lines,
        "cells": MOST_CELLS,
        "columns": MOST_COLUMNS,
        "memory": _MEMORY,
        "seconds": _SECONDS,
    }
    command = [sys.executable, "-I", str(_PROCESS), json.dumps(asked)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        assert process.stdin is not None and process.stdout is not None
        with suppress(BrokenPipeError):
            process.stdin.write(data)
        with suppress(BrokenPipeError):
            process.stdin.close()
        try:
            yield _answer(process)
        finally:
            process.kill()


def _answer(process: subprocess.Popen[bytes]) -> Iterator[Any]:
    assert process.stdout is not None
    for text in process.stdout:
        if not text.endswith(b"\n"):
            break  # it ended within a line
        line = json.loads(text)
        if isinstance(line, dict) and "refused" in line:
            raise _refused(line["refused"], line["says"])
        yield line
    if process.wait() != 0:
        raise FileRefused(
            Reason.WORKBOOK,
            expected="takes more memory or time to open than one may; save the table alone into a new workbook",
        )


def _refused(kind: str, says: str) -> FileRefused:
    reason = {"large": Reason.TOO_LARGE, "broken": Reason.BROKEN_WORKBOOK}.get(kind, Reason.WORKBOOK)
    return FileRefused(reason, expected=says)


def word_of(cell: Cell, decimal: str = ".") -> str:
    """A cell as text; a number with the decimal mark that the mapping says, for it is read again."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return repr(cell).replace(".", decimal)


def tables_of(data: bytes, mapping: Mapping, settings: Settings) -> ForeignTable:
    """The table of the sheets that a mapping names. FileRefused where there is none."""
    found: list[ForeignTable] = []
    names: list[str] = []
    empty: list[str] = []
    for every, name, rows in sheets_of(data, mapping.sheet, settings):
        names = every
        table = _SheetReader(mapping, settings.longest_line, len(found)).read(name, rows)
        found += [table] if table is not None else []
        empty += [name] if table is None else []
    if not found:
        raise FileRefused(Reason.EMPTY_SHEET, ", ".join(empty)[:80])
    whole = found[0] if len(found) == 1 else _joined(found)
    others = [name for name in names if name not in whole.sheets and name not in empty]
    if others and not mapping.sheet:
        whole.notes.append(f"only the sheet {whole.sheets[0]} was read, not {', '.join(others)[:80]}")
    if empty:
        whole.notes.append(f"nothing stands on the sheet {', '.join(empty)[:80]}")
    return whole


def _joined(tables: list[ForeignTable]) -> ForeignTable:
    """The rows of several sheets under the headings of all of them."""
    frame = pl.concat([table.frame for table in tables], how="diagonal")
    names = [*dict.fromkeys(heading for table in tables for heading in table.headings)]
    given = [*dict.fromkeys(name for table in tables for name in table.given)]
    frame = frame.with_columns(pl.col(*names, *given).fill_null(""))
    return ForeignTable(
        frame,
        names,
        sum(table.rows for table in tables),
        [row for table in tables for row in table.broken],
        [note for table in tables for note in table.notes],
        given,
        tuple(name for table in tables for name in table.sheets),
        {name: place for table in reversed(tables) for name, place in table.heads.items()},
    )


@dataclass
class _SheetReader:
    """One sheet row by row: what stands above the table, its headings, its rows."""

    mapping: Mapping
    longest: int
    number: int
    above: Above = field(default_factory=Above)
    heads: list[list[str]] = field(default_factory=list)
    left: int = 0
    head_row: int = 0
    names: list[str] = field(default_factory=list)
    cells: Cells | None = None
    lines: array[int] = field(default_factory=lambda: array("i"))
    broken: list[BrokenRow] = field(default_factory=list)

    def read(self, name: str, rows: Iterator[SheetRow]) -> ForeignTable | None:
        """The table of a sheet; None where nothing stands in it."""
        mapping, part = self.mapping, range_of(self.mapping)
        patterns = patterns_of(mapping)
        begin = part.top + mapping.skip_lines
        for row in rows:
            words = [word_of(cell, mapping.decimal).replace("\0", "\ufffd") for cell in row.cells]
            said = self.above.look(row.number, words, patterns, below=self.cells is not None) if patterns else {}
            for value_name, (value, at) in said.items():
                self.above.note(row.number, value_name, value, place_code(self.number, row.number, row.first + at))
            if row.number < begin or row.number > part.bottom or (said and self.cells is not None):
                continue
            self._take(row, words, part)
        if self.cells is None and self.heads:
            raise FileRefused(Reason.WRONG_HEADER, expected=f"fewer lines than {mapping.header_lines} on sheet {name}")
        if self.cells is None:
            return None
        self.above.check(mapping)
        return self._table(name)

    def _take(self, row: SheetRow, words: list[str], part: _Range) -> None:
        left = max(part.left, row.first)
        words = words[left - row.first : part.right - row.first + 1]
        if not any(word.strip() for word in words):
            return
        if len(self.heads) < self.mapping.header_lines:
            self.left = self.left or left
            self.heads.append(words)
            self.head_row = row.number
            if len(self.heads) == self.mapping.header_lines:
                self._open(headings(self.heads))
            return
        if self.cells is None:
            self.left = left
            self._open(numbered(len(words)))
        self._add(row, words)

    def _open(self, names: list[str]) -> None:
        self.names, self.cells = names, Cells(names)

    def _add(self, row: SheetRow, words: list[str]) -> None:
        assert self.cells is not None
        if sum(map(len, words)) > self.longest:
            text = " ".join(words)[:200] + "..."
            self.broken.append(BrokenRow(row.number, text, Reason.LINE_TOO_LONG, expected=f"{self.longest:,}"))
            check_broken(self.broken)
            return
        self.cells.add(dict(zip(self.names, words, strict=False)))
        self.lines.append(row.number)

    def _table(self, name: str) -> ForeignTable:
        assert self.cells is not None
        raw = self.cells.table()
        lines = np.array(self.lines, np.int64)
        rows = place_code(self.number, 0) + (lines << 15)
        columns = {heading: pl.Series(raw.column(heading).cast(pa.string())) for heading in self.names}
        places = {PLACE + heading: rows + self.left + at for at, heading in enumerate(self.names)}
        frame = pl.DataFrame({**columns, LINE: lines.astype(np.int32), ROW: rows, **places})
        heads = {}
        if self.heads:
            heads = {h: place_code(self.number, self.head_row, self.left + at) for at, h in enumerate(self.names)}
        sheets = (name,)
        table = ForeignTable(frame, self.names, frame.height, self.broken, [], [], sheets, heads)
        return with_above(table, self.above) if self.mapping.from_lines else table


def range_of(mapping: Mapping) -> _Range:
    """The part of a sheet that a mapping names."""
    found = _Range()
    if mapping.range is None:
        return found
    first, _, last = mapping.range.partition(":")
    found.left, found.top = _column(first), int("".join(c for c in first if c.isdigit()))
    if last:
        found.right = _column(last)
        rows = "".join(c for c in last if c.isdigit())
        found.bottom = int(rows) if rows else found.bottom
    return found


def _column(reference: str) -> int:
    number = 0
    for letter in reference:
        if letter.isalpha():
            number = number * 26 + ord(letter) - 64
    return number


def is_workbook(data: bytes) -> bool:
    """Whether a file is one, by its bytes."""
    found = what_it_is(data)
    return found is not None and found.workbook
