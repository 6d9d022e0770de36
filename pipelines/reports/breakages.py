"""Where ware broke, and the pallets beside it."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.answers.breakages import Breakage
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.trace.contents import ON_PALLET
from pipelines.words import moment_dated, say, say_n

TITLE = say("Ware that broke, and the pallets beside it")
PLACES = {"hot_end": say("hot end"), "lehr": say("lehr"), "packing": say("packing")}
COLUMNS = (
    Column("line", say("Line")),
    Column("broke", say("Broke")),
    Column("place", say("Place")),
    *ON_PALLET,
    Column("state", say("State")),
)


def breakage_sections(plant: Plant, breakages: Sequence[Breakage]) -> tuple[Section, ...]:
    """One section with every breakage and the pallets beside it; none where nothing broke."""
    if not breakages:
        return ()
    rows = [row for breakage in breakages for row in _rows(plant, breakage)]
    minutes = decimals(plant.warehouse.breakage_minutes, 0)
    caption = say(
        "Pallets packed on that line from {minutes} minutes before the breakage to {minutes} minutes "
        "after the place was cleared; [warehouse] breakage_minutes in works.toml sets this. Fragments may"
        " lie in the ware beside a breakage. What becomes of these pallets is for the works' authorised "
        "people to decide.",
        minutes=minutes,
    )
    sheet = Sheet("breakages", say("Breakages"), COLUMNS, rows, caption) if rows else None
    items = tuple(_words(plant, breakage) for breakage in breakages)
    return (Section(TITLE, items=items, sheet=sheet, wide=True, warn=True),)


def _words(plant: Plant, breakage: Breakage) -> str:
    clock, pallets = plant.clock, breakage.pallets
    where = PLACES.get(breakage.place, breakage.place)
    cleared = (
        say("cleared {cleared_at}", cleared_at=f"{clock.local(breakage.cleared_at):%H:%M}")
        if breakage.cleared_at is not None
        else say("not told to be cleared, all packed since is listed")
    )
    left = pallets["delivery"].drop_nulls().len()
    gone = say(", {left} of them dispatched", left=left) if left else ""
    many = say_n("{n} pallet", "{n} pallets", pallets.height)
    note = say(" ({note})", note=breakage.note) if breakage.note else ""
    return say(
        "{line} {where}, {broke_at}, {cleared}: {many} beside it{gone}{note}",
        line=breakage.line,
        where=where,
        broke_at=f"{clock.local(breakage.broke_at):%H:%M}",
        cleared=cleared,
        many=many,
        gone=gone,
        note=note,
    )


def _rows(plant: Plant, breakage: Breakage) -> list[dict[str, object]]:
    local = plant.clock.local
    return [
        {
            "line": breakage.line,
            "broke": f"{local(breakage.broke_at):%H:%M}",
            "place": PLACES.get(breakage.place, breakage.place),
            "pallet": row["pallet"],
            "item": row["item"] or say("not told"),
            "units": row["units"],
            "from": moment_dated(local(row["packed_from"])),
            "to": moment_dated(local(row["packed_to"])),
            "state": say("left with {delivery}", delivery=row["delivery"])
            if row["delivery"]
            else row["state"] or say("not told"),
        }
        for row in breakage.pallets.iter_rows(named=True)
    ]
