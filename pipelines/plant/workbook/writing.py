"""The workbook that a works fills: headings, examples, explanations, drop-downs; or one filled from a plant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Any

import xlsxwriter

from pipelines.plant.toml import table_toml
from pipelines.plant.workbook.cells_of import default_of, entry_of, other_tables, rows_of
from pipelines.plant.workbook.reading import EXPLANATIONS, OTHERS
from pipelines.plant.workbook.settings_rows import (
    ENTRY,
    SETTINGS,
    SETTINGS_ROWS,
    WHAT,
    WORKS,
    WORKS_EXAMPLES,
    WORKS_ROWS,
)
from pipelines.plant.workbook.sheets import EXAMPLE, MARK, SHEETS, PlantColumn, PlantSheet
from pipelines.plant.works import Plant
from pipelines.whole_files import written_whole

LAST = 500  # rows that have a drop-down and a format
_SAFE = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
_AS_TEXT = ("id", "ids", "id text")
INTRODUCTION = (
    "Fill the sheets from left to right, a row each. Nothing else is needed: no sheet has to be sorted or formatted.",
    f"Headings with * must be filled. A row that says '{MARK}' in the column {EXAMPLE} is not read: it shows how.",
    "Whether it fits:   coldledger works check plant.xlsx",
    "To make a site:    coldledger init my-works --from plant.xlsx",
    "Every mistake is named with its sheet and cell, all at once, and nothing is written while there is one.",
    "Columns and sheets of your own may stand beside these; they are not read.",
)


def write_plant_workbook(path: Path, plant: Plant | None = None) -> None:
    """Write the workbook whole or not at all; of a plant, or with examples."""
    with written_whole(path) as part, xlsxwriter.Workbook(str(part), _SAFE) as book:
        writer = _Writer(book, plant)
        writer.explanations()
        writer.entries(WORKS, WORKS_ROWS, WORKS_EXAMPLES)
        for sheet in SHEETS:
            writer.rows(sheet)
        writer.entries(SETTINGS, SETTINGS_ROWS, ())
        if plant is not None:
            writer.others(plant)


@dataclass
class _Writer:
    book: Any
    plant: Plant | None

    def __post_init__(self) -> None:
        style = self.book.add_format
        self.head = style({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        self.bold, self.wrapped = style({"bold": True}), style({"text_wrap": True, "valign": "top"})
        self.example = style({"italic": True, "font_color": "#666666"})
        self.example_text = style({"italic": True, "font_color": "#666666", "num_format": "@"})
        self.formats = {"time": style({"num_format": "hh:mm"}), "text": style({"num_format": "@"})}

    def explanations(self) -> None:
        page = self.book.add_worksheet(EXPLANATIONS)
        page.set_column(0, 0, 18)
        page.set_column(1, 1, 40)
        page.set_column(2, 3, 60, self.wrapped)
        for number, line in enumerate(INTRODUCTION):
            page.write_string(number, 0, line)
        row = len(INTRODUCTION) + 1
        for at, text in enumerate(("Sheet", "Heading", "What stands there", "How it is written")):
            page.write_string(row, at, text, self.head)
        for number, cells in enumerate(explained(), start=row + 1):
            for at, text in enumerate(cells):
                page.write_string(number, at, text)

    def entries(self, name: str, rows: Sequence[PlantColumn], examples: Sequence[str]) -> None:
        """A sheet that is filled downwards."""
        page = self.book.add_worksheet(name)
        page.set_column(0, 0, 44)
        page.set_column(1, 2, 24)
        page.set_column(3, 3, 70)
        page.freeze_panes(1, 0)
        for at, text in enumerate((WHAT, ENTRY, "For example" if examples else "Where it is blank", "Explanation")):
            page.write_string(0, at, text, self.head)
        for number, row in enumerate(rows, start=1):
            page.write_string(number, 0, _starred(row), self.bold)
            self._cell(page, number, 1, entry_of(self.plant, row) if self.plant else None, row)
            beside = examples[number - 1] if number <= len(examples) else ("" if examples else default_of(row))
            page.write_string(number, 2, beside, self.example)
            page.write_string(number, 3, ". ".join(part for part in (row.about, how(row)) if part))
            self._choose(page, number, number, 1, row)

    def rows(self, sheet: PlantSheet) -> None:
        """A sheet with a row an id; examples where there is no plant."""
        page = self.book.add_worksheet(sheet.name)
        page.freeze_panes(1, 2)
        page.write_string(0, 0, EXAMPLE, self.head)
        page.set_column(0, 0, 10)
        for at, column in enumerate(sheet.columns, start=1):
            page.write_string(0, at, _starred(column), self.head)
            page.write_comment(0, at, ". ".join(part for part in (column.about, how(column)) if part) or sheet.about)
            page.set_column(at, at, max(14, min(28, len(column.headed) + 2)), self._format(column))
            self._choose(page, 1, LAST, at, column)
        rows = sheet.examples if self.plant is None else rows_of(self.plant, sheet)
        for number, cells in enumerate(rows, start=1):
            if self.plant is None:
                page.write_string(number, 0, MARK, self.example)
            for at, (value, column) in enumerate(zip(cells, sheet.columns, strict=True), start=1):
                self._cell(page, number, at, value, column, self._example(column))

    def others(self, plant: Plant) -> None:
        """What has no sheet, as TOML, a line a row."""
        lines = [line for header, table in other_tables(plant) for line in table_toml(header, table).splitlines()]
        if lines:
            page = self.book.add_worksheet(OTHERS)
            page.set_column(0, 0, 120, self.formats["text"])
            for number, line in enumerate(lines):
                page.write_string(number, 0, line)

    def _example(self, column: PlantColumn) -> Any:
        """The style of an example's cell; None where the rows are a plant's own."""
        if self.plant is not None:
            return None
        return self.example_text if column.kind in _AS_TEXT else self.example

    def _format(self, column: PlantColumn) -> Any:
        return self.formats["text"] if column.kind in _AS_TEXT else self.formats.get(column.kind)

    def _cell(self, page: Any, row: int, at: int, value: Any, column: PlantColumn, style: Any = None) -> None:
        style = style or self._format(column)
        if value is None:
            page.write_blank(row, at, None, style)
        elif isinstance(value, time):
            page.write_datetime(row, at, value, self.formats["time"])
        elif isinstance(value, str):
            page.write_string(row, at, value, style)
        else:
            page.write_number(row, at, value, style)

    def _choose(self, page: Any, first: int, last: int, at: int, column: PlantColumn) -> None:
        """A drop-down, which lets other words pass: what is wrong is said when the workbook is read."""
        source: Any = list(column.choices)
        if column.of:
            source = f"='{column.of}'!$B$2:$B${LAST + 1}"
        if source and column.kind in ("choice", "yes", "id"):
            page.data_validation(first, at, last, at, {"validate": "list", "source": source, "show_error": False})


def _starred(column: PlantColumn) -> str:
    return f"{column.headed} *" if column.needed else column.headed


def how(column: PlantColumn) -> str:
    """How a cell is written, in words."""
    words = {
        "number": f"a number, in {column.unit}" if column.unit else "a number",
        "whole": "a whole number",
        "time": "a time of day, such as 06:00",
        "ids": "text",
        "choice": f"one of {', '.join(column.choices)}",
        "choices": f"any of {', '.join(column.choices)}; a comma between several",
        "yes": "yes or no",
    }
    return words.get(column.kind, "text") + (f", as on the sheet {column.of}" if column.of else "")


def explained() -> Iterator[tuple[str, str, str, str]]:
    """Each heading of each sheet: sheet, heading, what stands there, how it is written."""
    for name, rows in ((WORKS, WORKS_ROWS), (SETTINGS, SETTINGS_ROWS)):
        if name == SETTINGS:
            for sheet in SHEETS:
                yield sheet.name, "", sheet.about, ""
                for column in sheet.columns:
                    yield sheet.name, _starred(column), column.about, how(column)
        for row in rows:
            yield name, _starred(row), row.about, how(row)
