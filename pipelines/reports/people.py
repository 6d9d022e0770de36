"""Who may sign in, and who did what, as tables for the page and for commands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import SHOWN, TERMINAL, Column, Sheet, in_csv
from pipelines.words import say

_PEOPLE = (
    Column("name", say("Name")),
    Column("roles", say("Roles")),
    Column("made", say("Since"), "id", SHOWN),
    Column("ended", say("Until"), "id", TERMINAL),
    Column("state", say("State"), ways=SHOWN),
    *in_csv("made_at", "ended_at"),
)
_AUDIT = (
    Column("number", say("No."), "count"),
    Column("at", say("When"), "id", SHOWN),
    *in_csv("told_at"),
    Column("who", say("Who")),
    Column("what", say("What")),
    Column("about", say("About")),
    Column("outcome", say("Outcome")),
)


def people_sheet(plant: Plant, everybody: Sequence[Mapping[str, Any]]) -> Sheet:
    """Everybody who may or might sign in, as the books keep them."""
    rows = [
        {
            **person,
            "made": plant.clock.show(parse_timestamp(str(person["made_at"]))),
            "ended": plant.clock.show(parse_timestamp(str(person["ended_at"]))) if person["ended_at"] else "",
            "state": say("taken out") if person["ended_at"] else say("may sign in"),
        }
        for person in everybody
    ]
    return Sheet("people", say("People"), _PEOPLE, rows)


def audit_sheet(plant: Plant, acts: Sequence[Mapping[str, Any]], caption: str = "") -> Sheet:
    """Acts as the books keep them."""
    rows = [{**act, "at": plant.clock.show(parse_timestamp(act["told_at"]), seconds=True)} for act in acts]
    return Sheet("audit", say("Audit trail"), _AUDIT, rows, caption)
