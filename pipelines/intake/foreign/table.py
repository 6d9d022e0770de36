"""A foreign export as a table of its own words: headings, rows, and where each of them stood."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase

import polars as pl
import pyarrow as pa

from pipelines.errors import FileRefused
from pipelines.intake.foreign.above import Above, lines_above
from pipelines.intake.raw import MIXED_ENDS, MOST_COLUMNS, BrokenRow, split_line, with_line_feeds
from pipelines.intake.read_csv import read_cells
from pipelines.intake.read_other import json_lines
from pipelines.plant.mapping import Mapping
from schemas.reasons import Reason

LINE = "line of the file"  # has blanks, so that no feed's column is called so
PLACE = "place of "  # before a column's name: where its cells stood in a workbook
ROW = PLACE + LINE
_BOM = "\ufeff"


@dataclass
class ForeignTable:
    """frame: a column a heading, LINE, and in a workbook ROW and PLACE of each heading. rows: how many there were.

    given: what was not read from a cell of the row, by its name. heads: where the headings stand in a workbook.
    """

    frame: pl.DataFrame
    headings: list[str]
    rows: int
    broken: list[BrokenRow] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    given: list[str] = field(default_factory=list)
    sheets: tuple[str, ...] = ()
    heads: dict[str, int] = field(default_factory=dict)

    @property
    def of_workbook(self) -> bool:
        return bool(self.sheets)


def table_of_text(data: bytes, mapping: Mapping, name: str, longest_line: int) -> ForeignTable:
    """The table of a text file. FileRefused where it is none."""
    if name.endswith(".jsonl"):
        raw, above = json_lines(data, longest_line), Above()
    else:
        text = decoded(data, mapping)
        if "\n" not in text:  # an old machine ends its lines by carriage returns alone
            text, data = text.replace("\r", "\n"), with_line_feeds(data)
        heads = mapping.skip_lines + mapping.header_lines
        if any("\r" in line.rstrip("\r") for line in text.split("\n", heads)[mapping.skip_lines : heads]):
            raise FileRefused(Reason.WRONG_HEADER, expected=MIXED_ENDS)  # a row behind it would be lost with it
        # so that a bad byte is seen in its row
        plain = data.removeprefix(_BOM.encode()) if _is_utf8(mapping) else text.encode()
        raw = read_cells(plain, header(text, mapping), mapping.separator, longest_line, heads)
        above = lines_above(text, mapping) if mapping.from_lines else Above()
    columns = {name: pl.Series(raw.table.column(name).cast(pa.string())) for name in raw.table.column_names}
    frame = pl.DataFrame({**columns, LINE: pl.Series(raw.lines, dtype=pl.Int32)})
    found = ForeignTable(frame, raw.table.column_names, raw.rows, raw.broken, [raw.note])
    return with_above(found, above) if mapping.from_lines else found


def with_above(table: ForeignTable, above: Above) -> ForeignTable:
    """The table with a column for each value that stands above it, without the lines that say them and without headings
    that stand again over a block.
    """
    frame = table.frame.with_columns(*above.columns(table.frame[LINE].to_numpy(), PLACE, table.of_workbook))
    again = (
        pl.all_horizontal(pl.col(h).str.strip_chars() == h for h in table.headings) if table.headings else pl.lit(False)
    )
    frame = frame.filter(~pl.col(LINE).is_in(sorted(above.lines)) & ~again)
    broken = [row for row in table.broken if row.line not in above.lines]
    rows = table.rows - (table.frame.height - frame.height) - (len(table.broken) - len(broken))
    return replace(table, frame=frame, broken=broken, rows=rows, given=[*table.given, *above.found])


def _is_utf8(mapping: Mapping) -> bool:
    return mapping.encoding.lower().replace("_", "-") in ("utf-8", "utf8")


def decoded(data: bytes, mapping: Mapping) -> str:
    """The text; FileRefused where a byte is none of the encoding. UTF-8 is judged row by row later."""
    if _is_utf8(mapping):
        text = data.decode("utf-8", "replace")
    else:
        try:
            text = data.decode(mapping.encoding)
        except UnicodeError as error:
            raise FileRefused(Reason.OTHER_ENCODING, expected=f"{mapping.encoding}: {error}"[:160]) from None
    text = text.removeprefix(_BOM).encode("utf-8", "replace").decode()
    if not text.strip():
        raise FileRefused(Reason.EMPTY_FILE)
    return text


def header(text: str, mapping: Mapping) -> list[str]:
    """One heading a column of a text."""
    lines = text.split("\n", mapping.skip_lines + mapping.header_lines + 1)[mapping.skip_lines :]
    rows = [_split(line, mapping) for line in lines[: mapping.header_lines]]
    return headings(rows) if rows else numbered(len(_split(lines[0], mapping)) if lines else 0)


def numbered(width: int) -> list[str]:
    """What columns without a header are called."""
    return [str(number + 1) for number in range(width)]


def headings(lines: list[list[str]]) -> list[str]:
    """One heading a column. Several header lines are read downwards: a group's heading holds for the empty ones to its
    right.
    """
    rows = [[cell.strip() for cell in line] for line in lines]
    width = max(len(row) for row in rows)
    if width > MOST_COLUMNS:
        raise FileRefused(Reason.TOO_LARGE, expected=f"{MOST_COLUMNS:,} columns")
    rows = [row + [""] * (width - len(row)) for row in rows]
    spread = [_spread(row) for row in rows[:-1]] + [rows[-1]]
    return _apart([" ".join(part for part in column if part) for column in zip(*spread, strict=True)])


def _split(line: str, mapping: Mapping) -> list[str]:
    return split_line(line.rstrip("\r"), mapping.separator)


def _spread(row: list[str]) -> list[str]:
    found, last = [], ""
    for cell in row:
        last = cell or last
        found.append(last)
    return found


def _apart(names: list[str]) -> list[str]:
    """Names that are all different: an empty one is numbered, a second of the same name counted."""
    sentences: list[str] = []
    for number, name in enumerate(names, start=1):
        plain = name or f"column {number}"
        count = sum(other == plain or other.startswith(f"{plain} (") for other in sentences)
        sentences.append(f"{plain} ({count + 1})" if plain in sentences else plain)
    return sentences


def without_left(table: ForeignTable, mapping: Mapping) -> None:
    """Without totals, page feet and the like: lines that begin as `leave_lines` says."""
    if not mapping.leave_lines or not table.headings:
        return

    def left(word: str) -> bool:
        return any(fnmatchcase(word.strip(), glob) for glob in mapping.leave_lines)

    first = pl.col(table.headings[0])
    begins = pl.coalesce(
        *(pl.when(pl.col(h).str.strip_chars() != "").then(pl.col(h)) for h in table.headings), pl.lit("")
    )
    words = table.frame.select(first.alias("first"), begins.alias("begins"))
    gone = [
        words[name].is_in([word for word in words[name].unique().to_list() if left(word or "")])
        for name in words.columns
    ]
    table.frame = table.frame.filter(~(gone[0] | gone[1]))
    table.broken = [row for row in table.broken if not left(row.text)]


def filled_down(table: ForeignTable, mapping: Mapping) -> None:
    """Cells left empty below a value mean that value, and where that stands. FileRefused for a heading that is not
    there.
    """
    absent = [heading for heading in mapping.fill_down if heading not in table.headings]
    if absent:
        shown = ", ".join(repr(h[:30]) for h in table.headings[:12])
        raise FileRefused(
            Reason.WRONG_HEADER, expected=f"no column {', '.join(map(repr, absent))} for fill_down; it has {shown}"
        )
    for heading in mapping.fill_down:
        there = pl.col(heading).str.strip_chars() != ""
        names = [heading, PLACE + heading] if table.of_workbook else [heading]
        filled = [pl.when(there).then(pl.col(name)).forward_fill().fill_null(pl.col(name)) for name in names]
        table.frame = table.frame.with_columns(*filled)
