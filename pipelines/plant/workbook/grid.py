"""The cells of a sheet by row and column, from 1; what is merged holds its value in each of its rows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from pipelines.plant.workbook.cells import Cell, plain

_MOST_MERGED = 20_000  # rows


@dataclass
class Grid:
    """cells: those that hold something. merged: rows and columns whose value stands above them, in one merged cell."""

    name: str
    hidden: bool = False
    cells: dict[tuple[int, int], Cell] = field(default_factory=dict)
    merged: set[tuple[int, int]] = field(default_factory=set)

    @property
    def rows(self) -> list[int]:
        """Numbers of the rows that hold something of their own."""
        return sorted({row for row, column in self.cells if (row, column) not in self.merged})

    def row(self, number: int) -> dict[int, Cell]:
        return {column: cell for (row, column), cell in self.cells.items() if row == number}

    def at(self, row: int, column: int) -> str:
        """The name of a cell, as a mistake says it."""
        return f"{quoted(self.name)}!{letters(column)}{row}"


def grid_of(
    name: str,
    hidden: bool,
    rows: Iterable[tuple[int, int, Sequence[Cell]]],
    merged: Iterable[tuple[int, int, int, int]] = (),
) -> Grid:
    """rows: number, that of the first cell, cells. merged: top, left, bottom, right; all from 1."""
    grid = Grid(name, hidden)
    for number, first, cells in rows:
        for at, cell in enumerate(cells):
            if plain(cell):
                grid.cells[number, first + at] = cell
    last = max((row for row, _ in grid.cells), default=0)
    for top, left, bottom, _ in merged:
        if (top, left) in grid.cells:
            for row in range(top + 1, min(bottom, last, top + _MOST_MERGED) + 1):
                grid.cells[row, left] = grid.cells[top, left]
                grid.merged.add((row, left))
    return grid


def quoted(name: str) -> str:
    return name if re.fullmatch(r"\w+", name) else f"'{name}'"


def letters(column: int) -> str:
    """A column as a sheet names it."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text
