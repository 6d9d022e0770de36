"""A pallet that was filled before counts began: what is not known of it is said, to the works and to the customer."""

from __future__ import annotations

from datetime import timedelta

import polars as pl
import pytest

from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.question import Question
from pipelines.reports.trace.customer import _found
from schemas.answers.trace import Trace
from tests.conftest import Place

LINE = "K1"


@pytest.fixture(scope="module")
def early(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> tuple[Place, str, str]:
    """The works' day with one pallet begun three hours before the first count and ended an hour after it; it, and a
    later one.
    """
    place = day_taken.copied(tmp_path_factory.mktemp("early") / "site")
    first = place.facts("station_counts").filter(line=LINE)["window_start"].min()
    assert first is not None
    mine = place.facts("pallets").filter(line=LINE).sort("packed_from")
    moved = mine.head(1).with_columns(
        packed_from=pl.lit(first - timedelta(hours=3)), packed_to=pl.lit(first + timedelta(hours=1))
    )  # type: ignore[operator]
    as_text = pl.col("packed_from", "packed_to").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    place.put("pallets.corrected.csv", moved.with_columns(as_text).write_csv())
    assert place.take().rows_kept == 1
    return place, moved["pallet"][0], mine["pallet"][mine.height // 2]


def traced(place: Place, pallet: str) -> Trace:
    with place.opened.ledger.reading() as reader:
        return answer_trace(reader, place.plant, Question(pallet=pallet, defect="CHS"))


def test_a_pallet_begun_before_the_first_count_says_what_is_not_known(early: tuple[Place, str, str]) -> None:
    """Three hours of four; the way to the pallet moves that by some minutes."""
    place, pallet, _ = early
    trace = traced(place, pallet)
    assert trace.uncounted == pytest.approx(0.75, abs=0.06)
    assert any("no counts came" in note and pallet in note for note in trace.notes)
    assert not any("had waited up to" in note for note in trace.notes)
    (letter,) = _found(place.plant, trace)
    assert "(95 %)" not in letter and "we have none" in letter


def test_a_pallet_of_counted_hours_says_nothing_of_it(early: tuple[Place, str, str]) -> None:
    place, _, later = early
    trace = traced(place, later)
    assert trace.uncounted == 0.0 and not any("no counts came" in note for note in trace.notes)
    assert "(95 %)" in _found(place.plant, trace)[0]
