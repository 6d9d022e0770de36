"""Deciding about holds on a site: who, when, why, evidence; the archive's copy; what the warehouse says beside it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pipelines.answers.holds import all_holds, answer_holds, plans_of_hold
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.question import Question
from pipelines.errors import WrongUse
from pipelines.jobs.holds import decide, propose, restore
from pipelines.jobs.traces import write_trace
from schemas.answers.holds import Decision, HeldPallet
from tests.conftest import Place

HEAD = "pallet,line,item,packed_from,packed_to,units,state\n"
SAID = ("Nowak, quality", "stone found", "complaint C-1, page 3")


def pallets(place: Place, **states: str) -> None:
    rows = [
        f"{name},K1,J370,2026-03-10T0{n}:00:00Z,2026-03-10T0{n}:50:00Z,1000,{state}\n"
        for n, (name, state) in enumerate(states.items(), start=1)
    ]
    place.put(f"pallets.{'-'.join(states.values())}.csv", HEAD + "".join(rows))
    place.take()


def held(place: Place, everything: bool = False) -> list[HeldPallet]:
    with place.opened.ledger.reading() as reader:
        return answer_holds(reader, everything)


def did(place: Place, action: str, hold: str | None, *names: str) -> Decision:
    return decide(place.opened, action, hold, names, *SAID)


def test_a_hold_is_placed_extended_released_and_scrapped_and_all_of_it_is_kept(place: Place) -> None:
    pallets(place, P1="packed", P2="packed", P3="packed")
    did(place, "place", None, "P1", "P2")
    did(place, "extend", "H-0001", "P3")
    did(place, "release", "H-0001", "P2")
    did(place, "scrap", "H-0001", "P3")
    assert [(h.hold, h.pallet, h.state, h.by) for h in held(place)] == [("H-0001", "P1", "held", SAID[0])]
    assert {h.pallet: h.state for h in held(place, True)} == {"P1": "held", "P2": "released", "P3": "scrapped"}
    with place.opened.ledger.reading() as reader:
        hold = all_holds(reader)["H-0001"]
    assert [(d.action, d.by, d.why, d.evidence) for d in hold.decisions] == [
        (a, *SAID) for a in ("place", "extend", "release", "scrap")
    ]


def test_what_the_warehouse_gave_out_though_it_is_held_stands_first(place: Place) -> None:
    pallets(place, P1="packed", P2="released", P3="held")
    did(place, "place", None, "P1", "P2")
    these_pallets = held(place)
    assert (these_pallets[0].pallet, these_pallets[0].warehouse) == (
        "P2",
        "released",
    ) and "on the road" in these_pallets[0].disagrees
    assert [(h.hold, h.disagrees.split(";")[0]) for h in these_pallets if h.pallet == "P3"] == [
        ("", "held by the warehouse")
    ]
    pallets(place, P1="held", P2="held")
    assert all(not h.disagrees for h in held(place) if h.hold)


@pytest.mark.parametrize(("missing", "says"), [(0, "--by"), (1, "--why"), (2, "--evidence")])
def test_nobody_decides_without_a_name_a_reason_and_evidence(missing: int, says: str, place: Place) -> None:
    pallets(place, P1="packed")
    said = [" " if n == missing else text for n, text in enumerate(SAID)]
    with pytest.raises(WrongUse, match=says):
        decide(place.opened, "place", None, ["P1"], *said)
    assert held(place) == []


def test_what_does_not_exist_is_refused_with_what_is_nearest(place: Place) -> None:
    pallets(place, P1="packed", P2="packed")
    with pytest.raises(WrongUse, match="no pallet 'P3' was ever received; nearest: P1, P2"):
        did(place, "place", None, "P1", "P3")
    with pytest.raises(WrongUse, match="no hold 'H-0009'"):
        did(place, "release", "H-0009")
    with pytest.raises(WrongUse, match="name the pallets"):
        did(place, "place", None)
    assert held(place) == []


def test_decisions_come_back_from_the_archive_once(place: Place, new_place: Callable[[], Place]) -> None:
    pallets(place, P1="packed", P2="packed")
    did(place, "place", None, "P1")
    did(place, "release", "H-0001")
    again = new_place()
    pallets(again, P1="packed", P2="packed")
    folder = again.site.archive / "holds"
    folder.mkdir(parents=True)
    (folder / "decisions.jsonl").write_bytes((place.site.archive / "holds" / "decisions.jsonl").read_bytes())
    assert (restore(again.opened), restore(again.opened)) == (2, 0)
    assert held(again, True) == held(place, True)


def test_a_proposal_of_a_trace_waits_for_a_person(day_taken: Place, new_place: Callable[[], Place]) -> None:
    place = new_place()
    for path in (day_taken.site.ledger,):
        place.site.ledger.write_bytes(path.read_bytes())
    with place.opened.ledger.reading() as reader:
        trace = answer_trace(reader, place.plant, Question(complaint="C-26-001"))
    page, outer = write_trace(place.opened, trace)
    assert page.name == "C-26-001.html" and outer.name == "C-26-001-customer.html" and page.exists() and outer.exists()
    decision = propose(place.opened, trace, everything=False, page=page)
    assert (
        decision.by == "coldledger"
        and "expected defective" in decision.evidence
        and set(decision.pallets) == set(trace.proposed.pallets if trace.proposed else ())
    )
    assert {h.state for h in held(place) if h.hold} == {"proposed"}
    did(place, "confirm", decision.hold)
    assert {h.state for h in held(place) if h.hold} == {"held"}
    with place.opened.ledger.reading() as reader:
        now = answer_trace(reader, place.plant, Question(complaint="C-26-001"))
    assert all(p.hold and p.holds == (decision.hold,) for p in now.pallets if p.pallet in decision.pallets)


def test_a_hold_is_one_lot_and_the_past_decides_the_inspection(place: Place) -> None:
    """3 000 units: letter K by ISO 2859-1 table 1, level II; major, AQL 0.65: 125 and Ac 2, tightened 125 and 1
    (MIL-STD-105E tables II-A, II-B).
    """
    pallets(place, P1="packed", P2="packed", P3="packed")
    did(place, "place", None, "P1", "P2", "P3")
    with place.opened.ledger.reading() as reader:
        state, plans = plans_of_hold(reader, place.plant, "H-0001", "major", [True, False, False], False)
        for severity, says in (("critical", "not sampled away"), ("grave", "major or minor")):
            with pytest.raises(WrongUse, match=says):
                plans_of_hold(reader, place.plant, "H-0001", severity, [], False)
        with pytest.raises(WrongUse, match="holds no pallet"):
            plans_of_hold(reader, place.plant, "H-0002", "minor", [], False)
    assert state == "tightened"
    assert [(p.inspection, p.lot, p.letter, p.n, p.ac) for p in plans[:2]] == [
        ("normal", 3000, "K", 125, 2),
        ("tightened", 3000, "K", 125, 1),
    ]
