"""A foreign export as cells of a feed: its header, its wide columns and its codes, as a [[mapping]] says."""

from __future__ import annotations

import re
from fnmatch import fnmatchcase

import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.errors import FileRefused
from pipelines.intake.foreign.words import in_our_words
from pipelines.intake.raw import CELL, MIXED_ENDS, MOST_COLUMNS, BrokenRow, Raw, split_line, with_line_feeds
from pipelines.intake.read_csv import read_cells
from pipelines.intake.read_other import json_lines
from pipelines.plant.mapping import Mapping, Wide
from schemas.feeds import Feed
from schemas.reasons import Reason

LINE = "line of the file"  # has blanks, so that no feed's column is called so
_BOM = "\ufeff"


def parse_foreign(data: bytes, feed: Feed, mapping: Mapping, name: str, longest_line: int) -> Raw:
    """The cells of one exported text file under the feed's names, in the contract's words where they can be read at
    all.

    FileRefused when it cannot be decoded, or when its header lacks what the mapping names.
    """
    raw = _cells_of(data, mapping, name, longest_line)
    headings = raw.table.column_names
    cells, broken = _without_left(_frame(raw), raw.broken, mapping)
    left = raw.rows - cells.height - len(broken)
    cells = _named(cells, headings, feed, mapping, name)
    cells, added = _translated(cells, feed, mapping)
    notes = [
        raw.note,
        f"{left} lines left out as works.toml says" if left else "",
        f"{added} rows added to others whose codes mean the same" if added else "",
    ]
    return _raw(in_our_words(cells, feed, mapping), broken, "; ".join(note for note in notes if note))


def _cells_of(data: bytes, mapping: Mapping, name: str, longest_line: int) -> Raw:
    if name.endswith(".jsonl"):
        return json_lines(data, longest_line)
    text = decoded(data, mapping)
    if "\n" not in text:  # an old machine ends its lines by carriage returns alone
        text, data = text.replace("\r", "\n"), with_line_feeds(data)
    heads = mapping.skip_lines + mapping.header_lines
    if any("\r" in line.rstrip("\r") for line in text.split("\n", heads)[mapping.skip_lines : heads]):
        raise FileRefused(Reason.WRONG_HEADER, expected=MIXED_ENDS)  # a row behind it would be lost with it
    # so that a bad byte is seen in its row
    plain = data.removeprefix(_BOM.encode()) if _is_utf8(mapping) else text.encode()
    return read_cells(plain, header(text, mapping), mapping.separator, longest_line, heads)


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
    """One heading a column. Several header lines are read downwards: a group's heading holds for the empty ones to its
    right.
    """
    lines = text.split("\n", mapping.skip_lines + mapping.header_lines + 1)[mapping.skip_lines :]
    rows = [[cell.strip() for cell in _split(line, mapping)] for line in lines[: mapping.header_lines]]
    if not rows:
        return [str(number + 1) for number in range(len(_split(lines[0], mapping)) if lines else 0)]
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


def _frame(raw: Raw) -> pl.DataFrame:
    columns = {name: pl.Series(raw.table.column(name).cast(pa.string())) for name in raw.table.column_names}
    return pl.DataFrame({**columns, LINE: pl.Series(raw.lines, dtype=pl.Int32)})


def _without_left(
    cells: pl.DataFrame, broken: list[BrokenRow], mapping: Mapping
) -> tuple[pl.DataFrame, list[BrokenRow]]:
    """Without totals, page feet and the like: lines that begin as `leave_lines` says."""
    if not mapping.leave_lines or not cells.width > 1:
        return cells, broken
    first = cells.to_series(0)
    words = first.unique().to_list()
    left = [word for word in words if any(fnmatchcase(word.strip(), glob) for glob in mapping.leave_lines)]
    kept = [row for row in broken if not any(fnmatchcase(row.text.strip(), glob) for glob in mapping.leave_lines)]
    return cells.filter(~first.is_in(left)), kept


def _named(cells: pl.DataFrame, headings: list[str], feed: Feed, mapping: Mapping, name: str) -> pl.DataFrame:
    """The cells under the feed's names, one row a heading of wide columns."""
    columns = columns_of(headings, feed, mapping)
    _complain(columns, headings, feed, mapping)
    plain = [
        pl.concat_str([pl.col(h).str.strip_chars() for h in found], separator=" ").str.strip_chars().alias(column)
        for column, found in columns.items()
    ]
    cells = _unpivoted(cells, plain, headings, feed, mapping) if mapping.wide else cells.select(*plain, LINE)
    found = _from_name(mapping, name)
    given = {**found, **{column: str(value) for column, value in mapping.constants.items()}}
    return cells.with_columns(pl.lit(word, pl.String).alias(column) for column, word in given.items())


def columns_of(headings: list[str], feed: Feed, mapping: Mapping) -> dict[str, list[str]]:
    """The feed's columns with the headings they are read from; several headings of one column are joined by a blank (a
    date and a time).
    """
    found: dict[str, list[str]] = {}
    for heading, column in mapping.columns.items():
        if heading in headings:
            found.setdefault(column, []).append(heading)
    for heading in headings:
        if heading in feed.columns and heading not in mapping.columns and heading not in mapping.targets:
            found[heading] = [heading]
    return found


def _complain(columns: dict[str, list[str]], headings: list[str], feed: Feed, mapping: Mapping) -> None:
    """FileRefused where the mapping and the header do not fit."""
    faults = []
    absent = [h for h, column in mapping.columns.items() if h not in headings and column not in feed.omittable]
    absent += [glob for part in mapping.wide for glob in part.columns if not matching(part, headings, mapping)]
    if absent:
        faults.append("no column " + ", ".join(repr(h[:40]) for h in absent[:8]))
    there = {*columns, *mapping.targets}
    lacking = [c for c in feed.columns if c not in there and c not in feed.omittable]
    if lacking:
        faults.append("nothing for " + ", ".join(lacking))
    if faults:
        shown = ", ".join(repr(h[:30]) for h in headings[:12])
        raise FileRefused(Reason.WRONG_HEADER, expected=f"{' and '.join(faults)}; it has {shown}")


def matching(part: Wide, headings: list[str], mapping: Mapping) -> dict[str, str]:
    """The headings that a wide part takes, with the value that each stands for."""
    found = {}
    for heading in headings:
        if heading in mapping.columns:
            continue
        for glob in part.columns:
            if fnmatchcase(heading, glob):
                found[heading] = _stands_for(heading, glob)
                break
    return found


def _stands_for(heading: str, glob: str) -> str:
    before, star, after = glob.partition("*")
    if not star or "*" in after or "?" in glob or "[" in glob:
        return heading
    return heading[len(before) : len(heading) - len(after)].strip() or heading


def _unpivoted(
    cells: pl.DataFrame, plain: list[pl.Expr], headings: list[str], feed: Feed, mapping: Mapping
) -> pl.DataFrame:
    """One row for each row and value of the headings; where all their cells are empty (or nought, where only counts
    above it are sent), none.
    """
    values: dict[str, dict[str, str]] = {}
    for part in mapping.wide:
        for heading, word in matching(part, headings, mapping).items():
            values.setdefault(word, {})[part.value] = heading
    wanted = tuple(dict.fromkeys(part.value for part in mapping.wide))
    name = mapping.wide[0].name
    parts = [
        cells.select(
            *plain,
            pl.lit(word).alias(name),
            *(pl.col(there[v]).str.strip_chars().alias(v) if v in there else pl.lit("").alias(v) for v in wanted),
            LINE,
        )
        for word, there in values.items()
    ]
    nothing = ("", "0") if feed.name == "reject_counts" else ("",)
    frame = pl.concat(parts).filter(~pl.all_horizontal(pl.col(v).is_in(nothing) for v in wanted))
    return frame.sort(LINE, maintain_order=True)


def _from_name(mapping: Mapping, name: str) -> dict[str, str]:
    if mapping.from_name is None:
        return {}
    found = re.search(mapping.from_name, name)
    if found is None:
        raise FileRefused(Reason.NAME_LACKS, mapping.from_name)
    return {column: word or "" for column, word in found.groupdict().items()}


def _translated(cells: pl.DataFrame, feed: Feed, mapping: Mapping) -> tuple[pl.DataFrame, int]:
    """Codes in the works' own words. Where several mean the same, what was counted under them is added up; how many
    rows were.
    """
    for column, words in mapping.leave_values.items():
        cells = cells.filter(~pl.col(column).str.strip_chars().is_in(words))
    texts = {c: codes for c, codes in mapping.values.items() if c in cells.columns}
    folded = [c for c, codes in texts.items() if c in feed.key and len(set(codes.values())) < len(codes)]
    raw = [pl.col(c).str.strip_chars().alias(f"{c} as it came") for c in folded]
    cells = cells.with_columns(*raw, *(pl.col(c).str.strip_chars().replace(codes) for c, codes in texts.items()))
    if not folded:
        return cells, 0
    return _added_up(cells, feed, [f"{c} as it came" for c in folded])


def _added_up(cells: pl.DataFrame, feed: Feed, raw: list[str]) -> tuple[pl.DataFrame, int]:
    key = [c for c in feed.key if c in cells.columns]
    counts = [c for c in cells.columns if c in feed.columns and _adds(feed, c)]
    whole = pl.all_horizontal(pl.col(c).str.contains(r"^\s*\d{1,15}\s*$") for c in counts)
    twice = pl.len().over(key) > 1
    several = cells.select((twice & whole).alias("several"))["several"]
    last = cells.filter(several).unique([*key, *raw], keep="last", maintain_order=True)
    others = [c for c in cells.columns if c not in (*key, *counts, *raw)]
    added = last.group_by(key, maintain_order=True).agg(
        *(pl.col(c).first() for c in others),
        *(pl.col(c).str.strip_chars().cast(pl.Int64).sum().cast(pl.String) for c in counts),
    )
    kept = [c for c in cells.columns if c not in raw]
    whole_cells = pl.concat([cells.filter(~several).select(kept), added.select(kept)])
    return whole_cells.sort(LINE, maintain_order=True), last.height - added.height


def _adds(feed: Feed, column: str) -> bool:
    return feed.quantity(column).kind == "count" and column not in feed.key and column not in ("window_s", "total")


def _raw(cells: pl.DataFrame, broken: list[BrokenRow], note: str) -> Raw:
    names = [name for name in cells.columns if name != LINE]
    columns = [cells[name].fill_null("").to_arrow().cast(pa.string()).dictionary_encode().cast(CELL) for name in names]
    return Raw(pa.table(columns, names=names), np.asarray(cells[LINE].to_numpy(), np.int32), broken, note)
