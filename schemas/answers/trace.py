"""A trace: cavities, pallets, lists to hold. Fields may be added, never renamed: the JSON is a contract."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from schemas.answers.shape import Moment, Result


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
        return [str(each) for each in self.asked.get("complaints") or [self.asked.get("complaint")] if each]

    @property
    def title(self) -> str:
        """What was traced, in short: the complaints, else what was in hand."""
        if self.complaints:
            return f"complaint{'s' if len(self.complaints) > 1 else ''} {', '.join(self.complaints)}"
        keys = ("pallet", "item", "line", "mould", "defect")
        return ", ".join(f"{key} {self.asked[key]}" for key in keys if key in self.asked) or "ware"
