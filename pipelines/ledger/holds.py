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
        told = decide(Reader(con))
        _keep(con, told)
    return told


def restore_decisions(ledger: Ledger, missing: Callable[[Reader], Sequence[Decision]]) -> Sequence[Decision]:
    """Keep decisions again that a ledger made anew does not have."""
    with ledger.writing() as con:
        told = missing(Reader(con))
        for one in told:
            _keep(con, one)
    return told


def _keep(con: duckdb.DuckDBPyConnection, told: Decision) -> None:
    row = {
        "event": told.number,
        "hold": told.hold,
        "action": told.action,
        "at": told.at.replace(tzinfo=None),
        "by_whom": told.by,
    }
    for pallet in told.pallets:
        con.execute(
            query("keep_hold_event", "writes"), {**row, "pallet": pallet, "why": told.why, "evidence": told.evidence}
        )
