"""JSON lines as text cells."""

from __future__ import annotations

import json
from array import array
from typing import Any

import numpy as np

from pipelines.errors import FileRefused
from pipelines.intake.raw import (
    ASIDE,
    BrokenRow,
    Cells,
    Lines,
    Raw,
    check_broken,
    check_header,
    with_line_feeds,
    without_aside,
)
from schemas.feeds import Feed
from schemas.reasons import Reason


def parse_jsonl(data: bytes, feed: Feed, longest_line: int) -> Raw:
    """The cells of JSON lines: one object a line, its keys the columns; null or an absent key is an empty cell."""
    raw = json_lines(data, longest_line, feed)
    if len(raw.lines):
        check_header(raw.table.column_names, feed)
    return Raw(without_aside(raw.table), raw.lines, raw.broken)


def json_lines(data: bytes, longest_line: int, feed: Feed | None = None) -> Raw:
    """The cells of JSON lines under whatever keys they have; with a feed, a line with a key that is none of its columns
    is broken, and no other is for it.
    """
    known = None if feed is None else {*feed.columns}
    if not data.strip():
        raise FileRefused(Reason.EMPTY_FILE)
    cells = Cells()
    lines = array("i")
    broken: list[BrokenRow] = []
    for number, line in enumerate(Lines(with_line_feeds(data.removeprefix(b"\xef\xbb\xbf"))), start=1):
        if not line.strip():
            continue
        row = _json_cells(number, line, longest_line)
        if known is not None and not isinstance(row, BrokenRow) and not row.keys() <= known:
            row = _with_known_keys(number, line, row, known)
        if isinstance(row, BrokenRow):
            broken.append(row)
            check_broken(broken)
        else:
            cells.add(row)
            lines.append(number)
    return Raw(cells.table(), np.array(lines, np.int32), broken)


def _json_cells(number: int, line: bytes, longest: int) -> dict[str, str] | BrokenRow:
    if len(line) > longest:
        shown = line[:200].decode("utf-8", "replace") + "..."
        return BrokenRow(number, shown, Reason.LINE_TOO_LONG, expected=f"{longest:,}")
    shown = line.decode("utf-8", "replace").rstrip("\r")
    try:
        answer = json.loads(line.decode("utf-8"), parse_int=str, parse_float=str, parse_constant=str)
    except UnicodeDecodeError:
        return BrokenRow(number, shown, Reason.NOT_TEXT, shown)
    except (ValueError, RecursionError):
        return BrokenRow(number, shown, Reason.NOT_JSON)
    if not isinstance(answer, dict):
        return BrokenRow(number, shown, Reason.NOT_JSON)
    if any(isinstance(value, dict | list) for value in answer.values()):
        return BrokenRow(number, shown, Reason.NESTED_JSON, _nested(answer))
    row = {name: _json_text(value) for name, value in answer.items()}
    words = "".join((*row, *row.values())) if b"\\u" in line else ""
    if not _writable(words):
        return BrokenRow(number, shown, Reason.NOT_TEXT, shown)
    if "\0" in words:
        return BrokenRow(number, shown, Reason.NUL_BYTE, shown)
    return row


def _with_known_keys(number: int, line: bytes, row: dict[str, str], known: set[str]) -> dict[str, str] | BrokenRow:
    """The row without what the quarantine added; broken where a key is no column: a misspelt one would be lost without
    a word.
    """
    unknown = [name for name in row if name not in known and not name.startswith(ASIDE)]
    if unknown:
        shown = line.decode("utf-8", "replace").rstrip("\r")
        return BrokenRow(number, shown, Reason.UNKNOWN_KEY, unknown[0][:80], ", ".join(sorted(known)))
    return {name: word for name, word in row.items() if name in known}


def _nested(row: dict[str, Any]) -> str:
    """The first value that is none, as far as it can be shown."""
    first = next(value for value in row.values() if isinstance(value, dict | list))
    try:
        return json.dumps(first)[:200]
    except RecursionError:
        return "[[[[..."


def _writable(text: str) -> bool:
    """Whether a text is whole: half of a pair of UTF-16 can be written in JSON, and in nothing else."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _json_text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)
