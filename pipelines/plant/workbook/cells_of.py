"""A plant as the cells of its workbook: the other way round from reading."""

from __future__ import annotations

from collections.abc import Iterator
from math import isinf
from typing import Any, get_args

from pydantic import BaseModel

from pipelines.plant.workbook.joining import CODED, ON_SHEETS, codes_of_station
from pipelines.plant.workbook.sheets import CODES, LIMITS, PlantColumn, PlantSheet
from pipelines.plant.works import Mapping, Plant


def rows_of(plant: Plant, sheet: PlantSheet) -> list[tuple[Any, ...]]:
    """The rows of a sheet, a cell a column; None for a blank one."""
    if sheet is CODES:
        return [(station, theirs, ours) for station, codes in coded(plant).items() for theirs, ours in codes.items()]
    if sheet is LIMITS:
        return [(test.id, item, *map(_limit, limits)) for test in plant.test for item, limits in test.limits.items()]
    return [tuple(_cell(row, column) for column in sheet.columns) for row in getattr(plant, sheet.table)]


def entry_of(plant: Plant, row: PlantColumn) -> Any:
    """The entry of a sheet that is filled downwards."""
    table, key = row.key.split(".", 1)
    model = getattr(plant, table)
    return None if model is None else _cell(model, row, key)


def default_of(row: PlantColumn) -> str:
    """What holds where a setting is blank, as a cell would say it."""
    table, *keys = row.key.split(".")
    model: Any = Plant.model_fields[table].annotation
    field: Any = None
    for key in keys:
        model = next(part for part in (model, *get_args(model)) if hasattr(part, "model_fields"))
        field = model.model_fields[key]
        model = field.annotation
    value = None if field.is_required() else field.get_default(call_default_factory=True)
    cell = _written(value, row)
    return "" if cell is None else str(cell)


def _cell(model: BaseModel, column: PlantColumn, key: str = "") -> Any:
    """The cell of a key that was given; None where none was."""
    value: Any = model
    for part in (key or column.key).split("."):
        if isinstance(value, BaseModel):
            name = next(n for n, field in type(value).model_fields.items() if part in (n, field.alias))
            value = getattr(value, name) if name in value.model_fields_set else None
        elif isinstance(value, dict):
            value = value.get(part)
        elif isinstance(value, tuple):
            number = {"least": 0, "greatest": 1}.get(part)
            number = int(part) if number is None else number
            value = value[number] if number < len(value) else None
    return _written(value, column)


def _written(value: Any, column: PlantColumn) -> Any:
    if isinstance(value, tuple) and column.kind in ("ids", "choices"):
        words = {each: word for word, each in column.choices.items()}
        return ", ".join(str(words.get(each, each)) for each in value) or (None if column.kind == "ids" else "none")
    if column.kind in ("choice", "yes") and value is not None:
        return next(word for word, each in column.choices.items() if each == value)
    if isinstance(value, float):
        return _limit(value)
    return value


def _limit(value: float) -> float | None:
    return None if isinf(value) else value


def coded(plant: Plant) -> dict[str, dict[str, str]]:
    """Codes by station, of stations whose mappings are those that the sheet of codes makes, in their order."""
    codes: dict[str, dict[str, str]] = {}
    for mapping in plant.mapping:
        values = mapping.values.get("defect", {})
        for station in plant.stations:
            made = _made(plant, station, values) if values else []
            if mapping in made and all(each in plant.mapping for each in made):
                codes.setdefault(station, values)
    return codes


def _made(plant: Plant, station: str, codes: dict[str, str]) -> list[Mapping]:
    """The mappings that a station's codes become."""
    feeds = CODED if plant.stations[station].counter_modulus is not None else CODED[:1]
    return [Mapping.model_validate(codes_of_station(station, feed, codes)) for feed in feeds]


def other_tables(plant: Plant) -> Iterator[tuple[str, BaseModel]]:
    """(header, table) of what has no sheet."""
    on_sheet = [mapping for station, codes in coded(plant).items() for mapping in _made(plant, station, codes)]
    for name, key in Plant.model_fields.items():
        table, value = key.alias or name, getattr(plant, name)
        if table in ON_SHEETS or value is None:
            continue
        for each in value if isinstance(value, tuple) else (value,):
            if each not in on_sheet:
                yield (f"[[{table}]]" if isinstance(value, tuple) else f"[{table}]"), each
