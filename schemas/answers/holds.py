"""Decisions about pallets, and pallets as they are held."""

from __future__ import annotations

from schemas.answers.shape import Moment, Result


class Decision(Result):
    """Who did what to which pallets of a hold, when, why, and on what evidence. number: the order of decisions."""

    number: int
    hold: str
    action: str
    pallets: tuple[str, ...]
    at: Moment
    by: str
    why: str
    evidence: str


class HeldPallet(Result):
    """A pallet in a hold as it now stands: state by the decisions, warehouse by the pallets feed; disagrees says in
    words where they do not fit.

    hold is empty for a pallet that only the warehouse holds."""

    hold: str
    pallet: str
    state: str
    since: Moment | None
    by: str
    why: str
    evidence: str
    line: str | None = None
    item: str | None = None
    packed_from: Moment | None = None
    packed_to: Moment | None = None
    units: int | None = None
    warehouse: str | None = None
    disagrees: str = ""
