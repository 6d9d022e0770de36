"""What was found in a workbook: raw tables as a works.toml has them, the cell of every value, mistakes, notes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from pipelines.plant.workbook.cells import CellMistake, value_of
from pipelines.plant.workbook.grid import Grid
from pipelines.plant.workbook.settings_rows import SETTINGS, SETTINGS_ROWS, WORKS, WORKS_ROWS
from pipelines.plant.workbook.sheets import SHEET_OF, SHEETS, PlantColumn

_ORDER = {name: n for n, name in enumerate((WORKS, *(sheet.name for sheet in SHEETS), SETTINGS))}
_HEADINGS: dict[tuple[str, str], str] = {
    **{(sheet.table, column.key): column.heading for sheet in SHEETS for column in sheet.columns},
    **{(row.key.split(".")[0], row.key.split(".", 1)[1]): row.heading for row in (*WORKS_ROWS, *SETTINGS_ROWS)},
}
Place = tuple[str, int | None, str]  # table, number of its row, key


@dataclass
class FoundPlant:
    """tables: as `tomllib` would give them. cells: where each key of each row stands. read: places whose cell holds no
    value that could be read, and was said. others: places of what stands as TOML.
    """

    tables: dict[str, Any] = field(default_factory=dict)
    cells: dict[Place, tuple[Grid, int, int]] = field(default_factory=dict)
    unread: set[Place] = field(default_factory=set)
    mistakes: list[tuple[tuple[int, int, int], str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    others: Any = None

    def say(self, grid: Grid, row: int, column: int, says: str, heading: str = "") -> None:
        """A mistake of a cell, under its heading."""
        at = grid.at(row, column) + (f", {heading}" if heading else "")
        self.mistakes.append((_rank(grid, row, column), f"{at}: {says}"))

    def take(self, place: Place, column: PlantColumn, grid: Grid, row: int, at: int, into: dict[str, Any]) -> None:
        """The value of a cell, put where its key says."""
        self.cells[place] = (grid, row, at)
        try:
            value = value_of(grid.cells.get((row, at), ""), column)
        except CellMistake as mistake:
            self.unread.add(place)
            return self.say(grid, row, at, str(mistake), column.heading)
        if value is not None:
            *above, last = place[2].split(".")
            for key in above:
                into = into.setdefault(key, {})
            into[last] = value
        return None

    def place_of(self, table: str, index: int | None, key: str) -> tuple[Grid, int, int] | None:
        """Where a key stands, or what it is part of, or what is part of it; else the first cell of its row."""
        while key:
            if (table, index, key) in self.cells:
                return self.cells[table, index, key]
            parts = [cell for at, cell in self.cells.items() if at[:2] == (table, index) and _within(at[2], key)]
            if parts:
                return parts[0]
            key = key.rpartition(".")[0]
        return next(self._row(table, index), None)

    def _row(self, table: str, index: int | None) -> Iterator[tuple[Grid, int, int]]:
        yield from (cell for place, cell in self.cells.items() if place[:2] == (table, index))

    # as `mistakes.PlantPlaces` wants it

    def where(self, fields: dict[str, Any], table: str, index: int | None, key: str = "") -> str:
        place = self.place_of(table, index, key)
        if place is None:
            if self.others is not None and table in self.others.tables:
                return self.others.where(fields, table, index, key)
            return SHEET_OF[table].name if table in SHEET_OF else SETTINGS
        heading = self.called(table, key) if key else ""
        return place[0].at(*place[1:]) + (f", {heading}" if heading else "")

    def first(self, table: str, index: int) -> str:
        grid, row, column = next(self._row(table, index))
        return grid.at(row, column)

    def called(self, table: str, key: str = "") -> str:
        if not key:
            return f"row of the sheet {SHEET_OF[table].name}" if table in SHEET_OF else table
        if (table, key.partition(".")[0]) == ("test", "limits"):
            return _HEADINGS["limit", "item"]
        while key and (table, key) not in _HEADINGS:
            inner = [heading for (of, name), heading in _HEADINGS.items() if of == table and _within(name, key)]
            if inner:
                return inner[0]
            key = key.rpartition(".")[0]
        return _HEADINGS.get((table, key), "")


def _within(key: str, above: str) -> bool:
    return key.startswith(f"{above}.")


def _rank(grid: Grid, row: int, column: int) -> tuple[int, int, int]:
    return _ORDER.get(grid.name.strip().capitalize(), len(_ORDER)), row, column


def rank_of(found: FoundPlant, table: str, index: int | None, key: str) -> tuple[int, int, int]:
    """Where a mistake of a place stands among the others."""
    place = found.place_of(table, index, key)
    return _rank(*place) if place else (len(_ORDER), 0, 0)
