"""The plant file from a workbook, a workbook from the plant file, and whether either fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import FileRefused, PlantError, SiteError, WrongUse
from pipelines.intake.foreign.fits import mapping_faults
from pipelines.intake.foreign.workbook import is_workbook, laid_out
from pipelines.plant.toml import works_toml
from pipelines.plant.workbook.grid import grid_of
from pipelines.plant.workbook.plant_of import plant_of
from pipelines.plant.workbook.writing import write_plant_workbook
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings
from schemas.feeds import ALL_FEEDS

NAME = "plant.xlsx"


@dataclass(frozen=True)
class PlantFile:
    """A plant as a file tells it. text: as works.toml has it. notes: what of the file was not read."""

    plant: Plant
    text: str
    notes: Sequence[str] = ()


def plant_in(file: Path, settings: Settings) -> PlantFile:
    """What a works.toml or a workbook tells. PlantError with every mistake, SiteError where it cannot be read."""
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise SiteError(f"there is no file {file}") from None
    except OSError as error:
        raise SiteError(f"{file} cannot be read ({error.strerror})") from None
    if is_workbook(data):
        return of_workbook(data, file.name, settings)
    try:
        text = data.decode("utf-8")
        return PlantFile(read_plant(text), text)
    except UnicodeDecodeError:
        raise SiteError(f"{file} is neither a workbook (.xlsx, .xls, .ods) nor UTF-8 text; save it as one") from None
    except PlantError as error:
        raise PlantError(error.mistakes, file.name) from None


def of_workbook(data: bytes, name: str, settings: Settings) -> PlantFile:
    """What a workbook's bytes tell."""
    try:
        sheets = laid_out(data, settings)
    except FileRefused as refused:
        raise SiteError(f"{name}: {refused.reason.sentence(refused.value, refused.expected)}") from None
    grids = [
        grid_of(sheet.name, sheet.hidden, ((r.number, r.first, r.cells) for r in sheet.rows), sheet.merged)
        for sheet in sheets
    ]
    plant, notes = plant_of(grids, name)
    return PlantFile(plant, works_toml(plant), notes)


def faults_of_mappings(plant: Plant) -> list[str]:
    """What is wrong with a [[mapping]] that only its feed can tell."""
    said = []
    for number, mapping in enumerate(plant.mapping, start=1):
        head = f"[[mapping]] number {number} ({', '.join(mapping.files)})"
        if mapping.feed not in ALL_FEEDS:
            said.append(f"{head}, feed: '{mapping.feed}' is no feed; `coldledger help feeds` lists them")
        else:
            said += [f"{head}: {fault}" for fault in mapping_faults(ALL_FEEDS[mapping.feed], mapping)]
    return said


def make_workbook(file: Path, plant: Plant | None, settings: Settings) -> None:
    """Write a workbook to fill, or one of a plant. WrongUse where a file of that name is there."""
    if file.exists():
        raise WrongUse(f"{file} is there already; nothing was changed")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_plant_workbook(file, plant)
    except OSError as error:
        raise SiteError(f"{file} cannot be written ({error.strerror})") from None
    if plant is not None and plant_in(file, settings).plant != plant:
        file.unlink()
        raise WrongUse("this works.toml says what a workbook has no room for; go on editing works.toml itself")
