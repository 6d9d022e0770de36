"""A workbook's sheets as a plant, or all that is wrong with them, each named by its cell."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from pipelines.errors import PlantError
from pipelines.plant.mistakes import mistakes_between
from pipelines.plant.toml import works_toml
from pipelines.plant.workbook.cells import plain
from pipelines.plant.workbook.found import FoundPlant, rank_of
from pipelines.plant.workbook.grid import Grid
from pipelines.plant.workbook.reading import read_all
from pipelines.plant.workbook.sheets import SHEET_OF
from pipelines.plant.works import Plant, read_plant

_SAYS = {
    "missing": "is blank; fill it in",
    "greater_than": "'{input}' is too small; it must be above {gt}",
    "greater_than_equal": "'{input}' is too small; it must be {ge} at the least",
    "less_than": "'{input}' is too great; it must be below {lt}",
    "less_than_equal": "'{input}' is too great; it must be {le} at the most",
    "string_pattern_mismatch": "'{input}' has a blank, quote, comma or slash in it; write it without, such as with a -",
    "string_too_long": "'{input}' has too many letters; {max_length} at the most",
    "extra_forbidden": "is no key of works.toml; is it misspelt?",
}


def plant_of(grids: Sequence[Grid], name: str) -> tuple[Plant, list[str]]:
    """The plant that the sheets tell, and what was not read. PlantError with every mistake, by sheets and rows."""
    found = read_all(grids)
    plant = _judged(found)
    if found.mistakes or plant is None:
        said = dict.fromkeys(says for _, says in sorted(found.mistakes, key=lambda mistake: mistake[0]))
        raise PlantError(list(said), name)
    return read_plant(works_toml(plant)), found.notes


def _judged(found: FoundPlant) -> Plant | None:
    """The plant; mistakes of single values and between tables go to the others."""
    plant = None
    try:
        plant = Plant.model_validate(found.tables)
    except ValidationError as error:
        for each in error.errors():
            _say(found, dict(each))
    for says in mistakes_between(found.tables, found):
        found.mistakes.append((_rank_by_place(found, says), says))
    return plant


def _say(found: FoundPlant, each: dict[str, Any]) -> None:
    table, *rest = each["loc"]
    index = rest.pop(0) if rest and isinstance(rest[0], int) else None
    key = ".".join(map(str, rest))
    if not rest:
        return _say_table(found, str(table), each)
    if (table, index, key) in found.unread or _unread_within(found, table, index, key):
        return None  # said already, as it was read
    if each["type"] == "missing" and (table, index, key) not in found.cells and table in SHEET_OF:
        return None  # its heading is not there, which was said
    template = _SAYS.get(each["type"])
    value = plain(each["input"]) if isinstance(each["input"], str | int | float) else ""
    context = {"input": value, **each.get("ctx", {})}
    says = template.format(**context) if template else each["msg"].removeprefix("Value error, ")
    place = found.where(found.tables, table, index, key)
    found.mistakes.append((rank_of(found, table, index, key), f"{place}: {says}"))
    return None


def _unread_within(found: FoundPlant, table: str, index: int | None, key: str) -> bool:
    return any(place[:2] == (table, index) and place[2].startswith(f"{key}.") for place in found.unread)


def _say_table(found: FoundPlant, table: str, each: dict[str, Any]) -> None:
    if table not in SHEET_OF:
        if table != "works" and found.others is not None:
            at = found.others.where(found.tables, table, None)
            found.mistakes.append(((99, 0, 0), f"{at}: it is no table of works.toml; is it misspelt?"))
        return
    sheet = SHEET_OF[table]
    if not any(sheet.name in says for _, says in found.mistakes):
        found.mistakes.append(((0, 0, 0), f"{sheet.name}: no row is filled; write a row for each {table}"))


def _rank_by_place(found: FoundPlant, says: str) -> tuple[int, int, int]:
    """A sentence between tables begins with its cell: it stands among the others of that sheet."""
    for place, (grid, row, column) in found.cells.items():
        if says.startswith(grid.at(row, column) + ",") or says.startswith(grid.at(row, column) + ":"):
            return rank_of(found, *place)
    return 99, 0, 0
