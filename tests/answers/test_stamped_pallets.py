"""A real small day of whose pallets only the moment of the label was noted."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.contents import answer_contents
from pipelines.answers.trace.question import Question
from pipelines.answers.yields.line_day import line_day
from pipelines.clock import Span
from pipelines.measures.yields.line_flows import packed_in
from pipelines.reports.trace.tables import pallet_sheet
from sample_feeds.simulator import Simulated
from schemas.answers.trace import Trace
from tests.conftest import Place

NOON = datetime(2026, 3, 10, 11, tzinfo=UTC)
HOUR = timedelta(hours=1)
ASKED = Question(line="K1", mould="20", defect="CHS", made_from=NOON, made_to=NOON + HOUR)


@pytest.fixture(scope="module")
def labels(taken: Callable[[], Place], day_of_truth: Simulated) -> Place:
    """The day with its pallets sent again, begin and end both the moment of the label."""
    place = taken()
    names = ("pallet", "line", "item", "packed_from", "packed_to", "units", "state")
    rows = day_of_truth.feeds["pallets"].with_columns(packed_from="packed_to").select(names)
    rows = rows.with_columns(pl.col("packed_from", "packed_to").dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
    place.put("pallets.labels.csv", rows.write_csv())
    place.take()
    return place


def traced(place: Place, question: Question) -> Trace:
    with place.opened.ledger.reading() as reader:
        return answer_trace(reader, place.plant, question)


def test_the_list_to_hold_is_that_of_noted_beginnings_and_says_what_is_inferred(
    labels: Place, day_taken: Place
) -> None:
    trace, known = traced(labels, ASKED), traced(day_taken, ASKED)
    assert trace.possible is not None and known.possible is not None
    assert known.possible.pallets and set(known.possible.pallets) <= set(trace.possible.pallets)
    assert len(trace.possible.pallets) <= len(known.possible.pallets) + 1
    assert trace.expected_defective == pytest.approx(known.expected_defective, rel=0.1)
    assert all(p.begin_inferred and p.packed_from < p.packed_to for p in trace.pallets)
    assert not any(p.begin_inferred for p in known.pallets)
    count = len(trace.pallets)
    assert any(f"{count} of {count} pallets came with the moment of their label alone" in n for n in trace.notes)
    assert not any("label alone" in note for note in known.notes)
    sheet = pallet_sheet(labels.plant, trace)
    assert all(str(row["packed"]).startswith("about ") for row in sheet.rows) and "inferred" in sheet.caption


def test_a_stamped_pallet_in_hand_tells_its_ware(labels: Place, day_of_truth: Simulated) -> None:
    row = day_of_truth.feeds["pallets"].filter(pl.col("line") == "K1").row(20, named=True)
    with labels.opened.ledger.reading() as reader:
        contents = answer_contents(reader, labels.plant, row["pallet"])
    assert sum(p.units for p in contents.parts) == pytest.approx(row["units"], rel=0.02)
    assert abs(contents.packed_from - row["packed_from"]) <= timedelta(minutes=2) and any(
        "inferred" in n for n in contents.notes
    )
    trace = traced(labels, Question(pallet=row["pallet"], defect="CHS"))
    assert trace.proposed is not None and row["pallet"] in trace.proposed.pallets
    assert any(f"pallet {row['pallet']}" in note and "(inferred)" in note for note in trace.notes)


def test_a_part_of_a_day_packs_what_it_did(labels: Place, day_taken: Place) -> None:
    """Limits that cut a pallet through: stamped at an instant all of it would lie on one side of them."""
    span = Span(NOON, NOON + 8 * HOUR)
    found = []
    for place in (labels, day_taken):
        with place.opened.ledger.reading() as reader:
            day = line_day(reader, place.plant, "K1", span, [("day", span)])
        found.append(sum(packed_in(day.pallets, day.passed, span).by_item.values()))
    assert found[0] == pytest.approx(found[1], rel=0.003) and found[1] > 10_000
