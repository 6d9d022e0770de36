"""Values that stand above a table, or above a block of it: what a line says holds for the rows below it, until another
line says it anew.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipelines.errors import FileRefused
from pipelines.intake.raw import split_line
from pipelines.plant.mapping import Mapping
from schemas.reasons import Reason


@dataclass
class Above:
    """For each name of `from_lines` the lines that say it, in their order, with the value and where it stands in a
    workbook (0 elsewhere). lines: all of those, which are no rows.
    """

    found: dict[str, list[tuple[int, str, int]]] = field(default_factory=dict)
    lines: set[int] = field(default_factory=set)

    def look(
        self, number: int, cells: Sequence[str], patterns: dict[str, re.Pattern[str]], below: bool
    ) -> dict[str, tuple[str, int]]:
        """What a line says, by name: the value, and the number of its cell. It is remembered by its number.

        below: the line stands among the rows; there it must begin with words before the value, so that no row is taken
        for one.
        """
        said: dict[str, tuple[str, int]] = {}
        words = [(at, cell.strip()) for at, cell in enumerate(cells) if cell.strip()]
        joined = " ".join(word for _, word in words)
        for name, pattern in patterns.items():
            match = pattern.search(joined)
            if match is None or (below and (match.start() > 0 or match.start("value") == 0)):
                continue
            said[name] = match["value"].strip(), _cell_at(words, match.start("value"))
            self.lines.add(number)
        return said

    def note(self, number: int, name: str, value: str, place: int = 0) -> None:
        self.found.setdefault(name, []).append((number, value, place))

    def check(self, mapping: Mapping) -> None:
        """FileRefused where no line says what the mapping reads from lines."""
        for name, pattern in mapping.from_lines.items():
            if name not in self.found:
                raise FileRefused(Reason.LINES_LACK, f"{name} = {pattern}"[:120])

    def columns(self, lines: np.ndarray, place: str, workbook: bool) -> Iterable[pl.Series]:
        """The value of each name for each of these lines: that of the nearest line above."""
        for name, said in self.found.items():
            at = np.searchsorted(np.array([number for number, *_ in said]), lines, side="left") - 1
            values = [value for _, value, _ in said] + [""]
            yield pl.Series(name, [values[number] for number in at.tolist()], dtype=pl.String)
            if workbook:
                places = np.array([where for *_, where in said] + [0], np.int64)
                yield pl.Series(f"{place}{name}", places[at])


def _cell_at(words: Sequence[tuple[int, str]], begin: int) -> int:
    """The number of the cell in which a place of the joined line stands."""
    for number, word in words:
        begin -= len(word) + 1
        if begin < 0:
            return number
    return 0


def patterns_of(mapping: Mapping) -> dict[str, re.Pattern[str]]:
    return {name: re.compile(pattern) for name, pattern in mapping.from_lines.items()}


def lines_above(text: str, mapping: Mapping) -> Above:
    """What the lines of a text say. FileRefused where none says it."""
    above, patterns = Above(), patterns_of(mapping)
    heads = mapping.skip_lines + mapping.header_lines
    for number, line in enumerate(text.split("\n"), start=1):
        cells = split_line(line.rstrip("\r"), mapping.separator)
        for name, (value, _) in above.look(number, cells, patterns, number > heads).items():
            above.note(number, name, value)
    above.check(mapping)
    return above
