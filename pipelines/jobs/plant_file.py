"""The plant file from a workbook, and a workbook from the plant file."""

from __future__ import annotations

from pathlib import Path

from pipelines.errors import FileRefused, SiteError, WrongUse
from pipelines.intake.foreign.workbook import is_workbook, laid_out
from pipelines.plant.workbook.grid import grid_of
from pipelines.plant.workbook.plant_of import plant_of
from pipelines.plant.workbook.writing import write_plant_workbook
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings

NAME = "plant.xlsx"


def plant_in(file: Path, settings: Settings) -> tuple[Plant, list[str]]:
    """The plant of a works.toml or of a workbook, and what was not read of it. PlantError with every mistake."""
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise SiteError(f"there is no file {file}") from None
    except OSError as error:
        raise SiteError(f"{file} cannot be read ({error.strerror})") from None
    if is_workbook(data):
        return of_workbook(data, file.name, settings)
    try:
        return read_plant(data.decode("utf-8")), []
    except UnicodeDecodeError:
        raise SiteError(f"{file} is neither a workbook (.xlsx, .xls, .ods) nor UTF-8 text; save it as one") from None


def of_workbook(data: bytes, name: str, settings: Settings) -> tuple[Plant, list[str]]:
    """The plant of a workbook's bytes."""
    try:
        sheets = laid_out(data, settings)
    except FileRefused as refused:
        raise SiteError(f"{name}: {refused.reason.sentence(refused.value, refused.expected)}") from None
    grids = [
        grid_of(sheet.name, sheet.hidden, ((r.number, r.first, r.cells) for r in sheet.rows), sheet.merged)
        for sheet in sheets
    ]
    return plant_of(grids, name)


def make_workbook(file: Path, plant: Plant | None, settings: Settings) -> None:
    """Write a workbook to fill, or one of a plant. WrongUse where a file of that name is there."""
    if file.exists():
        raise WrongUse(f"{file} is there already; nothing was changed")
    try:
        write_plant_workbook(file, plant)
    except OSError as error:
        raise SiteError(f"{file} cannot be written ({error.strerror})") from None
    if plant is not None and plant_in(file, settings)[0] != plant:
        file.unlink()
        raise WrongUse("this works.toml says what a workbook has no room for; go on editing works.toml itself")
