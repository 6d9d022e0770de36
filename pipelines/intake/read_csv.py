"""CSV and CSV.gz as text cells: a fast way for well-formed files, a careful one for the rest."""

from __future__ import annotations

import codecs
import gzip
import json
import zlib
from array import array
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from pipelines.errors import FileRefused
from pipelines.intake.by_bytes import check_bytes
from pipelines.intake.raw import (
    CELL,
    MIXED_ENDS,
    MOST_WRONG,
    BrokenRow,
    Cells,
    Lines,
    Raw,
    check_broken,
    check_header,
    check_words,
    split_line,
    split_records,
    with_line_feeds,
    without_aside,
)
from schemas.feeds import Feed
from schemas.reasons import Reason

_BOM = b"\xef\xbb\xbf"
_PIECE = 1 << 22
_SEPARATORS = {";": "';'", "\t": "tabs", "|": "'|'"}
_GREAT = 200_000  # rows from which it is worth looking how many different texts there are
_JOIN_AT_MOST = 50  # physical lines that one quoted record may span


def unpack(data: bytes, largest: int, most_lines: int) -> bytes:
    """The text of a gz file; FileRefused when it is none, broken, cut off, or larger than `largest` bytes or so many
    lines, as soon as that shows.
    """
    check_bytes(data, ".csv.gz")
    parts: list[bytes] = []
    size = lines = 0
    try:
        with gzip.GzipFile(fileobj=pa.BufferReader(data)) as packed:
            while part := packed.read(_PIECE):
                parts.append(part)
                size, lines = size + len(part), lines + lines_in(part)
                check_size(size, lines, largest, most_lines)
    except (EOFError, OSError, zlib.error) as error:
        raise FileRefused(Reason.BROKEN_GZ, expected=str(error)[:120]) from None
    return b"".join(parts)


def lines_in(text: bytes) -> int:
    """How many lines a text has, whichever way they end."""
    return max(text.count(b"\n"), text.count(b"\r"))


def check_size(size: int, lines: int, largest: int, most_lines: int) -> None:
    """FileRefused where a file is larger, or has more lines, than memory may be spent on."""
    if size > largest:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{largest >> 20} MB")
    if lines > most_lines:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{most_lines:,} lines")


def parse_csv(data: bytes, feed: Feed, longest_line: int) -> Raw:
    """The cells of CSV text with the feed's own header."""
    text = with_line_feeds(data.removeprefix(_BOM))
    if not text or text.isspace():
        raise FileRefused(Reason.EMPTY_FILE)
    names = _header(text)
    _check_separator(names, feed)
    check_header(names, feed)
    raw = read_cells(text, names, ",", longest_line)
    return Raw(without_aside(raw.table), raw.lines, raw.broken, raw.note)


def _check_separator(names: list[str], feed: Feed) -> None:
    """FileRefused where the header shows that another character than the comma stands between the columns."""
    for mark in _SEPARATORS if len(names) == 1 else ():
        if len({name.strip() for name in split_line(names[0], mark)} & {*feed.columns}) > 1:
            raise FileRefused(
                Reason.WRONG_HEADER,
                expected=f"its columns separated by {_SEPARATORS[mark]}, not by commas; save it with commas, or let a "
                f"[[mapping]] with separator = {json.dumps(mark)} take it (`coldledger help mapping`)",
            )


def read_cells(text: bytes, names: list[str], separator: str, longest_line: int, heads: int = 1) -> Raw:
    """The cells of separated text under these names; the first `heads` lines are its header."""
    note = "" if text.endswith((b"\n", b"\r")) else "no line break at the end: it may have been cut off"
    if heads != 1:
        text = b"\n" + b"".join(text.split(b"\n", heads)[heads:])
    raw = _fast(text, names, separator, longest_line) or _careful(text, names, separator, longest_line)
    if not raw.rows and len(text) > (end := text.find(b"\n")) >= 0 and text[end:].strip():
        raise FileRefused(Reason.NO_ROWS)
    _check_table(raw.table)
    if heads == 1:
        return Raw(raw.table, raw.lines, raw.broken, note)
    shift = heads - 1
    broken = [replace(row, line=row.line + shift) for row in raw.broken]
    return Raw(raw.table, raw.lines + np.int32(shift), broken, note)


def _check_table(table: pa.Table) -> None:
    """FileRefused where a great table has more different texts than can be held."""
    if table.num_rows < _GREAT:
        return
    words = [column.unify_dictionaries().chunk(0).dictionary for column in table.columns if column.num_chunks]
    check_words(sum(map(len, words)), sum(word.nbytes for word in words))


def _header(text: bytes) -> list[str]:
    end = text.find(b"\n")
    first = text[: end if 0 <= end < 100_000 else 100_000]
    if text[:2] in (b"\xff\xfe", b"\xfe\xff") or 3 * first.count(b"\0") > len(first):
        raise FileRefused(Reason.WRONG_ENCODING, expected="it looks like UTF-16")
    if b"\0" in first:
        raise FileRefused(Reason.WRONG_HEADER, expected=f"a NUL byte in it, at byte {first.index(0) + 1}")
    try:
        line = first.decode("utf-8").rstrip("\r")
    except UnicodeDecodeError as error:
        raise FileRefused(Reason.WRONG_ENCODING, expected=f"byte {error.start + 1} of the header") from None
    if "\r" in line:  # a row behind it would be lost with it
        raise FileRefused(Reason.WRONG_HEADER, expected=MIXED_ENDS)
    return [name.strip() for name in split_line(line, ",")]


def _fast(text: bytes, names: list[str], separator: str, longest: int) -> Raw | None:
    """By Arrow's reader; None where a record might not be one physical line, so that line numbers could be wrong, or
    where a line may be too long.
    """
    if b"\0" in text or len(set(names)) != len(names) or not _is_text(text):
        return None
    ends = text.count(b"\n") + (not text.endswith(b"\n"))
    try:
        threads = len(text) > 1 << 22
        table, broken = _arrow(text, names, separator, threads)
        if broken and threads:  # only one thread knows the numbers of the rows it sets aside
            table, broken = _arrow(text, names, separator, threads=False)
    except (pa.ArrowInvalid, pa.ArrowCapacityError):
        return None
    if table.num_rows + len(broken) != ends - 1 or _longest(table, broken) > longest:
        return None
    lines = np.arange(2, ends + 1, dtype=np.int32)
    if broken:
        lines = np.delete(lines, [row.line - 2 for row in broken])
    blank = _blank_rows(table)
    if blank is not None:
        keep = ~blank
        table, lines = table.filter(pa.array(keep)), lines[keep]
    return Raw(table, lines, broken)


def _longest(table: pa.Table, broken: list[BrokenRow]) -> int:
    """Bytes that no row is longer than: of the longest texts of all columns together, or of a row that could not be
    split.
    """
    words = (
        max((pc.max(pc.binary_length(chunk.dictionary)).as_py() or 0 for chunk in column.chunks), default=0)
        for column in table.columns
    )
    return max(sum(words), max((len(row.text) for row in broken), default=0))


def _is_text(text: bytes) -> bool:
    if text.isascii():
        return True
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for at in range(0, len(text), _PIECE):
            decoder.decode(text[at : at + _PIECE], final=at + _PIECE >= len(text))
    except UnicodeDecodeError:
        return False
    return True


def _arrow(text: bytes, names: list[str], separator: str, threads: bool) -> tuple[pa.Table, list[BrokenRow]]:
    broken: list[BrokenRow] = []

    def set_aside(row: pacsv.InvalidRow) -> str:
        if len(broken) > MOST_WRONG or not row.text.strip():  # a line of blanks is none: the careful way passes over it
            return "error"
        broken.append(
            BrokenRow(
                row.number or 0,
                row.text,
                Reason.FIELD_COUNT,
                expected=_count(row.actual_columns, row.expected_columns),
            )
        )
        return "skip"

    table = pacsv.read_csv(
        pa.BufferReader(text),
        pacsv.ReadOptions(use_threads=threads, block_size=1 << 21, column_names=names, skip_rows=1),
        pacsv.ParseOptions(delimiter=separator, invalid_row_handler=set_aside, ignore_empty_lines=False),
        pacsv.ConvertOptions(column_types=dict.fromkeys(names, CELL), strings_can_be_null=False),
    )
    return table, broken


def _count(fields: int, header: int) -> str:
    return f"{fields} fields, the header {header}"


def _blank_rows(table: pa.Table) -> np.ndarray | None:
    blank: np.ndarray | None = None
    for column in table.columns:
        here = np.concatenate([_is_empty(chunk) for chunk in column.chunks] or [np.zeros(0, bool)])
        blank = here if blank is None else blank & here
        if not blank.any():
            return None
    return blank


def _is_empty(chunk: pa.DictionaryArray) -> np.ndarray:
    words = chunk.dictionary.to_pylist()
    if "" not in words:
        return np.zeros(len(chunk), bool)
    return np.asarray(chunk.indices) == words.index("")


def _careful(text: bytes, names: list[str], separator: str, longest: int) -> Raw:
    """Line by line in plain Python: slower, and sure of every line number."""
    cells = Cells(names)
    lines = array("i")
    broken: list[BrokenRow] = []
    for number, record, fault in _records(text, separator, longest, len(names)):
        if fault is None and len(record) != len(names):
            fault = BrokenRow(
                number, separator.join(record), Reason.FIELD_COUNT, expected=_count(len(record), len(names))
            )
        if fault is not None:
            broken.append(fault)
            check_broken(broken)
            continue
        lines.append(number)
        cells.add(dict(zip(names, record, strict=True)))
    return Raw(cells.table(), np.array(lines, np.int32), broken)


def _records(
    text: bytes, separator: str, longest: int, width: int
) -> Iterator[tuple[int, list[str], BrokenRow | None]]:
    """Line number, cells and fault of each record. A record runs over line ends only where that gives it its `width`:
    a stray quotation mark must not swallow the good rows behind it."""
    physical = Lines(text)
    at = 1
    while at < len(physical):
        number, line = at + 1, physical[at]
        joined, end = _joined(physical, at)
        at += 1
        if not line.strip():
            continue
        fault = _unreadable(number, line, longest)
        if fault is not None:
            yield number, [], fault
            continue
        if joined is not None and _unreadable(number, joined, longest) is None:
            records = _cells(joined, separator)
            if all(len(record) == width for record in records):
                at = end
                yield from ((number, record, None) for record in records)
                continue
        yield from ((number, record, None) for record in _cells(line, separator))


def _cells(line: bytes, separator: str) -> list[list[str]]:
    return [record for record in split_records(line.decode(), separator) if record] or [[]]


def _joined(physical: Lines, at: int) -> tuple[bytes | None, int]:
    """The record that begins at this line when a quoted field of it runs over line ends; None when it does not."""
    if physical[at].count(b'"') % 2 == 0:
        return None, at
    for end in range(at + 1, min(at + _JOIN_AT_MOST, len(physical))):
        if physical[end].count(b'"') % 2:
            return b"\n".join(physical[n] for n in range(at, end + 1)), end + 1
    return None, at


def _unreadable(number: int, line: bytes, longest: int) -> BrokenRow | None:
    if len(line) > longest:
        return BrokenRow(
            number,
            line[:200].decode("utf-8", "replace") + "...",
            Reason.LINE_TOO_LONG,
            expected=f"{longest:,}",
        )
    try:
        if "\0" not in line.decode("utf-8"):
            return None
        reason = Reason.NUL_BYTE
    except UnicodeDecodeError:
        reason = Reason.NOT_TEXT
    shown = line.decode("utf-8", "replace").replace("\0", "�")
    return BrokenRow(number, shown, reason, shown)
