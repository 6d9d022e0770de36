"""What stands on sheets of its own and is part of other tables: shifts, limits, codes by station, tables as TOML."""

from __future__ import annotations

import glob
import re
import tomllib
from dataclasses import dataclass
from math import inf
from typing import Any

from pipelines.plant.mistakes import TomlPlaces
from pipelines.plant.workbook.found import FoundPlant
from pipelines.plant.workbook.grid import Grid, quoted
from pipelines.plant.workbook.settings_rows import SETTINGS_ROWS, WORKS_ROWS
from pipelines.plant.workbook.sheets import JOINED, SHEETS

ON_SHEETS = {
    *(sheet.table for sheet in SHEETS if sheet.table not in JOINED),
    *(row.key.split(".")[0] for row in (*WORKS_ROWS, *SETTINGS_ROWS)),
}
CODED = ("reject_counts", "counter_reads")  # feeds whose codes a station writes itself


def joined(found: FoundPlant, others: Grid | None) -> None:
    """Puts each where works.toml has it."""
    tables = found.tables
    works = tables.get("works", {})
    if "shifts" in works:
        works["shifts"] = [works["shifts"][number] for number in sorted(works["shifts"], key=int)]
    for name in [name for name, table in tables.items() if isinstance(table, dict) and not table]:
        if name != "works":
            del tables[name]
    for row in tables.get("quantity", ()):
        if "limits" in row:
            row["limits"] = [row["limits"].get("least", -inf), row["limits"].get("greatest", inf)]
    _limits(found, tables.pop("limit", []))
    codes = _codes(found, tables.pop("code", []))
    if others is not None:
        _others(found, others)
    if codes:
        tables["mapping"] = [*tables.get("mapping", []), *codes]


def _known(found: FoundPlant, table: str, key: str = "id") -> dict[str, int]:
    return {row[key]: n for n, row in enumerate(found.tables.get(table, ())) if key in row}


def _whole(found: FoundPlant, table: str, index: int, row: dict[str, Any], *keys: str) -> bool:
    """Whether a row has all that it needs; what is blank is said."""
    for key in keys:
        if key not in row and (table, index, key) not in found.unread and (table, index, key) in found.cells:
            grid, number, at = found.cells[table, index, key]
            found.say(grid, number, at, "is blank; fill it in", found.called(table, key))
    return all(key in row for key in keys)


def _limits(found: FoundPlant, rows: list[dict[str, Any]]) -> None:
    tests = _known(found, "test")
    for index, row in enumerate(rows):
        if not _whole(found, "limit", index, row, "test", "item"):
            continue
        grid, number, at = found.cells["limit", index, "test"]
        least, greatest = row.get("least", -inf), row.get("greatest", inf)
        if row["test"] not in tests:
            found.say(grid, number, at, f"'{row['test']}' is not on the sheet Tests ({', '.join(tests)})", "Test")
            continue
        limits = found.tables["test"][tests[row["test"]]].setdefault("limits", {})
        if row["item"] in limits:
            says = f"{row['test']} has limits for {row['item']} already; delete one of the rows"
            found.say(grid, number, at, says, "Test")
        elif least > greatest:
            _, _, at = found.cells["limit", index, "least"]
            found.say(grid, number, at, f"{least:g} is above Greatest {greatest:g}; mend one of the two", "Least")
        elif (least, greatest) == (-inf, inf) and not _unread(found, "limit", index):
            found.say(grid, number, at, "Least and Greatest are both blank; fill one of them or delete the row")
        else:
            limits[row["item"]] = [least, greatest]
            found.cells["test", tests[row["test"]], f"limits.{row['item']}"] = found.cells["limit", index, "item"]


def _unread(found: FoundPlant, table: str, index: int) -> bool:
    return any(place[:2] == (table, index) for place in found.unread)


def _codes(found: FoundPlant, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """A mapping a station and feed."""
    by_station: dict[str, dict[str, str]] = {}
    for index, row in enumerate(rows):
        if not _whole(found, "code", index, row, "station", "theirs", "ours"):
            continue
        listed = [_listed(found, index, row, *where) for where in _LISTED]
        codes = by_station.setdefault(row["station"], {})
        if row["theirs"] in codes:
            says = f"'{row['theirs']}' is given twice for {row['station']}; delete one of the rows"
            grid, number, at = found.cells["code", index, "theirs"]
            found.say(grid, number, at, says, "Code at the station")
        elif all(listed):
            codes[row["theirs"]] = row["ours"]
    counters = {row.get("id") for row in found.tables.get("station", ()) if "counter_modulus" in row}
    return [
        codes_of_station(station, feed, codes)
        for station, codes in by_station.items()
        for feed in CODED
        if codes and (feed == CODED[0] or station in counters)
    ]


_LISTED = (("station", "station", "id", "Stations"), ("ours", "defect", "code", "Defects"))


def _listed(found: FoundPlant, index: int, row: dict[str, Any], key: str, table: str, name: str, sheet: str) -> bool:
    """Whether what a row names stands on the sheet of its kind; what does not is said."""
    known = _known(found, table, name)
    if row[key] not in known:
        grid, number, at = found.cells["code", index, key]
        says = f"'{row[key]}' is not on the sheet {sheet} ({', '.join(list(known)[:12])}); add it there or mend it"
        found.say(grid, number, at, says, found.called("code", key))
    return row[key] in known


def codes_of_station(station: str, feed: str, codes: dict[str, str]) -> dict[str, Any]:
    """The raw `[[mapping]]` that turns a station's codes into the works' own, in files named by it."""
    return {"files": [f"{feed}.{glob.escape(station)}.*"], "feed": feed, "values": {"defect": dict(codes)}}


@dataclass(frozen=True)
class _OtherPlaces:
    """Places of what stands as TOML on a sheet, a line a row."""

    grid: Grid
    text: str
    tables: dict[str, Any]
    column: int

    def where(self, fields: dict[str, Any], table: str, index: int | None, key: str = "") -> str:
        said = TomlPlaces(self.text).where(fields, table, index, key)
        line = re.match(r"line (\d+), ", said)
        at = self.grid.at(int(line[1]), self.column) if line else quoted(self.grid.name)
        return f"{at}, {said[line.end() :] if line else said}"


def _others(found: FoundPlant, grid: Grid) -> None:
    """Tables that have no sheet, as they stand in works.toml."""
    column = min((at for _, at in grid.cells), default=1)
    last = max(grid.rows, default=0)
    text = "\n".join(str(grid.cells.get((row, column), "")) for row in range(1, last + 1)) + "\n"
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        line = re.search(r"at line (\d+)", str(error))
        says = f"it is not TOML: {str(error)[:120]}; mend it as works.toml has it, or clear the sheet"
        return found.say(grid, int(line[1]) if line else 1, column, says)
    found.others = _OtherPlaces(grid, text, tables, column)
    for name, table in tables.items():
        if name in ON_SHEETS:
            at = found.others.where(tables, name, 0 if isinstance(table, list) else None)
            found.mistakes.append(((99, 0, 0), f"{at}: it has a sheet of its own; fill that"))
        else:
            found.tables[name] = table
    return None
