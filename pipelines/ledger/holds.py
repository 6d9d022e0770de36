"""Keeping decisions about holds: added to, never changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import duckdb

from pipelines.ledger.queries import query
from pipelines.ledger.reader import Reader
from pipelines.ledger.store import Ledger
from schemas.answers.holds import Decision


def keep_decision(ledger: Ledger, decide: Callable[[Reader], Decision]) -> Decision:
    """Keep one decision, made from what the ledger says at that moment, so that two people cannot decide over each
    other.

    What `decide` raises leaves everything as it was.
    """
    with ledger.writing() as con:
        decision = decide(Reader(con))
        _keep(con, decision)
    return decision


def restore_decisions(ledger: Ledger, missing: Callable[[Reader], Sequence[Decision]]) -> Sequence[Decision]:
    """Keep decisions again that a ledger made anew does not have."""
    with ledger.writing() as con:
        decisions = missing(Reader(con))
        for decision in decisions:
            _keep(con, decision)
    return decisions


def _keep(con: duckdb.DuckDBPyConnection, decision: Decision) -> None:
    row = {
        "event": decision.number,
        "hold": decision.hold,
        "action": decision.action,
        "at": decision.at.replace(tzinfo=None),
        "by_whom": decision.by,
    }
    for pallet in decision.pallets:
        con.execute(
            query("keep_hold_event", "writes"),
            {**row, "pallet": pallet, "why": decision.why, "evidence": decision.evidence},
        )
