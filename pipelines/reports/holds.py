"""The page of holds: what waits for a person, what is held, what was given out all the same, and every decision ever
made.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.answers.holds import answer_holds, decisions
from pipelines.ledger.reader import Reader
from pipelines.measures.holds.decisions import HELD, PROPOSED
from pipelines.numbers import count
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
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
        Section(title, sheet=_pallets(plant, f"part-{number}", rows), wide=True, warn=number < 2 and bool(rows))
        for number, (title, rows) in enumerate(zip(names, lists, strict=True))
        if rows or number in (1, 2)
    ]


def _units(rows: Sequence[HeldPallet]) -> str:
    return count(sum(h.units or 0 for h in rows))


def _pallets(plant: Plant, name: str, pallets: Sequence[HeldPallet]) -> Sheet:
    rows = [
        {
            "hold": h.hold,
            "pallet": h.pallet,
            "state": h.state,
            "since": plant.clock.show(h.since) if h.since else "",
            "by": h.by,
            "why": h.why,
            "line": h.line,
            "item": h.item,
            "units": h.units,
            "warehouse": h.warehouse or "not known to it",
            "disagrees": h.disagrees,
        }
        for h in pallets
    ]
    columns = (
        Column("pallet", "Pallet", "id"),
        Column("hold", "Hold", "id"),
        Column("state", "State"),
        Column("since", "Since"),
        Column("by", "By"),
        Column("why", "Why"),
        Column("line", "Line"),
        Column("item", "Item"),
        Column("units", "Units", "count"),
        Column("warehouse", "Warehouse says"),
        Column("disagrees", "What does not fit"),
    )
    return Sheet(name, name, columns, rows, f"{count(len(rows))} pallets." if rows else EMPTY)


def _history(plant: Plant, made: Sequence[Decision]) -> Sheet:
    rows = [
        {
            "number": d.number,
            "at": plant.clock.show(d.at),
            "hold": d.hold,
            "action": d.action,
            "by": d.by,
            "pallets": ", ".join(d.pallets),
            "why": d.why,
            "evidence": d.evidence,
        }
        for d in reversed(made)
    ]
    columns = (
        Column("number", "No.", "count"),
        Column("at", "When"),
        Column("hold", "Hold", "id"),
        Column("action", "What"),
        Column("by", "Who"),
        Column("why", "Why"),
        Column("evidence", "On what evidence"),
        Column("pallets", "Pallets"),
    )
    return Sheet(
        "history",
        "Decisions",
        columns,
        rows,
        f"{count(len(rows))} decisions since the ledger began." if rows else EMPTY,
    )
