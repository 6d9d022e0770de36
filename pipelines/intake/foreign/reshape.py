"""Foreign tables in another shape: headings that are values, kinds of row that are columns, sums of headings."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from fnmatch import fnmatchcase

import polars as pl

from pipelines.intake.foreign.table import LINE, PLACE, ROW
from pipelines.intake.foreign.words import number_word
from pipelines.plant.mapping import Mapping, Wide
from schemas.feeds import Feed

PART, KIND, CELLS = "part of a sum ", "kind of row", "cells of a pivot"  # have blanks: no feed's column is called so


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


def unpivoted(
    cells: pl.DataFrame, plain: list[pl.Expr], headings: list[str], feed: Feed, mapping: Mapping, heads: dict[str, int]
) -> pl.DataFrame:
    """One row for each row and value of the headings; where all their cells are empty (or nought, where only counts
    above it are sent), none. heads: where the headings stand in a workbook.
    """
    values: dict[str, dict[str, str]] = {}
    for part in mapping.wide:
        for heading, word in matching(part, headings, mapping).items():
            values.setdefault(word, {})[part.value or CELLS] = heading
    wanted = tuple(dict.fromkeys(part.value or CELLS for part in mapping.wide))
    name = mapping.wide[0].name
    parts = []
    for word, there in values.items():
        first = next(iter(there.values()))
        texts = [pl.col(there[v]).str.strip_chars().alias(v) if v in there else pl.lit("").alias(v) for v in wanted]
        places = [
            *(
                pl.col(PLACE + there[v]).alias(PLACE + v) if v in there else pl.lit(0, pl.Int64).alias(PLACE + v)
                for v in wanted
            ),
            pl.lit(heads.get(first, 0), pl.Int64).alias(PLACE + name),
        ]
        parts.append(cells.select(*plain, pl.lit(word).alias(name), *texts, *(places if ROW in cells.columns else [])))
    nothing = ("", "0") if feed.name == "reject_counts" and mapping.pivot is None else ("",)
    # (the moment of a block alone is no measurement)
    counted = [v for v in wanted if v != feed.when] or list(wanted)
    frame = pl.concat(parts).filter(~pl.all_horizontal(pl.col(v).is_in(nothing) for v in counted))
    return frame.sort(LINE, maintain_order=True)


def pivoted(cells: pl.DataFrame, feed: Feed, mapping: Mapping) -> tuple[pl.DataFrame, int]:
    """Kinds of row as columns of one row; how many rows of other kinds were left out. Rows of one kind that are the
    same in the key become rows of their own: what is there twice must not be lost.
    """
    assert mapping.pivot is not None
    into = mapping.pivot.into
    target = pl.col(KIND).str.strip_chars().replace_strict(list(into), list(into.values()), default=None)
    cells = cells.with_columns(target.alias(KIND))
    kept = cells.filter(pl.col(KIND).is_not_null())
    key = [c for c in feed.key if c in kept.columns]
    kept = kept.with_columns(pl.int_range(pl.len()).over([*key, KIND]).alias("how often"))
    wanted = list(dict.fromkeys(into.values()))
    others = [c for c in kept.columns if c not in (*key, "how often", KIND, CELLS, PLACE + CELLS)]
    given = [pl.col(CELLS).filter(pl.col(KIND) == c).first().fill_null("").alias(c) for c in wanted]
    places = [pl.col(PLACE + CELLS).filter(pl.col(KIND) == c).first().fill_null(0).alias(PLACE + c) for c in wanted]
    frame = kept.group_by([*key, "how often"], maintain_order=True).agg(
        *(pl.col(c).first() for c in others if c not in wanted),
        *given,
        *(places if PLACE + CELLS in kept.columns else []),
    )
    frame = frame.filter(~pl.all_horizontal(pl.col(c) == "" for c in wanted)).drop("how often")
    return frame.sort(LINE, maintain_order=True), cells.height - kept.height


def summed(cells: pl.DataFrame, mapping: Mapping) -> pl.DataFrame:
    """The frame with the sums of a mapping. Where a part is no number, all are shown as they came, to be refused."""
    plain = number_word(mapping, None)
    for column, parts in mapping.sums.items():
        names = [part if part in cells.columns else PART + part for part in parts]
        words = cells.select(pl.concat_list(pl.col(name).str.strip_chars() for name in names)).to_series()
        sums = [_sum([plain(word) for word in row], row).replace(".", mapping.decimal) for row in words.to_list()]
        cells = cells.with_columns(pl.Series(column, sums, dtype=pl.String))
        if ROW in cells.columns:
            cells = cells.with_columns(pl.col(PLACE + names[0]).alias(PLACE + column))
    return cells


def _sum(plain: list[str], shown: list[str]) -> str:
    if not any(plain):
        return ""
    try:
        return f"{sum((Decimal(word) for word in plain), Decimal()):f}"
    except InvalidOperation:
        return " + ".join(word or "(empty)" for word in shown)
