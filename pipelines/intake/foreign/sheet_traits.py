"""What the sheets of an unknown workbook show by themselves: which has a table, and where its headings stand."""

from __future__ import annotations

from itertools import islice

from pipelines.errors import FileRefused, WrongUse
from pipelines.intake.foreign.table import headings, numbered
from pipelines.intake.foreign.text_traits import Text, heads_in
from pipelines.intake.foreign.workbook import SheetRow, sheets_of, word_of
from pipelines.settings import Settings

_SAMPLE = 400


def look_at_sheets(data: bytes) -> Text:
    """The table of the sheet that has most of one. WrongUse where none has, or the workbook cannot be opened."""
    best: tuple[int, str, list[SheetRow]] = (0, "", [])
    try:
        for _, name, rows in sheets_of(data, ["*"], Settings()):
            sample = list(islice(rows, _SAMPLE))
            full = sum(_filled(row) > 1 for row in sample)
            best = max(best, (full, name, sample), key=lambda found: found[0])
    except FileRefused as refused:
        raise WrongUse(refused.reason.sentence(refused.value, refused.expected)) from None
    full, name, sample = best
    if full < 2:
        raise WrongUse("no table was found in the workbook: no sheet has two rows of more than one cell")
    most = max(_filled(row) for row in sample)
    begin = next(n for n, row in enumerate(sample) if 2 * _filled(row) > most)
    lines = [[word_of(cell) for cell in row.cells] for row in sample[begin:]]
    heads = heads_in(lines)
    names = headings(lines[:heads]) if heads else numbered(len(lines[0]))
    return Text("utf-8", ",", sample[begin].number - 1, heads, names, lines[heads:], name)


def _filled(row: SheetRow) -> int:
    return sum(str(cell).strip() != "" for cell in row.cells)
