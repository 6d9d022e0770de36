"""The workbook asks for every key of the plant file, explains each heading, and offers what can be chosen."""

from __future__ import annotations

import io
from typing import Any

import openpyxl
import pytest

from pipelines.help.keys import tables
from pipelines.plant.workbook.joining import ON_SHEETS
from pipelines.plant.workbook.settings_rows import SETTINGS_ROWS, WORKS_ROWS
from pipelines.plant.workbook.sheets import JOINED, SHEETS
from pipelines.plant.works import Plant
from tests.plant.clerk import filled

AS_TOML = {"mapping", "clock", "listener", "topic", "source"}  # tables that stand on the sheet of other tables


def new() -> Any:
    return openpyxl.load_workbook(io.BytesIO(filled(None)))


def test_every_table_of_the_plant_file_has_a_sheet_or_stands_as_toml() -> None:
    names = {key.alias or name for name, key in Plant.model_fields.items()}
    assert names - ON_SHEETS <= AS_TOML and names >= ON_SHEETS


@pytest.mark.parametrize("table", sorted(ON_SHEETS))
def test_every_key_has_a_heading_and_what_must_be_said_is_marked(table: str) -> None:
    (columns,) = [sheet.columns for sheet in SHEETS if sheet.table == table] or [()]
    rows = {column.key: column for column in columns}
    rows |= {row.key.split(".", 1)[1]: row for row in (*WORKS_ROWS, *SETTINGS_ROWS) if row.key.split(".")[0] == table}
    for name, key in tables()[table].model_fields.items():
        called = key.alias or name
        if (table, called) == ("test", "limits"):
            continue  # a sheet of its own
        mine = [column for at, column in rows.items() if at == called or at.startswith(f"{called}.")]
        assert mine, f"no heading for {called} of [{table}] in pipelines/plant/workbook"
        if table != "cost":
            assert any(column.needed for column in mine) == key.is_required(), called


def test_what_can_be_chosen_is_what_the_plant_file_takes() -> None:
    for table, column in [(s.table, c) for s in SHEETS for c in s.columns] + [("", r) for r in SETTINGS_ROWS]:
        if column.kind in ("choice", "choices"):
            model: Any = tables()[table or column.key.split(".")[0]]
            name = column.key.rpartition(".")[2]
            annotation = next(key.annotation for n, key in model.model_fields.items() if name in (n, key.alias))
            taken = str(annotation)
            assert all(repr(value) in taken for value in column.choices.values()), column.heading
            assert taken.count("'") == 2 * len(column.choices) or '"' in taken, column.heading


def test_each_heading_is_explained_and_each_sheet_has_an_example() -> None:
    book = new()
    explained = {(row[0].value, row[1].value) for row in book["Explanations"].iter_rows()}
    for sheet in SHEETS:
        page = book[sheet.name]
        heads = [cell.value for cell in page[1]]
        assert heads[0] == "Example" and page["A2"].value == "example"
        assert not [head for head in heads[1:] if (sheet.name, head) not in explained]
        assert [head.endswith("*") for head in heads[1:]] == [column.needed for column in sheet.columns]
        assert all(cell.comment is not None for cell in page[1][1:])
        assert len(sheet.examples[0]) == len(sheet.columns) and sheet.about


def test_choices_and_ids_have_a_drop_down() -> None:
    book = new()
    for sheet in SHEETS:
        offered = {str(rule.sqref)[0]: rule.formula1 for rule in book[sheet.name].data_validations.dataValidation}
        for at, column in enumerate(sheet.columns, start=1):
            letter = "ABCDEFGHIJKLMNOP"[at]
            if column.kind in ("choice", "yes"):
                assert offered[letter] == f'"{",".join(column.choices)}"'
            elif column.of:
                assert offered[letter] == f"'{column.of}'!$B$2:$B$501"
                assert any(other.name == column.of for other in SHEETS)
            else:
                assert letter not in offered


def test_ids_and_codes_are_kept_as_text_where_an_example_stands_too() -> None:
    book = new()
    for sheet in SHEETS:
        page = book[sheet.name]
        for at, column in enumerate(sheet.columns, start=2):
            if column.kind in ("id", "ids", "id text"):
                (below,) = [d for d in page.column_dimensions.values() if d.min <= at <= d.max]
                assert (page.cell(2, at).number_format, below.number_format) == ("@", "@"), column.heading


def test_joined_sheets_are_no_tables_of_the_plant_file() -> None:
    assert not set(JOINED) & set(Plant.model_fields)
