"""What lies on a pallet, and all that a mould made."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from schemas.answers.shape import Moment, Result


class PalletPart(Result):
    """What of a pallet one mould made: expected containers, and the 95 % window of their forming."""

    section: int
    gob: str
    mould: str
    blank: str | None
    neck_ring: str | None
    units: float
    from_: Moment = Field(alias="from")
    to: Moment


class PalletDefect(Result):
    """One defect on a pallet's ware: calls found while it passed the stations; expected containers with it that got
    past, whole-number 95 % interval; null where no challenge tells.
    """

    defect: str
    name: str
    severity: str
    calls: int
    expected: float | None
    low: float | None
    high: float | None


class PalletContents(Result):
    """What is on a pallet. ware: containers expected by the stations' counts, beside `units` that were reported."""

    pallet: str
    line: str
    item: str
    packed_from: Moment
    packed_to: Moment
    units: int
    state: str
    ware: float
    formed_from: Moment | None
    formed_to: Moment | None
    parts: tuple[PalletPart, ...]
    defects: tuple[PalletDefect, ...]
    signals: tuple[dict[str, Any], ...]
    doubts: tuple[str, ...]
    states: tuple[dict[str, Any], ...]
    holds: tuple[str, ...]
    notes: tuple[str, ...] = ()


class MouldStay(Result):
    """One stay of a mould on the machine: where, with which blank and neck ring, from when to when (ended null: still
    there), and what it made.
    """

    section: int
    gob: str
    item: str | None
    fitted: Moment
    ended: Moment | None
    blank: str | None
    neck_ring: str | None
    containers: float


class MouldLife(Result):
    """Everything a mould made since it was fitted: its stays, the containers the stations saw of it, the calls, and the
    pallets that carry them.
    """

    line: str
    mould: str
    from_: Moment | None = Field(alias="from")
    to: Moment | None
    stays: tuple[MouldStay, ...]
    containers: float
    calls: tuple[dict[str, Any], ...]
    pallets: tuple[dict[str, Any], ...]
    states: dict[str, float] = {}
    impossible: tuple[str, ...] = ()
    nearest: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
