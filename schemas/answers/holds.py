"""Decisions about pallets, and pallets as they are held."""

from __future__ import annotations

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import ItemCode, LineId, PackedFrom, PackedTo, PalletId, PalletState, PalletUnits


class Decision(Result):
    """One decision about pallets of a hold, as it was kept."""

    number: int
    """its place in the order of all decisions, from 1 [-]"""
    hold: str
    """name of the hold, such as H-0001"""
    action: str
    """what was decided: propose, confirm, place, extend, release, scrap or dismiss"""
    pallets: tuple[str, ...]
    """identities of the pallets that it is about"""
    at: Moment
    """when it was decided [works' clock]"""
    by: str
    """who decided, by name"""
    why: str
    """for what reason"""
    evidence: str
    """on what evidence, in the words of whoever decided"""


class HeldPallet(Result):
    """A pallet in a hold as it now stands, beside what the warehouse says of it."""

    hold: str
    """name of the hold; empty for a pallet that only the warehouse holds"""
    pallet: PalletId
    state: str
    """by the decisions: proposed, held, released, scrapped or dismissed; held for a pallet that only the warehouse
    holds"""
    since: Moment | None
    """when the decision was made that gave it this state; null where only the warehouse holds it [works' clock]"""
    by: str
    """who made that decision; empty where only the warehouse holds it"""
    why: str
    """for what reason; empty where only the warehouse holds it"""
    evidence: str
    """on what evidence; empty where only the warehouse holds it"""
    line: LineId | None = None
    """null where the pallets feed does not know the pallet"""
    item: ItemCode | None = None
    """null where the pallets feed does not know the pallet"""
    packed_from: PackedFrom | None = None
    """null where the pallets feed does not know the pallet"""
    packed_to: PackedTo | None = None
    """null where the pallets feed does not know the pallet"""
    units: PalletUnits | None = None
    """null where the pallets feed does not know the pallet"""
    warehouse: PalletState | None = None
    """null where it does not know the pallet"""
    disagrees: str = ""
    """where decisions and warehouse do not fit, in words; empty where they do"""
