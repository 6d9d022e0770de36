"""The shapes of traces, holds and stations' trust. Fields may be added, never renamed: the JSON is a contract."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from schemas.results import Moment, Result


class Cavity(Result):
    """A place that can have made it, within the window; blank and neck_ring: fitted there then, several joined where
    one was changed.
    """

    line: str
    section: int
    gob: str
    mould: str
    from_: Moment = Field(alias="from")
    to: Moment
    probability: float
    blank: str | None = None
    neck_ring: str | None = None


class TracedPallet(Result):
    """A pallet that can carry sisters. expected_defective: containers with the defect, a mean; expected_low and _high:
    whole numbers that hold at least 95 %. probability: that the container complained of came from it. hold: held
    already, by the works or the warehouse.
    proposed: on the list that covers 95 % of the expected escapes with the fewest units. beyond: only in question
    because the same fault lasted.
    begin_inferred: only the moment of its label was noted; packed_from is inferred.
    """

    pallet: str
    line: str
    item: str
    packed_from: Moment
    packed_to: Moment
    units: int
    state: str
    mould_units: float
    expected_defective: float | None
    expected_low: float | None = None
    expected_high: float | None = None
    hold: bool
    probability: float | None = None
    proposed: bool = False
    beyond: bool = False
    doubts: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()
    begin_inferred: bool = False

    @property
    def cleared(self) -> bool:
        """Released: cleared to leave. Whether it has left, works.toml or nobody says."""
        return self.state == "released"


class HoldList(Result):
    """Pallets to hold. covers: share of the expected escapes on pallets that lie on it; null where nothing tells
    them.
    """

    pallets: tuple[str, ...]
    units: int
    covers: float | None
    released: int


class SamplingPlan(Result):
    """Single sampling by attributes: from a lot of `lot` units take `n`; accept it with up to `ac` nonconforming units,
    not with `re` or more.
    """

    inspection: str
    severity: str
    aql: float
    lot: int
    letter: str
    n: int
    ac: int
    re: int
    whole_lot: bool
    curve: tuple[tuple[float, float], ...] = ()


class WholeStay(Result):
    """What a mould made since the last check that could have seen a critical defect: the stay itself, whatever minutes
    were asked for.

    from: when its ware at that check was formed, or when the mould was fitted if that was later (`check` empty then).
    to: when it left, null: still there or unknown. check: station or person, with the time; null where none is known.
    pallets: packed of that ware;
    cleared: of them released.
    """

    line: str
    section: int
    gob: str
    mould: str
    fitted: Moment
    from_: Moment = Field(alias="from")
    to: Moment | None
    check: str | None
    checked_at: Moment | None
    containers: float
    pallets: tuple[str, ...]
    units: int
    cleared: int


class Trace(Result):
    """proposed: covers 95 % of the expected escapes with the fewest units; possible: all that can carry one.
    on_no_pallet: share of the expected escapes on ware that no pallet was reported for. impossible: what of the
    question cannot be; nearest: what is nearest to it.
    about_cavities: over how many cavities the answer is spread, stands_out: whether the first is worth naming.
    false_share: estimated share of the calls that was good ware; guessed: stations never challenged with the defect,
    taken as the works' stations are.
    whole_stay: of a critical
    defect, what the mould made since the last check that could have seen it. released_means_gone: as works.toml says;
    null where nobody knows.
    uncounted: share of the time of the pallet in hand before which no count came; what was made then is not in the
    answer.
    complained: containers complained of; where told, the expected numbers are given that at least so many were there.
    parts: each complaint's own answer where several are traced together; one_source: probability that one cavity made
    them all, at even odds before.
    queries: what the ledger was asked for it, as paths under sql/.
    """

    asked: dict[str, Any]
    cavities: tuple[Cavity, ...]
    formed_from: Moment | None
    formed_to: Moment | None
    evidence: dict[str, Any]
    pallets: tuple[TracedPallet, ...]
    expected_defective: float | None
    expected_low: float | None = None
    expected_high: float | None = None
    notes: tuple[str, ...] = ()
    severity: str | None = None
    proposed: HoldList | None = None
    possible: HoldList | None = None
    uncounted: float = 0.0
    on_no_pallet: float | None = None
    fault_from: Moment | None = None
    fault_to: Moment | None = None
    faults: tuple[str, ...] = ()
    impossible: tuple[str, ...] = ()
    nearest: tuple[str, ...] = ()
    plans: tuple[SamplingPlan, ...] = ()
    parts: tuple[dict[str, Any], ...] = ()
    one_source: float | None = None
    about_cavities: float | None = None
    stands_out: bool = True
    false_share: float | None = None
    guessed: tuple[str, ...] = ()
    whole_stay: WholeStay | None = None
    released_means_gone: bool | None = None
    complained: int | None = None
    queries: tuple[str, ...] = ()

    @property
    def complaints(self) -> list[str]:
        """The numbers of the complaints that were traced; none where it began with something else."""
        return [str(one) for one in self.asked.get("complaints") or [self.asked.get("complaint")] if one]

    @property
    def title(self) -> str:
        """What was traced, in short: the complaints, else what was in hand."""
        if self.complaints:
            return f"complaint{'s' if len(self.complaints) > 1 else ''} {', '.join(self.complaints)}"
        keys = ("pallet", "item", "line", "mould", "defect")
        return ", ".join(f"{key} {self.asked[key]}" for key in keys if key in self.asked) or "ware"


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


class DetectionRate(Result):
    """What the challenges of 30 days say of a station and a defect; low and high bound an exact 95 % interval."""

    line: str
    station: str
    defect: str
    severity: str
    passes: int
    caught: int
    rate: float | None
    low: float
    high: float
    last: Moment
    last_caught: int
    last_passes: int


class StationDoubt(Result):
    """Ware that nobody can vouch for: since the last good challenge (`from`, null: never) to the next good one (`to`,
    null: none yet).

    containers: inspected by the station in it. pallets: packed of what passed then, released ones first; units: all of
    their containers.
    likely: probability that the station really failed, an estimate. usual: its failed challenges are no more than what
    it usually misses.
    """

    line: str
    station: str
    defect: str
    severity: str
    why: str
    from_: Moment | None = Field(alias="from")
    to: Moment | None
    failed_at: Moment | None
    passes: int
    caught: int
    containers: int
    pallets: tuple[str, ...]
    released: int
    units: int
    likely: float | None = None
    usual: bool = False


class StationAssumption(Result):
    """What is assumed of a station and the defects that it calls and was never challenged with. challenged: how many
    others it was challenged with. missed: the share that it is taken to miss of each; by: what that is taken from.
    """

    line: str
    station: str
    defects: tuple[str, ...]
    challenged: int
    missed: float
    by: str


class Trust(Result):
    """usual_missed: the share that the works' stations miss as a whole, null where too few were challenged; alike:
    correlation of a challenge's passes.

    assumed: of what was never challenged. works_challenged: whether any station of the works was; where none was, no
    number of escapes is given.
    """

    from_: Moment = Field(alias="from")
    to: Moment
    rates: tuple[DetectionRate, ...]
    doubts: tuple[StationDoubt, ...]
    never: tuple[str, ...] = ()
    usual_missed: float | None = None
    alike: float = 0.0
    assumed: tuple[StationAssumption, ...] = ()
    works_challenged: bool = True

    @property
    def shown(self) -> list[StationDoubt]:
        """The doubts that ask for somebody; the others are as usual for their stations."""
        return [one for one in self.doubts if not one.usual]
