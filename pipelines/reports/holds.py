"""The page of holds: what waits for a person, what is held, what was given out all the same, and every decision ever
made.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from pipelines.answers.holds import answer_holds, decisions
from pipelines.ledger.reader import Reader
from pipelines.measures.holds.decisions import HELD, PROPOSED
from pipelines.numbers import count
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, TERMINAL, Column, Sheet, in_csv
from pipelines.reports.frame.sources import queries_words
from pipelines.words import joined, say, worded
from schemas.answers.holds import Decision, HeldPallet

EMPTY = say("None.")


def holds_address() -> str:
    return "holds.html"


def holds_page(reader: Reader, plant: Plant) -> Page:
    """All holds as they stand, and their history."""
    reader = reader.noting()
    pallets, made = answer_holds(reader, everything=True), decisions(reader)
    out = [h for h in pallets if h.hold and h.state == HELD and h.warehouse == "released"]
    held = [h for h in pallets if h.hold and h.state == HELD and h not in out]
    waits, others = [h for h in pallets if h.state == PROPOSED], [h for h in pallets if not h.hold]
    ended = [h for h in pallets if h.hold and h.state not in (HELD, PROPOSED)]
    newest = _newest(plant, made[-1]) if made else say("no decision was made yet")
    return Page(
        title=say("Holds"),
        when=newest,
        figures=(
            Figure(
                count(len(out)),
                say("held, and given out all the same"),
                say("{units} containers; whether to call them back is for the authorised person", units=_units(out)),
                "critical" if out else "",
            ),
            Figure(
                count(len(waits)),
                say("proposed, waiting for a person"),
                say("{units} containers; nobody holds them yet", units=_units(waits)),
                "critical" if waits else "",
            ),
            Figure(count(len(held)), say("held"), say("{units} containers", units=_units(held))),
            Figure(count(len(others)), say("held by the warehouse alone"), say("no decision about them is kept here")),
        ),
        sections=(
            *_parts(plant, out, waits, held, others, ended),
            Section(say("Every decision, the newest first"), sheet=_history(plant, made), wide=True),
        ),
        links=((say("all pages"), "index.html"),),
        cautions=(CAUTION, GLASS),
        sources=(
            queries_words(reader.asked),
            say("decisions also stand in archive/holds/decisions.jsonl; pallets by the pallets feed"),
        ),
        made=say("A decision is never changed or removed: a later one stands beside it."),
        workbook="holds.xlsx",
    )


def _newest(plant: Plant, last: Decision) -> str:
    return say("after decision {number} of {at}", number=last.number, at=plant.clock.show(last.at))


def _parts(plant: Plant, *lists: Sequence[HeldPallet]) -> list[Section]:
    names = (
        say("Given out although held"),
        say("Proposed, waiting for a person"),
        say("Held"),
        say("Held by the warehouse alone"),
        say("Released, scrapped, turned down"),
    )
    return [
        Section(title, sheet=_part(plant, f"part-{number}", rows), wide=True, warn=number < 2 and bool(rows))
        for number, (title, rows) in enumerate(zip(names, lists, strict=True))
        if rows or number in (1, 2)
    ]


def _units(rows: Sequence[HeldPallet]) -> str:
    return count(sum(h.units or 0 for h in rows))


_HELD = (
    Column("pallet", say("Pallet"), "id", PAGE),
    Column("hold", say("Hold"), "id"),
    Column("pallet", say("Pallet"), "id", TERMINAL + CSV),
    Column("state", say("State")),
    Column("since", say("Since")),
    Column("by", say("By")),
    Column("why", say("Why"), ways=PAGE),
    Column("line", say("Line")),
    Column("item", say("Item")),
    Column("packed", say("Packed"), "id", PAGE),
    Column("units", say("Units"), "count"),
    Column("warehouse", say("Warehouse says"), ways=SHOWN),
    *in_csv(reported="warehouse"),
    Column("disagrees", say("What does not fit")),
    *in_csv("why", "evidence"),
)
_DECISIONS = (
    Column("number", say("No."), "count"),
    Column("at", say("When"), "id"),
    Column("hold", say("Hold"), "id", PAGE),
    Column("action", say("What")),
    Column("by", say("Who")),
    *in_csv("pallets"),
    Column("why", say("Why")),
    Column("evidence", say("On what evidence")),
    Column("pallets", say("Pallets"), ways=SHOWN),
)


def held_sheet(
    plant: Plant, name: str, title: str, pallets: Sequence[HeldPallet], caption: str = "", without: Collection[str] = ()
) -> Sheet:
    """Pallets as they are held. without: columns that the page says elsewhere."""
    rows = [
        {
            **h.model_dump(exclude={"packed_from", "packed_to"}),
            "since": plant.clock.show(h.since) if h.since else "",
            "packed": plant.clock.show(h.packed_from) if h.packed_from else "",
            "state": worded(h.state),
            "warehouse": worded(h.warehouse or "") or say("not known to it"),
            "reported": h.warehouse,
        }
        for h in pallets
    ]
    return Sheet(name, title, tuple(c for c in _HELD if c.name not in without), rows, caption)


def decisions_sheet(
    plant: Plant, title: str, made: Sequence[Decision], caption: str = "", without: Collection[str] = ()
) -> Sheet:
    """Decisions in the order given. without: columns that the page says elsewhere."""
    rows = [
        {**d.model_dump(), "action": worded(d.action), "at": plant.clock.show(d.at), "pallets": joined(", ", d.pallets)}
        for d in made
    ]
    return Sheet("history", title, tuple(c for c in _DECISIONS if c.name not in without), rows, caption)


def _part(plant: Plant, name: str, pallets: Sequence[HeldPallet]) -> Sheet:
    caption = say("{pallets} pallets.", pallets=count(len(pallets))) if pallets else EMPTY
    return held_sheet(plant, name, name, pallets, caption, without=("packed",))


def _history(plant: Plant, made: Sequence[Decision]) -> Sheet:
    caption = say("{made} decisions since the ledger began.", made=count(len(made))) if made else EMPTY
    return decisions_sheet(plant, say("Decisions"), made[::-1], caption)
