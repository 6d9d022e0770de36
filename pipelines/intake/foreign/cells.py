"""A foreign export as cells of a feed: its header, its wide columns and its codes, as a [[mapping]] says."""

from __future__ import annotations

import numpy as np
import polars as pl
import pyarrow as pa

from pipelines.errors import FileRefused
from pipelines.intake.foreign.fits import filled
from pipelines.intake.foreign.from_name import said_by_name
from pipelines.intake.foreign.reshape import CELLS, KIND, PART, matching, pivoted, summed, unpivoted
from pipelines.intake.foreign.table import (
    LINE,
    PLACE,
    ROW,
    ForeignTable,
    filled_down,
    table_of_text,
    without_left,
)
from pipelines.intake.foreign.words import at_window_start, in_our_words
from pipelines.intake.foreign.workbook import is_workbook, tables_of
from pipelines.intake.raw import CELL, Places, Raw
from pipelines.plant.mapping import Mapping
from pipelines.settings import Settings
from schemas.feeds import Feed
from schemas.reasons import Reason


def parse_foreign(data: bytes, feed: Feed, mapping: Mapping, name: str, settings: Settings) -> Raw:
    """The cells of one exported text file or workbook under the feed's names, in the contract's words where they can be
    read at all.

    FileRefused when it cannot be decoded or opened, or when its header lacks what the mapping names.
    """
    if is_workbook(data):
        table = tables_of(data, mapping, settings)
    elif mapping.sheet or mapping.range:
        raise FileRefused(Reason.NO_WORKBOOK)
    else:
        table = table_of_text(data, mapping, name, settings.longest_line)
    without_left(table, mapping)
    left = table.rows - table.frame.height - len(table.broken)
    filled_down(table, mapping)
    cells, others = _named(table, feed, mapping, name)
    cells, added = _translated(cells, feed, mapping)
    notes = [
        *table.notes,
        f"{left} lines left out as works.toml says" if left else "",
        f"{others} rows left out, of kinds that `pivot` does not name" if others else "",
        f"{added} rows added to others whose codes mean the same" if added else "",
    ]
    typed = table.of_workbook or mapping.typed
    cells = at_window_start(in_our_words(cells, feed, mapping, typed), feed, mapping)
    if others and not cells.height and mapping.pivot is not None:
        raise FileRefused(Reason.NO_KINDS, ", ".join(mapping.pivot.into)[:80])
    return _raw(cells, feed, table, "; ".join(note for note in notes if note))


def _named(table: ForeignTable, feed: Feed, mapping: Mapping, name: str) -> tuple[pl.DataFrame, int]:
    """The cells under the feed's names, one row a heading of wide columns; how many rows of other kinds there were."""
    given = said_by_name(mapping, name)
    cells = table.frame.with_columns(pl.lit(word, pl.String).alias(column) for column, word in given.items())
    columns = columns_of(table.headings, feed, mapping, [*given, *table.given])
    _complain(columns, table.headings, feed, mapping)
    lines = [pl.col(name) for name in ((ROW, LINE) if table.of_workbook else (LINE,))]
    plain = [*_plain(columns, cells), *_carried(table, mapping), *lines]
    cells = (
        unpivoted(cells, plain, table.headings, feed, mapping, table.heads) if mapping.wide else cells.select(*plain)
    )
    others = 0
    if mapping.pivot is not None:
        cells, others = pivoted(_with_joined(cells), feed, mapping)
    cells = summed(_with_joined(cells), mapping)
    constants = {column: str(value) for column, value in mapping.constants.items()}
    cells = cells.with_columns(pl.lit(word, pl.String).alias(column) for column, word in constants.items())
    wanted = [
        c for c in cells.columns if c in feed.columns or c.removeprefix(PLACE) in feed.columns or c in (LINE, ROW)
    ]
    return cells.select(wanted), others


_JOINED = "before "  # a part of a moment that stands before what `wide` gives


def _plain(columns: dict[str, list[str]], cells: pl.DataFrame) -> list[pl.Expr]:
    """Each column from its headings, and where the first of them stands."""
    found: list[pl.Expr] = []
    for column, names in columns.items():
        parts = [pl.col(name).str.strip_chars() for name in names]
        found.append(pl.concat_str(parts, separator=" ").str.strip_chars().alias(column))
        places = [name for name in names if PLACE + name in cells.columns]
        if places:
            found.append(pl.col(PLACE + places[-1]).alias(PLACE + column))
    return found


def _carried(table: ForeignTable, mapping: Mapping) -> list[pl.Expr]:
    """What `pivot` and `sums` need besides: the kind of row, its cells, the parts of sums."""
    wanted = {PART + part: part for part in mapping.parts if part in table.headings}
    if mapping.pivot is not None:
        wanted[KIND] = mapping.pivot.by
        if mapping.pivot.value is not None:
            wanted[CELLS] = mapping.pivot.value
    found = [pl.col(heading).alias(name) for name, heading in wanted.items()]
    if table.of_workbook:
        found += [pl.col(PLACE + heading).alias(PLACE + name) for name, heading in wanted.items() if name != KIND]
    return found


def _with_joined(cells: pl.DataFrame) -> pl.DataFrame:
    """A moment of which `wide` gives the time of day, behind the day that stands elsewhere."""
    for name in [c for c in cells.columns if c.startswith(_JOINED)]:
        column = name.removeprefix(_JOINED)
        whole = pl.concat_str(pl.col(name), pl.col(column), separator=" ").str.strip_chars()
        cells = cells.with_columns(whole.alias(column)).drop(name)
    return cells


def columns_of(headings: list[str], feed: Feed, mapping: Mapping, given: list[str]) -> dict[str, list[str]]:
    """The feed's columns with the headings they are read from; several headings of one column are joined by a blank (a
    date and a time). given: what stands elsewhere (in the file's name, above the table), joined before a heading.
    """
    found: dict[str, list[str]] = {}
    for name in given:
        if name not in mapping.columns:
            found.setdefault(name, []).append(name)
    there = [*headings, *given]
    for heading, column in mapping.columns.items():
        if heading in there:
            found.setdefault(column, []).append(heading)
    for heading in headings:
        if heading in feed.columns and heading not in mapping.columns and heading not in mapping.targets:
            found[heading] = [heading]
    wide = {part.value for part in mapping.wide}
    return {_JOINED + column if column in wide else column: names for column, names in found.items()}


def _complain(columns: dict[str, list[str]], headings: list[str], feed: Feed, mapping: Mapping) -> None:
    """FileRefused where the mapping and the header do not fit."""
    elsewhere = {*mapping.named, *mapping.from_lines}
    faults = []
    absent = [
        h
        for h, column in mapping.columns.items()
        if h not in headings and h not in elsewhere and column not in feed.omittable
    ]
    absent += [glob for part in mapping.wide for glob in part.columns if not matching(part, headings, mapping)]
    made = {*filled(feed, mapping), *(part.value for part in mapping.wide)}
    made |= set(mapping.pivot.into.values()) if mapping.pivot else set()
    absent += [part for part in mapping.parts if part not in headings and part not in made]
    if mapping.pivot is not None:
        absent += [h for h in (mapping.pivot.by, mapping.pivot.value) if h is not None and h not in headings]
    if absent:
        faults.append("no column " + ", ".join(repr(h[:40]) for h in absent[:8]))
    there = {*columns, *filled(feed, mapping)}
    lacking = [c for c in feed.columns if c not in there and c not in feed.omittable]
    if lacking:
        faults.append("nothing for " + ", ".join(lacking))
    if faults:
        shown = ", ".join(repr(h[:30]) for h in headings[:12])
        raise FileRefused(Reason.WRONG_HEADER, expected=f"{' and '.join(faults)}; it has {shown}")


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


def _raw(cells: pl.DataFrame, feed: Feed, table: ForeignTable, note: str) -> Raw:
    names = [name for name in cells.columns if name in feed.columns]
    columns = [cells[name].fill_null("").to_arrow().cast(pa.string()).dictionary_encode().cast(CELL) for name in names]
    places = None
    if table.of_workbook:
        at = {name: cells[PLACE + name].fill_null(0).to_numpy() for name in names if PLACE + name in cells.columns}
        places = Places(table.sheets, cells[ROW].to_numpy(), at)
    lines = np.asarray(cells[LINE].to_numpy(), np.int32)
    return Raw(pa.table(columns, names=names), lines, table.broken, note, places)
