"""The letter to the customer names its window and its pallets as decided; released is not gone; nothing is written 0
that is only few.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pipelines.plant.works import Plant, read_plant
from pipelines.reports.trace.customer import KEEP, NOTHING, decided_pallets
from pipelines.reports.trace.tables import few, stay_words, whole_range
from pipelines.reports.trace.whereabouts import is_gone, whereabouts
from schemas.answers.holds import HeldPallet
from schemas.answers.trace import Trace, TracedPallet, WholeStay
from tests.conftest import WORKS

AT = datetime(2026, 3, 10, 6, tzinfo=UTC)


def pallet(name: str, state: str, proposed: bool = True) -> TracedPallet:
    return TracedPallet(
        pallet=name,
        line="K1",
        item="J370",
        packed_from=AT,
        packed_to=AT + timedelta(hours=1),
        units=2000,
        state=state,
        mould_units=125.0,
        expected_defective=0.2,
        hold=False,
        proposed=proposed,
    )


def held(name: str, state: str) -> HeldPallet:
    return HeldPallet(hold="H-0001", pallet=name, state=state, since=AT, by="QM", why="", evidence="")


def trace(*pallets: TracedPallet) -> Trace:
    return Trace(
        asked={"line": "K1"},
        cavities=(),
        formed_from=AT,
        formed_to=AT,
        evidence={},
        pallets=pallets,
        expected_defective=None,
    )


@pytest.fixture(params=[False, True])
def works(request: pytest.FixtureRequest) -> Plant:
    return read_plant(WORKS + f"\n[warehouse]\nreleased_means_gone = {str(request.param).lower()}\n")


def test_only_what_somebody_decided_is_in_the_letter_each_with_what_to_do(works: Plant) -> None:
    answer = trace(
        pallet("P1", "packed"),
        pallet("P2", "released"),
        pallet("P3", "packed"),
        pallet("P4", "released"),
        pallet("P5", "packed"),
        pallet("P6", "packed", False),
        pallet("P7", "held"),
        pallet("P8", "scrapped"),
    )
    holds = [
        held("P1", "held"),
        held("P2", "held"),
        held("P3", "proposed"),
        held("P4", "released"),
        held("P5", "dismissed"),
    ]
    decided, open_ones = decided_pallets(works, answer, holds)
    by_name = {d.pallet.pallet: d for d in decided}
    assert set(by_name) == {"P1", "P2", "P4", "P7", "P8"}
    assert [p.pallet for p in open_ones] == ["P3", "P5"], "a proposal and its dismissal decide nothing of the ware"
    assert by_name["P1"].to_do == by_name["P7"].to_do == NOTHING and not by_name["P1"].away
    gone = works.warehouse.released_means_gone
    assert by_name["P2"].away and (by_name["P2"].to_do == KEEP) is gone
    assert gone or by_name["P2"].to_do.startswith("It may have reached you.")
    assert "no ware" in by_name["P8"].to_do and by_name["P4"].decision == "looked at and released again"


def test_the_gravest_of_several_holds_stands(works: Plant) -> None:
    decided, _ = decided_pallets(works, trace(pallet("P1", "packed")), [held("P1", "released"), held("P1", "held")])
    assert [d.decision for d in decided] == ["held"]


def test_released_is_not_gone_unless_the_works_says_so(works: Plant) -> None:
    known = works.warehouse.released_means_gone
    assert is_gone(works, pallet("P", "released")) is (True if known else None)
    assert is_gone(works, pallet("P", "packed")) is False
    assert ("not known" in whereabouts(works)) is not known


def test_few_is_not_nothing() -> None:
    """Sketches of the pages: below 0.05 expected is written as fewer than 0.1."""
    assert (few(0.0), few(0.049), few(0.05), few(None)) == ("fewer than 0.1", "fewer than 0.1", "0.1", "not known")
    assert (whole_range(0, 0), whole_range(0, 2), whole_range(3, 3), whole_range(None, 1)) == (
        "fewer than 1",
        "0 to 2",
        "3",
        "not known",
    )


def test_a_critical_defects_whole_stay_is_told_with_the_check_that_could_have_seen_it(works: Plant) -> None:
    stay = WholeStay(
        line="K1",
        section=3,
        gob="B",
        mould="20",
        fitted=AT - timedelta(days=5),
        from_=AT - timedelta(hours=4),
        to=None,
        check="challenge of K1-mouth, 10 of 10",
        checked_at=AT - timedelta(hours=2),
        containers=2100.0,
        pallets=("P1", "P2"),
        units=4000,
        cleared=1,
    )
    words = " ".join(stay_words(works, stay))
    assert "mould 20 in 3B of K1" in words and "challenge of K1-mouth, 10 of 10" in words and "2 pallets" in words
    bare = stay.model_copy(update={"check": None, "checked_at": None, "from_": stay.fitted})
    assert "no good challenge vouches for it" in " ".join(stay_words(works, bare))
