"""What can be wrong in works.toml, said with its place. Works on the raw tables, so that one mistake hides no other."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from pydantic import ValidationError

_SAYS = {
    "extra_forbidden": "unknown key; is it misspelt?",
    "missing": "missing; it must be given",
    "string_pattern_mismatch": (
        "an id has no blanks, quotes, commas or slashes; a line's or furnace's, which names files, also no ? # % and "
        "is not of dots alone"
    ),
}

_TABLE_SAYS = {"extra_forbidden": "unknown table", "missing": "the table is missing; it must be given"}

NAMED_BY = {
    "furnace": "id",
    "line": "id",
    "station": "id",
    "item": "id",
    "defect": "code",
    "test": "id",
    "quantity": "id",
    "customer": "id",
    "contact": "name",
    "source": "name",
}


def place(text: str, table: str, index: int | None, key: str = "") -> int:
    """The line of the file, from 1, where a table (the index-th of its name) or a key in it stands; 0 if nowhere."""
    header = re.compile(rf"\s*\[\[?\s*{re.escape(table)}\s*\]\]?\s*(#.*)?$")
    seen, start = -1, 0
    for number, line in enumerate(text.splitlines(), start=1):
        if header.match(line):
            seen += 1
            start = number if seen == (index or 0) else 0
        elif start and re.match(r"\s*\[", line):
            break
        elif start and key and re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line):
            return number
        if start and not key:
            return start
    return start or (place(text, table, index) if key else 0)


class PlantPlaces(Protocol):
    """How a mistake names where it stands, and what it calls tables and keys."""

    def where(self, fields: dict[str, Any], table: str, index: int | None, key: str = "") -> str:
        """The place of a table (the index-th of its name) or of a key in it, as a sentence begins with it."""

    def first(self, table: str, index: int) -> str:
        """Where a table stands, in short."""

    def called(self, table: str, key: str = "") -> str:
        """What a table, or a key of it, is called."""


@dataclass(frozen=True)
class TomlPlaces:
    """PlantPlaces in the text of a works.toml: the line, the table, the key."""

    text: str

    def where(self, fields: dict[str, Any], table: str, index: int | None, key: str = "") -> str:
        key, rows = key.partition(".")[0], fields.get(table)
        name = ""
        if index is not None and isinstance(rows, list) and isinstance(rows[index], dict):
            name = str(rows[index].get(NAMED_BY.get(table, ""), ""))
        head = f"[[{table}]] {name or f'number {index + 1}'}" if index is not None else f"[{table}]"
        at = place(self.text, table, index, key)
        return (f"line {at}, " if at else "") + head + (f", {key}" if key else "")

    def first(self, table: str, index: int) -> str:
        return f"line {place(self.text, table, index)}"

    def called(self, table: str, key: str = "") -> str:
        return key or f"[[{table}]]"


def mistakes_within(error: ValidationError, row: dict[str, Any], places: PlantPlaces) -> list[str]:
    """What is wrong with single values: unknown keys, missing ones, wrong types, times, zones, ranges."""
    said = []
    for each in error.errors():
        top, *rest = each["loc"]
        if each["type"] == "too_short" and not rest:
            if not row.get(str(top)):
                said.append(f"[[{top}]]: there must be at least one")
        elif not rest:
            said.append(f"[{top}]: {_TABLE_SAYS.get(each['type'], each['msg'])}")
        else:
            index = rest[0] if isinstance(rest[0], int) else None
            key = ".".join(str(part) for part in (rest[1:] if index is not None else rest))
            what = _SAYS.get(each["type"]) or each["msg"].removeprefix("Value error, ")
            said.append(f"{places.where(row, str(top), index, key)}: {what}")
    return said


def mistakes_between(row: dict[str, Any], places: PlantPlaces) -> list[str]:
    """What is wrong between tables: doubled ids, unknown references, shifts and limits out of order."""
    checks = (_doubled, _unknown, _shifts, _limits, _without_station, _kinds)
    return [mistake for check in checks for mistake in check(row, places)]


def _rows(fields: dict[str, Any], table: str) -> Iterator[tuple[int, dict[str, Any]]]:
    rows = fields.get(table, [])
    if isinstance(rows, list):
        yield from ((i, row) for i, row in enumerate(rows) if isinstance(row, dict))


def _doubled(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    for table, name in NAMED_BY.items():
        seen: dict[Any, int] = {}
        for index, row in _rows(fields, table):
            value = str(row.get(name)) if name in row else None
            if value is not None and value in seen:
                first = places.first(table, seen[value])
                at, called = places.where(fields, table, index, name), places.called(table, name)
                yield f"{at}: {called} '{value}' is given twice; first at {first}"
            elif value is not None:
                seen[value] = index


def _known(fields: dict[str, Any], table: str) -> list[str]:
    return [str(row[NAMED_BY[table]]) for _, row in _rows(fields, table) if NAMED_BY[table] in row]


def _unknown(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    for table, key, target in (
        ("line", "furnace", "furnace"),
        ("station", "line", "line"),
        ("clock", "station", "station"),
    ):
        known = _known(fields, target)
        for index, row in _rows(fields, table):
            if key in row and str(row[key]) not in known:
                yield (
                    f"{places.where(fields, table, index, key)}: '{row[key]}' is not a {target} here "
                    f"({', '.join(known)})"
                )
    defects = set(_known(fields, "defect"))
    for index, row in _rows(fields, "station"):
        sees = row.get("sees")
        for code in sees if isinstance(sees, list) else []:
            if code not in defects:
                yield f"{places.where(fields, 'station', index, 'sees')}: '{code}' is not a defect here"
    yield from _unknown_items(fields, places)


def _unknown_items(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    """Items that a test or a customer names and nobody makes."""
    items = _known(fields, "item")
    for table, key in (("test", "limits"), ("customer", "items")):
        for index, row in _rows(fields, table):
            named = row.get(key)
            for item in named if isinstance(named, list | dict) else ():
                if str(item) not in items:
                    at = places.where(fields, table, index, f"{key}.{item}")
                    yield f"{at}: '{item}' is not an item here ({', '.join(items)})"


def _shifts(row: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    works = row.get("works")
    if not isinstance(works, dict):
        return
    shifts, starts = works.get("shifts"), works.get("day_starts")
    if not isinstance(shifts, list) or not shifts or not all(_is_time(t) for t in [*shifts, starts]):
        return
    after = [(_minutes(t) - _minutes(starts)) % 1440 for t in shifts]
    at = places.where(row, "works", None, "shifts")
    if after[0] != 0:
        yield f"{at}: the first shift must start when the day starts, at {starts}, not at {shifts[0]}"
    if any(later <= earlier for earlier, later in itertools.pairwise(after)):
        yield f"{at}: the shifts are out of order: {', '.join(map(str, shifts))}, for a day that starts at {starts}"


def _is_time(text: object) -> bool:
    return bool(re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d(:[0-5]\d)?", str(text)))


def _minutes(text: object) -> float:
    hours, minutes, *seconds = str(text).split(":")
    return int(hours) * 60 + int(minutes) + (int(seconds[0]) / 60 if seconds else 0)


def _limits(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    for index, row in _rows(fields, "item"):
        for low, nominal, high in (
            ("weight_min_g", "weight_g", "weight_max_g"),
            ("capacity_min_ml", "capacity_ml", "capacity_max_ml"),
        ):
            given = [(key, row[key]) for key in (low, nominal, high) if isinstance(row.get(key), int | float)]
            for (key, value), (next_key, greater) in itertools.pairwise(given):
                if value > greater:
                    at, called = places.where(fields, "item", index, key), places.called("item", next_key)
                    yield f"{at}: {value} is above {called} {greater}"


def _without_station(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    watched = {str(row.get("line")) for _, row in _rows(fields, "station")}
    for index, row in _rows(fields, "line"):
        if "id" in row and str(row["id"]) not in watched:
            yield (
                f"{places.where(fields, 'line', index)}: no {places.called('station')} stands on this line; its ware "
                "would be counted nowhere"
            )


def _kinds(fields: dict[str, Any], places: PlantPlaces) -> Iterator[str]:
    """What is no fault leaves every signal, rate and trace: that may not happen to a critical defect, nor to all of
    them.
    """
    rows = list(_rows(fields, "defect"))
    kinds = [str(row.get("kind", "fault")) for _, row in rows]
    if kinds and "fault" not in kinds:
        at = places.where(fields, "defect", 0, "kind")
        yield f"{at}: no {places.called('defect')} is a fault; there must be at least one"
    for (index, row), kind in zip(rows, kinds, strict=True):
        if kind != "fault" and row.get("severity") == "critical":
            at = places.where(fields, "defect", index, "kind")
            yield (
                f"{at}: '{kind}' is no fault of the ware and is watched by nothing, so it cannot be critical; mend "
                "one of the two"
            )
