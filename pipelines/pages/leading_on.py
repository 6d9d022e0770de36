"""A name in a table leads to the page of what it names: pallets, signals and stations, on every page alike."""

from __future__ import annotations

from collections.abc import Callable

from pipelines.pages.addresses import pallet_address, signal_address, station_address
from pipelines.reports.frame.sheet import Sheet

# by the column's name: the page, and the sheets whose column of that name holds single names (empty: all)
_PAGES: dict[str, tuple[Callable[[str], str], tuple[str, ...]]] = {
    "pallet": (pallet_address, ()),
    "id": (signal_address, ("signals",)),
    "station": (station_address, ("detection", "in-doubt", "stations")),
}
# sheets in which a column leads to the page that another column of the row names: what it is called, of what
_NAMED: dict[str, tuple[str, str, Callable[[str], str]]] = {"open": ("what", "id", signal_address)}


def leading(sheet: Sheet) -> dict[tuple[int, str], str]:
    """The links of a table: its own, and those of the names in it."""
    links: dict[tuple[int, str], str] = {}
    for column in sheet.shown():
        address, sheets = _PAGES.get(column.name, (None, ()))
        if address is None or (sheets and sheet.name not in sheets):
            continue
        for number, row in enumerate(sheet.rows):
            value = row.get(column.name)
            if isinstance(value, str) and value and " " not in value:
                links[number, column.name] = address(value)
    if sheet.name in _NAMED:
        shown, named, of_name = _NAMED[sheet.name]
        links |= {(number, shown): of_name(str(row[named])) for number, row in enumerate(sheet.rows) if row.get(named)}
    return links | dict(sheet.links)
