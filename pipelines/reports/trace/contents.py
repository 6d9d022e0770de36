"""What lies on a pallet, and all that a mould made, as tables."""

from __future__ import annotations

from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import SHOWN, Column, Sheet, in_csv
from pipelines.words import defect_name, joined, say, worded
from schemas.answers.contents import MouldLife, MouldStay, PalletContents

FITTED = (
    Column("section", say("Section"), "count"),
    Column("gob", say("Gob")),
    Column("mould", say("Mould")),
    Column("blank", say("Blank")),
    Column("ring", say("Neck ring"), csv="neck ring"),
)
FORMED = (
    Column("from", say("Formed from"), csv="formed from"),
    Column("to", say("to")),
)
_PARTS = (*FITTED, Column("units", say("Containers"), "number", csv="containers"), *FORMED)
_DEFECTS = (
    Column("defect", say("Defect")),
    Column("name", say("Name")),
    Column("severity", say("Severity")),
    Column("calls", say("Called and rejected then"), "count"),
    Column("expected", say("Expected on it"), "expected"),
    Column("low", say("At least"), "count"),
    Column("high", say("At most (95 %)"), "count"),
)
KEPT_SIGNAL = (
    Column("id", say("Signal")),
    Column("defect", say("Defect")),
    Column("severity", say("Severity")),
    Column("scope", say("Where")),
    Column("onset", say("Onset")),
    Column("ended", say("Ended")),
)
_STATES = (
    Column("state", say("State")),
    Column("units", say("Units"), "count"),
    Column("received", say("Received")),
    Column("file", say("File")),
    Column("file_line", say("Line of the file"), "count"),
)
_STAYS = (
    Column("section", say("Section"), "count"),
    Column("gob", say("Gob")),
    Column("item", say("Item")),
    Column("fitted", say("Fitted")),
    Column("ended", say("Ended")),
    Column("blank", say("Blank")),
    Column("neck_ring", say("Neck ring")),
    Column("containers", say("Containers seen"), "count"),
)
_CALLS = (
    Column("defect", say("Defect")),
    Column("severity", say("Severity")),
    Column("calls", say("Calls"), "count"),
    Column("of", say("Of containers read"), "count"),
    Column("rate", say("Rate"), "percent"),
    Column("low", say("At least"), "percent"),
    Column("high", say("At most (95 %)"), "percent"),
)
PACKED = (Column("from", say("Packed from"), ways=SHOWN), Column("to", say("to"), ways=SHOWN))
ON_PALLET = (
    Column("pallet", say("Pallet")),
    Column("item", say("Item")),
    Column("units", say("Units"), "count"),
    *PACKED,
)
_CARRIED = (
    Column("pallet", say("Pallet"), "id"),
    Column("item", say("Item")),
    *PACKED,
    *in_csv("packed_from", "packed_to"),
    Column("state", say("State")),
    *in_csv("units"),
    Column("of_mould", say("Of this mould"), "number"),
)


def local(plant: Plant, moment: Any) -> str:
    """A moment of an answer as people read it; a dash for none."""
    return "-" if moment is None else plant.clock.show(parse_timestamp(str(moment)))


def parts_sheet(plant: Plant, contents: PalletContents) -> Sheet:
    """Which moulds made it, and when."""
    rows = [
        {
            **part.told(),
            "ring": part.neck_ring,
            "from": plant.clock.show(part.from_),
            "to": plant.clock.show(part.to),
        }
        for part in contents.parts
    ]
    return Sheet("parts", say("Moulds on it, and when they formed them (95 %)"), _PARTS, rows)


def defects_sheet(contents: PalletContents) -> Sheet:
    """What was called of its ware, and what can have got past."""
    rows = [
        {**defect.model_dump(), "name": defect_name(defect.name), "severity": worded(defect.severity)}
        for defect in contents.defects
    ]
    return Sheet("defects", say("Defects"), _DEFECTS, rows)


def signals_then(plant: Plant, contents: PalletContents) -> Sheet:
    """Signals of the time."""
    rows = [
        {
            **signal,
            "severity": worded(signal["severity"]),
            "scope": joined(" ", (worded(signal["scope"]), ", ".join(signal["members"][:8]))),
            "onset": local(plant, signal["onset"]),
            "ended": local(plant, signal["ended"]),
        }
        for signal in contents.signals
    ]
    return Sheet("signals", say("Signals open while its ware was inspected"), KEPT_SIGNAL, rows)


def states_sheet(plant: Plant, contents: PalletContents) -> Sheet:
    """All that the warehouse reported of it."""
    rows = [
        {**state, "state": worded(state["state"]), "received": local(plant, state["received_at"])}
        for state in contents.states
    ]
    return Sheet("states", say("What the warehouse said of it"), _STATES, rows)


def stays_sheet(plant: Plant, life: MouldLife) -> Sheet:
    """Where a mould was fitted, and what it made there."""
    rows = [{**stay.model_dump(), **_times(plant, stay)} for stay in life.stays]
    return Sheet("stays", say("Mould {mould} on {line}", mould=life.mould, line=life.line), _STAYS, rows)


def _times(plant: Plant, stay: MouldStay) -> dict[str, str]:
    ended = plant.clock.show(stay.ended) if stay.ended else say("still there")
    return {"fitted": plant.clock.show(stay.fitted), "ended": ended}


def calls_sheet(life: MouldLife) -> Sheet:
    """What was called of its containers."""
    rows = [
        {**call, "severity": worded(call["severity"]) if call["severity"] else WORDS.get(call["kind"], "")}
        for call in life.calls
    ]
    return Sheet("calls", say("Calls with the number read"), _CALLS, rows)


def carried_sheet(plant: Plant, life: MouldLife) -> Sheet:
    """Every pallet that carries what it made."""
    rows = [
        {
            **pallet,
            "state": worded(pallet["state"]),
            "from": local(plant, pallet["packed_from"]),
            "to": local(plant, pallet["packed_to"]),
        }
        for pallet in life.pallets
    ]
    return Sheet("carried", say("The newest pallets"), _CARRIED, rows)
