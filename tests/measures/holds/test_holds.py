"""Holds as they follow from decisions: what can follow what, and that nothing is ever lost."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.measures.holds.decisions import (
    FROM,
    HELD,
    PROPOSED,
    NotPossible,
    folded,
    holding,
    next_name,
    pallets_for,
)
from schemas.answers.holds import Decision

AT = datetime(2026, 3, 5, 8, tzinfo=UTC)


def decided(*steps: tuple[str, str, tuple[str, ...]]) -> list[Decision]:
    return [
        Decision(
            number=n,
            hold=hold,
            action=action,
            pallets=pallets,
            at=AT + timedelta(hours=n),
            by="quality",
            why="because",
            evidence="trace",
        )
        for n, (hold, action, pallets) in enumerate(steps, start=1)
    ]


def test_a_proposal_holds_nothing_until_it_is_confirmed() -> None:
    steps = [("H-0001", "propose", ("P1", "P2", "P3"))]
    hold = folded(decided(*steps))["H-0001"]
    assert (hold.state, set(hold.pallets.values())) == (PROPOSED, {PROPOSED})
    hold = folded(decided(*steps, ("H-0001", "confirm", ("P1", "P2")), ("H-0001", "dismiss", ("P3",))))["H-0001"]
    assert (hold.state, hold.pallets) == (HELD, {"P1": "held", "P2": "held", "P3": "dismissed"})


def test_a_released_pallet_stays_in_the_history() -> None:
    hold = folded(decided(("H-0001", "place", ("P1", "P2")), ("H-0001", "release", ("P1",))))["H-0001"]
    assert hold.pallets == {"P1": "released", "P2": "held"} and [d.action for d in hold.decisions] == [
        "place",
        "release",
    ]
    assert hold.since["P1"] == AT + timedelta(hours=2)
    assert hold.state == HELD  # while one pallet of it is held
    assert holding([hold]) == {"P2": ["H-0001"]}


def test_a_pallet_in_two_holds_stays_held_by_the_other() -> None:
    holds = folded(
        decided(
            ("H-0001", "place", ("P1",)),
            ("H-0002", "propose", ("P1",)),
            ("H-0003", "place", ("P1",)),
            ("H-0001", "release", ("P1",)),
        )
    )
    assert holding(holds.values()) == {"P1": ["H-0003", "H-0002 (proposed)"]}
    assert next_name(holds) == "H-0004" and next_name([]) == "H-0001"


@pytest.mark.parametrize(
    ("action", "named", "says"),
    [
        ("release", ("P2",), "P2 is proposed; only held pallets can be released"),
        ("scrap", ("P9",), "P9 is not in it; only held pallets can be scrapped"),
        ("confirm", ("P1",), "P1 is held; only proposed pallets"),
        ("dismiss", ("P1",), "P1 is held; only proposed pallets can be dismissed"),
        ("extend", ("P1",), "P1 is held"),
        ("extend", (), "name the pallets"),
    ],
)
def test_what_cannot_be_is_said_with_what_can(action: str, named: tuple[str, ...], says: str) -> None:
    hold = folded(decided(("H-0001", "place", ("P1",)), ("H-0001", "propose", ("P2",))))["H-0001"]
    with pytest.raises(NotPossible) as error:
        pallets_for(hold, action, named)
    assert says in str(error.value)


def test_without_names_a_decision_is_about_all_it_can_be_about() -> None:
    hold = folded(decided(("H-0001", "propose", ("P1", "P2")), ("H-0001", "confirm", ("P1",))))["H-0001"]
    assert pallets_for(hold, "confirm", ()) == ("P2",) and pallets_for(hold, "release", ()) == ("P1",)
    done = folded(decided(("H-0001", "place", ("P1",)), ("H-0001", "scrap", ("P1",))))["H-0001"]
    with pytest.raises(NotPossible, match="no pallet of H-0001 can be released"):
        pallets_for(done, "release", ())


@given(
    st.lists(
        st.tuples(st.sampled_from(sorted(FROM)), st.sets(st.sampled_from(["P1", "P2", "P3"]), min_size=1)), max_size=25
    )
)
def test_whatever_is_decided_no_pallet_and_no_decision_vanishes(steps: list[tuple[str, set[str]]]) -> None:
    made: list[Decision] = []
    for action, pallets in steps:
        hold = folded(made).get("H-0001")
        try:
            chosen = pallets_for(hold, action, sorted(pallets))
        except NotPossible:
            continue
        made += [d.model_copy(update={"number": len(made) + 1}) for d in decided(("H-0001", action, chosen))]
        after = folded(made)["H-0001"]
        assert set(hold.pallets if hold else ()) <= set(after.pallets) and after.decisions == made
