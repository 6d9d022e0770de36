"""Who may sign in, and who did what, as tables for the page and for commands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import SHOWN, TERMINAL, Column, Sheet, in_csv

_PEOPLE = (
    Column("name", "Name"),
    Column("roles", "Roles"),
    Column("made", "Since", "id", SHOWN),
    Column("ended", "Until", "id", TERMINAL),
    Column("state", "State", ways=SHOWN),
    *in_csv("made_at", "ended_at"),
)
_AUDIT = (
    Column("number", "No.", "count"),
    Column("at", "When", "id", SHOWN),
    *in_csv("told_at"),
    Column("who", "Who"),
    Column("what", "What"),
    Column("about", "About"),
    Column("outcome", "Outcome"),
)


def people_sheet(plant: Plant, everybody: Sequence[Mapping[str, Any]]) -> Sheet:
    """Everybody who may or might sign in, as the books keep them."""
    rows = [
        {
            **person,
            "made": plant.clock.show(parse_timestamp(str(person["made_at"]))),
            "ended": plant.clock.show(parse_timestamp(str(person["ended_at"]))) if person["ended_at"] else "",
            "state": "taken out" if person["ended_at"] else "may sign in",
        }
        for person in everybody
    ]
    return Sheet("people", "People", _PEOPLE, rows)


def audit_sheet(plant: Plant, acts: Sequence[Mapping[str, Any]], caption: str = "") -> Sheet:
    """Acts as the books keep them."""
    rows = [{**act, "at": plant.clock.show(parse_timestamp(act["told_at"]), seconds=True)} for act in acts]
    return Sheet("audit", "Audit trail", _AUDIT, rows, caption)
