"""A workbook of the invented works, and what a clerk does to it: cells changed, rows and columns put in, sheets
renamed.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import openpyxl

from pipelines.errors import PlantError
from pipelines.jobs.plant_file import make_workbook, of_workbook
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings
from tests.conftest import WORKS

Book = Any
Change = Callable[[Book], object]


@cache
def filled(text: str | None = WORKS) -> bytes:
    """The bytes of a workbook of a plant, or of one with examples."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "plant.xlsx"
        make_workbook(path, None if text is None else read_plant(text), Settings())
        return path.read_bytes()


def changed(*changes: Change, text: str | None = WORKS) -> bytes:
    """The workbook after what the clerk did."""
    book = openpyxl.load_workbook(io.BytesIO(filled(text)))
    for change in changes:
        change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def put(place: str, value: object) -> Change:
    """Writes a cell, such as Stations!C7."""
    sheet, cell = place.rsplit("!", 1)

    def change(book: Book) -> None:
        book[sheet][cell] = value

    return change


def read(data: bytes) -> tuple[Plant, list[str]]:
    file = of_workbook(data, "plant.xlsx", Settings())
    return file.plant, list(file.notes)


def mistakes(data: bytes) -> list[str]:
    """What is wrong with a workbook."""
    try:
        plant, _ = read(data)
    except PlantError as error:
        return list(error.mistakes)
    raise AssertionError(f"no mistake in {plant.works.name}")
