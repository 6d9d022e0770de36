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
from schemas.answers.holds import Decision, HeldPallet

EMPTY = "None."


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
    newest = f"after decision {made[-1].number} of {plant.clock.show(made[-1].at)}" if made else ""
    return Page(
        works=plant.works.name,
        title="Holds",
        when=newest or "no decision was made yet",
        figures=(
            Figure(
                count(len(out)),
                "held, and given out all the same",
                f"{_units(out)} containers; whether to call them back is for the authorised person",
                "critical" if out else "",
            ),
            Figure(
                count(len(waits)),
                "proposed, waiting for a person",
                f"{_units(waits)} containers; nobody holds them yet",
                "critical" if waits else "",
            ),
            Figure(count(len(held)), "held", f"{_units(held)} containers"),
            Figure(count(len(others)), "held by the warehouse alone", "no decision about them is kept here"),
        ),
        sections=(
            *_parts(plant, out, waits, held, others, ended),
            Section("Every decision, the newest first", sheet=_history(plant, made), wide=True),
        ),
        links=(("all pages", "index.html"),),
        cautions=(CAUTION, GLASS),
        sources=(
            queries_words(reader.asked),
            "decisions also stand in archive/holds/decisions.jsonl; pallets by the pallets feed",
        ),
        made="A decision is never changed or removed: a later one stands beside it.",
        workbook="holds.xlsx",
    )


def _parts(plant: Plant, *lists: Sequence[HeldPallet]) -> list[Section]:
    names = (
        "Given out although held",
        "Proposed, waiting for a person",
        "Held",
        "Held by the warehouse alone",
        "Released, scrapped, turned down",
    )
    return [
        Section(title, sheet=_part(plant, f"part-{number}", rows), wide=True, warn=number < 2 and bool(rows))
        for number, (title, rows) in enumerate(zip(names, lists, strict=True))
        if rows or number in (1, 2)
    ]


def _units(rows: Sequence[HeldPallet]) -> str:
    return count(sum(h.units or 0 for h in rows))


_HELD = (
    Column("pallet", "Pallet", "id", PAGE),
    Column("hold", "Hold", "id"),
    Column("pallet", "Pallet", "id", TERMINAL + CSV),
    Column("state", "State"),
    Column("since", "Since"),
    Column("by", "By"),
    Column("why", "Why", ways=PAGE),
    Column("line", "Line"),
    Column("item", "Item"),
    Column("packed", "Packed", "id", PAGE),
    Column("units", "Units", "count"),
    Column("warehouse", "Warehouse says", ways=SHOWN),
    *in_csv(reported="warehouse"),
    Column("disagrees", "What does not fit"),
    *in_csv("why", "evidence"),
)
_DECISIONS = (
    Column("number", "No.", "count"),
    Column("at", "When", "id"),
    Column("hold", "Hold", "id", PAGE),
    Column("action", "What"),
    Column("by", "Who"),
    *in_csv("pallets"),
    Column("why", "Why"),
    Column("evidence", "On what evidence"),
    Column("pallets", "Pallets", ways=SHOWN),
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
            "warehouse": h.warehouse or "not known to it",
            "reported": h.warehouse,
        }
        for h in pallets
    ]
    return Sheet(name, title, tuple(c for c in _HELD if c.name not in without), rows, caption)


def decisions_sheet(
    plant: Plant, title: str, made: Sequence[Decision], caption: str = "", without: Collection[str] = ()
) -> Sheet:
    """Decisions in the order given. without: columns that the page says elsewhere."""
    rows = [{**d.model_dump(), "at": plant.clock.show(d.at), "pallets": ", ".join(d.pallets)} for d in made]
    return Sheet("history", title, tuple(c for c in _DECISIONS if c.name not in without), rows, caption)


def _part(plant: Plant, name: str, pallets: Sequence[HeldPallet]) -> Sheet:
    caption = f"{count(len(pallets))} pallets." if pallets else EMPTY
    return held_sheet(plant, name, name, pallets, caption, without=("packed",))


def _history(plant: Plant, made: Sequence[Decision]) -> Sheet:
    caption = f"{count(len(made))} decisions since the ledger began." if made else EMPTY
    return decisions_sheet(plant, "Decisions", made[::-1], caption)
