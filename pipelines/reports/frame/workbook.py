"""The tables of a page as a workbook."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import xlsxwriter

from pipelines.reports.frame.sheet import TEXTS, Sheet, number_format
from pipelines.whole_files import written_whole


def write_workbook(path: Path, title: str, sheets: Sequence[Sheet], notes: Sequence[str] = ()) -> None:
    """Write an .xlsx with a sheet a table. Text stays text: nothing from a feed can become a formula or a link."""
    options = {
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    }
    with written_whole(path) as part, xlsxwriter.Workbook(str(part), options) as book:
        bold = book.add_format({"bold": True})
        formats = {
            c.kind: book.add_format({"num_format": number_format(c.kind)}) for sheet in sheets for c in sheet.shown()
        }
        used: set[str] = set()
        for sheet in sheets:
            page = book.add_worksheet(_sheet_name(sheet.title, used))
            page.write_string(0, 0, f"{title}: {sheet.title}", bold)
            page.write_string(1, 0, sheet.caption)
            for column, this_column in enumerate(sheet.shown()):
                page.write_string(3, column, this_column.heading, bold)
                page.set_column(column, column, 14 if this_column.kind not in TEXTS else 20)
                for row, values in enumerate(sheet.rows):
                    value = values.get(this_column.name)
                    if this_column.kind in TEXTS:
                        page.write_string(4 + row, column, "" if value is None else str(value))
                    elif value is not None:
                        page.write_number(4 + row, column, float(value), formats[this_column.kind])
            page.freeze_panes(4, 1)
        page = book.add_worksheet(_sheet_name("notes", used))
        for row, note in enumerate(notes):
            page.write_string(row, 0, note)


def _sheet_name(title: str, used: set[str]) -> str:
    plain = re.sub(r"[\[\]:*?/\\']", " ", title)[:28].strip() or "sheet"
    name, number = plain, 1
    while name.lower() in used:
        number += 1
        name = f"{plain[:26]} {number}"
    used.add(name.lower())
    return name
