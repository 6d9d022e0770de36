"""What lies on a pallet, and all that a mould made."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    BlankNumber,
    DefectCode,
    DefectName,
    GobPosition,
    High95,
    ItemCode,
    LineId,
    Low95,
    MouldNumber,
    NeckRingNumber,
    Notes,
    PackedFrom,
    PackedTo,
    PalletHolds,
    PalletId,
    PalletState,
    PalletUnits,
    SectionNumber,
    Severity,
)


class PalletPart(Result):
    """What of a pallet one mould made at one place."""

    section: SectionNumber
    gob: GobPosition
    mould: MouldNumber
    blank: BlankNumber | None
    """null where the log names none"""
    neck_ring: NeckRingNumber | None
    """null where the log names none"""
    units: float
    """containers of it expected on the pallet, by the stations' counts; unread ware shared out in proportion
    [containers]"""
    from_: Moment = Field(alias="from")
    """begin of the central 95 % of the times at which they were formed [forming clock]"""
    to: Moment
    """end of the central 95 % of the times at which they were formed [forming clock]"""


class PalletDefect(Result):
    """One defect on a pallet's ware: what was found of it while the ware passed, and what is expected to have got
    past."""

    defect: DefectCode
    name: DefectName
    severity: Severity
    calls: int
    """calls of it at the line's stations while the pallet's ware passed them [calls]"""
    expected: float | None
    """containers with it expected on the pallet, a mean; null where no station of the line was challenged with it,
    or nothing tells the pallet's ware [containers]"""
    low: Low95 | None
    """of expected, a whole number; null where expected is [containers]"""
    high: High95 | None
    """of expected, a whole number; null where expected is [containers]"""


class PalletContents(Result):
    """What is on a pallet: moulds, minutes of forming, signals, stations in doubt, expected defects."""

    pallet: PalletId
    line: LineId
    item: ItemCode
    packed_from: PackedFrom
    """inferred where only the moment of its label was noted; `notes` then says so"""
    packed_to: PackedTo
    units: PalletUnits
    state: PalletState
    ware: float
    """containers expected by the stations' counts, all parts together, beside `units` that were reported
    [containers]"""
    formed_from: Moment | None
    """begin of the earliest part; null where no mould log tells what made it [forming clock]"""
    formed_to: Moment | None
    """end of the latest part; null where no mould log tells what made it [forming clock]"""
    parts: tuple[PalletPart, ...]
    """what each mould made of it, from half a container on, by section and gob position"""
    defects: tuple[PalletDefect, ...]
    """every defect called while its ware passed, and every critical one that the line's stations can call; by
    severity, then by calls"""
    signals: tuple[dict[str, Any], ...]
    """signals open while its ware passed the stations, of the line, the furnace, a station or one of its moulds:
    id, kind, defect, severity, scope, members, onset, ended, as in Signal"""
    doubts: tuple[str, ...]
    """stations for which no challenge vouches in that time: station, defect and why"""
    states: tuple[dict[str, Any], ...]
    """every state that the pallets feed gave it: state, units, received_at, and the file, batch and line of the
    file that said so"""
    holds: PalletHolds
    notes: Notes = ()


class MouldStay(Result):
    """One stay of a mould on the machine, and what it made."""

    section: SectionNumber
    gob: GobPosition
    item: ItemCode | None
    """that it made; null where neither mould log nor job log tells"""
    fitted: Moment
    """when it was fitted [forming clock]"""
    ended: Moment | None
    """when it left; null while it is still there [forming clock]"""
    blank: BlankNumber | None
    """null where the log names none"""
    neck_ring: NeckRingNumber | None
    """null where the log names none"""
    containers: float
    """that the stations saw of it, unread ware shared out in proportion [containers]"""


class MouldLife(Result):
    """Everything a mould made on a line since it was fitted, and the pallets that carry it."""

    line: LineId
    mould: MouldNumber
    from_: Moment | None = Field(alias="from")
    """begin of the first stay that is told of; null where it never sat there [forming clock]"""
    to: Moment | None
    """end of the last stay that is told of; null where it never sat there [forming clock]"""
    stays: tuple[MouldStay, ...]
    """each time it was fitted, the first one first"""
    containers: float
    """all that the stations saw of its stays [containers]"""
    calls: tuple[dict[str, Any], ...]
    """calls with its number read, a row a defect, critical ones first and what is no fault last: defect, severity,
    calls, of (containers of the mould that the first reading station saw), rate (calls over of; null for no fault),
    low and high (95 % interval of the rate), kind"""
    pallets: tuple[dict[str, Any], ...]
    """those that carry half a container of it or more: pallet, item, packed_from, packed_to, state, units (all on
    it), of_mould (expected of this mould)"""
    states: dict[str, float] = {}
    """of its containers on pallets, how many lie on pallets of each state [containers]"""
    impossible: tuple[str, ...] = ()
    """what of the question cannot be, a sentence each"""
    nearest: tuple[str, ...] = ()
    """what is nearest to it, a sentence each"""
    notes: Notes = ()
