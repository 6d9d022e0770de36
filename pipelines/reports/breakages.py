"""Where ware broke, and the pallets beside it."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.answers.breakages import Breakage
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.trace.contents import ON_PALLET

TITLE = "Ware that broke, and the pallets beside it"
PLACES = {"hot_end": "hot end", "lehr": "lehr", "packing": "packing"}
COLUMNS = (
    Column("line", "Line"),
    Column("broke", "Broke"),
    Column("place", "Place"),
    *ON_PALLET,
    Column("state", "State"),
)


def breakage_sections(plant: Plant, breakages: Sequence[Breakage]) -> tuple[Section, ...]:
    """One section with every breakage and the pallets beside it; none where nothing broke."""
    if not breakages:
        return ()
    rows = [row for breakage in breakages for row in _rows(plant, breakage)]
    minutes = decimals(plant.warehouse.breakage_minutes, 0)
    caption = (
        f"Pallets packed on that line from {minutes} minutes before the breakage to {minutes} minutes after the place "
        "was cleared; [warehouse] breakage_minutes in works.toml sets this. Fragments may lie in the ware beside a "
        "breakage. What becomes of these pallets is for the works' authorised people to decide."
    )
    sheet = Sheet("breakages", "Breakages", COLUMNS, rows, caption) if rows else None
    items = tuple(_words(plant, breakage) for breakage in breakages)
    return (Section(TITLE, items=items, sheet=sheet, wide=True, warn=True),)


def _words(plant: Plant, breakage: Breakage) -> str:
    clock, pallets = plant.clock, breakage.pallets
    where = PLACES.get(breakage.place, breakage.place)
    cleared = (
        f"cleared {clock.local(breakage.cleared_at):%H:%M}"
        if breakage.cleared_at is not None
        else "not told to be cleared, all packed since is listed"
    )
    left = pallets["delivery"].drop_nulls().len()
    gone = f", {left} of them dispatched" if left else ""
    many = f"{pallets.height} pallet" + ("" if pallets.height == 1 else "s")
    note = f" ({breakage.note})" if breakage.note else ""
    return f"{breakage.line} {where}, {clock.local(breakage.broke_at):%H:%M}, {cleared}: {many} beside it{gone}{note}"


def _rows(plant: Plant, breakage: Breakage) -> list[dict[str, object]]:
    local = plant.clock.local
    return [
        {
            "line": breakage.line,
            "broke": f"{local(breakage.broke_at):%H:%M}",
            "place": PLACES.get(breakage.place, breakage.place),
            "pallet": row["pallet"],
            "item": row["item"] or "not told",
            "units": row["units"],
            "from": f"{local(row['packed_from']):%d %b %H:%M}",
            "to": f"{local(row['packed_to']):%d %b %H:%M}",
            "state": f"left with {row['delivery']}" if row["delivery"] else row["state"] or "not told",
        }
        for row in breakage.pallets.iter_rows(named=True)
    ]
