"""A trace: cavities, pallets, lists to hold. Fields may be added, never renamed: the JSON is a contract."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from schemas.answers.shape import Moment, Result
from schemas.answers.shared_fields import (
    BlankNumber,
    GobPosition,
    ItemCode,
    LineId,
    MouldNumber,
    NeckRingNumber,
    Notes,
    PackedFrom,
    PackedTo,
    PalletHolds,
    PalletId,
    PalletState,
    PalletUnits,
    Probability,
    SectionNumber,
    Severity,
)
from schemas.texts import Text


class Cavity(Result):
    """A place that can have made what is in hand, and the mould that sat there."""

    line: LineId
    section: SectionNumber
    gob: GobPosition
    mould: MouldNumber
    from_: Moment = Field(alias="from")
    """begin of the time in which it can have made it: as asked, or with a pallet in hand of the central 95 % of the
    forming of its ware there [forming clock]"""
    to: Moment
    """end of that time [forming clock]"""
    probability: Probability
    """that it came from here: its share of the expected escapes, of its ware alone where no defect is named; all
    cavities add up to 1"""
    blank: BlankNumber | None = None
    """null where the log names none, and beyond the twelve
    likeliest cavities"""
    neck_ring: NeckRingNumber | None = None
    """null where the log names none, and beyond the twelve
    likeliest cavities"""


class TracedPallet(Result):
    """A pallet that can carry sisters of the faulty container."""

    pallet: PalletId
    line: LineId
    item: ItemCode
    packed_from: PackedFrom
    """inferred where begin_inferred"""
    packed_to: PackedTo
    units: PalletUnits
    state: PalletState
    mould_units: float
    """of its containers, those expected of the cavities in question, in the window and while the same fault lasted
    beyond it [containers]"""
    expected_defective: float | None
    """containers with the defect expected on it, a mean; null without a defect and where no station of the works
    was challenged [containers]"""
    expected_low: float | None = None
    """fewest of an interval of whole numbers that holds at least 95 %; null where expected_defective is [containers]"""
    expected_high: float | None = None
    """most of an interval of whole numbers that holds at least 95 %; null where expected_defective is [containers]"""
    hold: bool
    """whether it is held already, by a decision or by the warehouse"""
    probability: Probability | None = None
    """that the container complained of came from it: its share of the expected escapes; null where nobody worked it
    out"""
    proposed: bool = False
    """on the list that covers 95 % of the expected escapes with the fewest units"""
    beyond: bool = False
    """only in question because the same fault lasted beyond the window"""
    doubts: tuple[Text, ...] = ()
    """stations for which no challenge vouches while it was packed: station, defect and why"""
    holds: PalletHolds = ()
    begin_inferred: bool = False
    """only the moment of its label was noted"""

    @property
    def cleared(self) -> bool:
        """Released: cleared to leave. Whether it has left, works.toml or nobody says."""
        return self.state == "released"


class HoldList(Result):
    """Pallets to hold."""

    pallets: tuple[str, ...]
    """their identities; scrapped and emptied ones are on no list"""
    units: int
    """containers on them, all of them [containers]"""
    covers: float | None
    """of the expected escapes (of ware in question, where no defect is named) on the pallets that were found, what
    lies on these; null where none is expected [0..1 of expected escapes]"""
    released: int
    """of them, those whose state is released [pallets]"""


class SamplingPlan(Result):
    """Single sampling by attributes, ISO 2859-1: what to take from a lot, and when to accept it."""

    inspection: str
    """normal, tightened or reduced"""
    severity: str
    """of the defects looked for: major or minor"""
    aql: float
    """acceptance quality limit [% nonconforming]"""
    lot: int
    """containers of the lot [containers]"""
    letter: str
    """code letter of the standard for the lot and the works' inspection level"""
    n: int
    """containers to take, no more than the lot [containers]"""
    ac: int
    """acceptance number: with up to so many nonconforming the lot is accepted [containers]"""
    re: int
    """rejection number: with so many or more it is not [containers]"""
    whole_lot: bool
    """the sample would be as large as the lot or larger: look at all of it"""
    curve: tuple[tuple[float, float], ...] = ()
    """operating characteristic, as pairs: share nonconforming in the lot, probability that it is accepted [0..1]"""


class WholeStay(Result):
    """What a mould made since the last check that could have seen a critical defect: the stay itself, whatever
    minutes were asked for."""

    line: LineId
    section: SectionNumber
    gob: GobPosition
    mould: MouldNumber
    fitted: Moment
    """when the mould was fitted [forming clock]"""
    from_: Moment = Field(alias="from")
    """when its ware at that check was formed, or when the mould was fitted if that was later; no more than 30 days
    before the window of the trace [forming clock]"""
    to: Moment | None
    """when it left; null where it is still there or the log does not say [forming clock]"""
    check: Text | None
    """the challenge, as station and caught of passes; null where none of its ware is known to have been checked"""
    checked_at: Moment | None
    """when that challenge was made; null where check is [cold-end clock]"""
    containers: float
    """that the stations saw of it since then [containers]"""
    pallets: tuple[str, ...]
    """identities of the pallets that carry more than half a container of it"""
    units: int
    """containers on these pallets, all of them [containers]"""
    cleared: int
    """of these pallets, those whose state is released [pallets]"""


class Trace(Result):
    """From what is in hand to the cavities that can have made it, the evidence, and the pallets at risk."""

    asked: dict[str, Any]
    """the question, filled up from complaint and pallet: complaint, item, line, mould, defect, pallet, made_from
    and made_to (forming clock, UTC), received, and complaints where several are traced together"""
    cavities: tuple[Cavity, ...]
    """every place in question, the likeliest first"""
    formed_from: Moment | None
    """earliest begin of the cavities with a probability, or of the window asked for where there is no cavity; null
    where no window follows from the question [forming clock]"""
    formed_to: Moment | None
    """latest end of the same; null where formed_from is [forming clock]"""
    evidence: dict[str, Any]
    """of the likeliest cavity, with the files and rows behind it: cavity, seen_from and seen_to (cold-end clock,
    UTC), ware_of_mould, calls_of_defect, calls_without_mould, calls, minutes (with minutes_from, minutes_to),
    weights, weighings, stoppages, moulds_there, signals, stations, missing, detection, files; empty without a
    cavity"""
    pallets: tuple[TracedPallet, ...]
    """the one in hand first, then those released, then by what is expected on them"""
    expected_defective: float | None
    """containers with the defect expected on all of them, a mean; null without a defect and where no station of the
    works was challenged [containers]"""
    expected_low: float | None = None
    """fewest of an interval of whole numbers that holds at least 95 %; null where expected_defective is [containers]"""
    expected_high: float | None = None
    """most of an interval of whole numbers that holds at least 95 %; null where expected_defective is [containers]"""
    notes: Notes = ()
    severity: Severity | None = None
    """null without a defect"""
    proposed: HoldList | None = None
    """the fewest containers that cover 95 % of the expected escapes of the window, and of the same fault beyond it;
    null without a cavity"""
    possible: HoldList | None = None
    """every pallet that can carry one; null without a cavity"""
    uncounted: float = 0.0
    """of the time in which ware of the pallet in hand met the first station, the part before any count came: what
    was made then is not in the answer; 0 up to a share of 0.05 [0..1 of that time]"""
    on_no_pallet: float | None = None
    """of the expected escapes of the window, what lies on ware that no pallet was reported for; null with a pallet
    in hand, without a defect, and where none is expected [0..1 of expected escapes]"""
    fault_from: Moment | None = None
    """since when the same fault lasted, by the signals in faults; null without one [forming clock]"""
    fault_to: Moment | None = None
    """until when it lasted; null without such a signal [forming clock]"""
    faults: tuple[str, ...] = ()
    """names of the signals of the defect at these moulds that were open then"""
    impossible: tuple[Text, ...] = ()
    """what of the question cannot be, a sentence each"""
    nearest: tuple[Text, ...] = ()
    """what is nearest to it, a sentence each"""
    plans: tuple[SamplingPlan, ...] = ()
    """of a sample of the proposed pallets as one lot, by inspection; none for a critical defect, which is not
    sampled away"""
    parts: tuple[dict[str, Any], ...] = ()
    """each complaint's own answer where several are traced together: asked, cavities (the five likeliest),
    formed_from, formed_to, impossible"""
    one_source: Probability | None = None
    """that one cavity made all that was complained of, at even odds beforehand; null for a single complaint"""
    about_cavities: float | None = None
    """over how many equally likely cavities the probabilities are spread; null without a cavity [cavities]"""
    stands_out: bool = True
    """whether the likeliest cavity is worth naming"""
    false_share: float | None = None
    """of the lines' calls of the defect, the estimated part that was good ware; null where nothing was learnt of it
    [0..1 of calls]"""
    guessed: tuple[str, ...] = ()
    """stations never challenged with the defect, taken to miss what the works' stations miss"""
    whole_stay: WholeStay | None = None
    """of a critical defect where a cavity stands out: what its mould made since the last check that could have seen
    it; null else, and where the mould log lacks the stay"""
    released_means_gone: bool | None = None
    """true: by works.toml a released pallet has left; null where nobody says what released means"""
    complained: int | None = None
    """containers complained of with the defect, at least so many of which are in the expected numbers; null without
    a complaint, without a defect, and where the complaint tells of another one [containers]"""
    queries: tuple[str, ...] = ()
    """what the ledger was asked for it, as paths under sql/"""

    @property
    def complaints(self) -> list[str]:
        """The numbers of the complaints that were traced; none where it began with something else."""
        return [str(each) for each in self.asked.get("complaints") or [self.asked.get("complaint")] if each]
