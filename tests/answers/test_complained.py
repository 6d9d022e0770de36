"""A complaint in its own trace: what was found at the customer's is among what is expected."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import polars as pl
import pytest

from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.question import Question
from sample_feeds.simulator import Simulated
from schemas.answers.trace import Trace
from tests.conftest import Place

MADE = {"made_from": datetime(2026, 3, 10, 11, tzinfo=UTC), "made_to": datetime(2026, 3, 10, 11, 5, tzinfo=UTC)}
HEAD = "complaint,received_on,item,defect,units,mould,pallet,made_from,made_to,note\n"
TIMES = "2026-03-10T11:00:00Z,2026-03-10T11:05:00Z"


@pytest.fixture(scope="module")
def complained(taken: Callable[[], Place], day_of_truth: Simulated) -> Place:
    place, pallets = taken(), day_of_truth.feeds["pallets"].filter(pl.col("line") == "K1")
    rows = [
        f"C-X1,2026-03-20,{pallets['item'][0]},CHS,3,20,,{TIMES},\n",
        f"C-X2,2026-03-20,{pallets['item'][0]},CHS,2,20,,{TIMES},\n",
        f"C-X3,2026-03-20,{pallets['item'][0]},CHS,1,20,{pallets['pallet'][20]},,,\n",
    ]
    place.put("complaints.x.csv", HEAD + "".join(rows))
    place.take()
    return place


def traced(place: Place, question: Question, *also: Question) -> Trace:
    with place.opened.ledger.reading() as reader:
        return answer_trace(reader, place.plant, question, also)


def test_as_many_as_were_complained_of_were_there(complained: Place) -> None:
    """Five minutes of one mould bring far fewer than three of a defect; three came back."""
    plain = traced(complained, Question(line="K1", mould="20", defect="CHS", **MADE))
    trace = traced(complained, Question(complaint="C-X1", line="K1"))
    assert plain.expected_high is not None and plain.expected_high < 3 and plain.complained is None
    assert not any("reached the customer" in note for note in plain.notes)
    assert trace.expected_low is not None and trace.expected_high is not None and trace.expected_defective is not None
    assert (
        trace.complained == 3 and trace.expected_low >= 3 and trace.expected_high >= 3 and trace.expected_defective >= 3
    )
    assert sum(p.expected_defective or 0 for p in trace.pallets) == pytest.approx(trace.expected_defective, rel=0.02)
    assert any("at least 3 containers with CHS reached the customer" in note for note in trace.notes)
    assert any("more gets past than they tell" in note for note in trace.notes)
    assert (
        trace.proposed is not None and plain.proposed is not None and trace.proposed.pallets == plain.proposed.pallets
    )


def test_another_defect_than_was_complained_of_is_not_counted(complained: Place) -> None:
    trace = traced(complained, Question(complaint="C-X1", line="K1", defect="SPK"))
    assert trace.complained is None and not any("reached the customer" in note for note in trace.notes)


def test_the_pallet_in_hand_carried_it(complained: Place) -> None:
    trace = traced(complained, Question(complaint="C-X3"))
    hand = next(p for p in trace.pallets if p.pallet == trace.asked["pallet"])
    assert hand.expected_low is not None and hand.expected_low >= 1 and (hand.expected_defective or 0) >= 1
    assert trace.expected_low is not None and trace.expected_low >= 1


def test_complaints_together_count_together(complained: Place) -> None:
    trace = traced(complained, Question(complaint="C-X1", line="K1"), Question(complaint="C-X2", line="K1"))
    assert trace.complained == 5 and trace.expected_low is not None and trace.expected_low >= 5
