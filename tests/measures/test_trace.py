"""Ranking, coverage, detection and escapes by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipelines.clock import Span
from pipelines.measures.trace import Candidate, candidates, covering, detection, escapes, pallet_evidence, ranked
from pipelines.plant import Plant

AT = datetime(2026, 3, 2, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)
WINDOW = Span(AT, AT + 4 * HOUR)


def stay(mould: str, hours: float, line: str = "K1") -> Candidate:
    return Candidate(line, 1, "A", mould, "J370", Span(AT, AT + hours * HOUR))


def test_a_known_mould_is_weighed_by_the_time_of_its_stays() -> None:
    told = ranked([stay("7", 1), stay("7", 3, "K3")], {}, mould_known=True)
    assert [(c.line, c.probability) for c in told] == [("K3", 0.75), ("K1", 0.25)]


def test_an_unknown_mould_is_ranked_by_the_calls_of_the_defect() -> None:
    told = ranked([stay("7", 4), stay("8", 4)], {("K1", "8"): 9.0}, mould_known=False)
    assert [(c.mould, c.probability) for c in told] == [("8", pytest.approx(9.5 / 10)), ("7", pytest.approx(0.5 / 10))]


def test_equal_cavities_are_all_covered_and_unlikely_ones_are_not() -> None:
    same = ranked([stay(str(n), 4) for n in range(60)], {}, mould_known=False)
    assert covering(same, 0.99) == same
    skewed = ranked([stay(str(n), 4) for n in range(4)], {("K1", "2"): 500.0}, mould_known=False)
    assert [c.mould for c in covering(skewed, 0.99)] == ["2"]


def test_only_stays_that_fit_window_item_and_mould_are_candidates() -> None:
    moment = pl.Datetime("us", "UTC")
    spans = pl.DataFrame(
        [(1, "A", "7", "J370", AT - HOUR, AT + HOUR), (1, "B", "7", "O250", AT, None), (2, "A", "8", "J370", AT - HOUR, None), (3, "A", "7", "J370", AT - 3 * HOUR, AT)],
        {"section": pl.Int64, "gob": pl.String, "number": pl.String, "item": pl.String, "fitted_at": moment, "ended_at": moment},
        orient="row",
    )  # fmt: skip
    told = candidates(spans, "K1", WINDOW, "J370", "7")
    assert [(c.section, c.gob, c.span) for c in told] == [(1, "A", Span(AT, AT + HOUR))]


def test_escapes_are_found_times_missed_over_caught() -> None:
    """Design: found x (1 - d) / d. Of 95 found at a detection rate of 0.95, 5 got through."""
    assert escapes(95, 0.95) == pytest.approx(5)
    assert escapes(3, None) is None and escapes(3, 0.0) is None and escapes(0, 0.9) == 0


def test_stations_in_a_row_multiply_what_they_miss_and_lanes_are_pooled(plant: Plant) -> None:
    """Stone can be called by the side lanes and by the foot of K1: 1 - (1 - 0.9)(1 - 0.8) = 0.98."""
    passes = {"station": ["K1-side-a", "K1-side-b", "K1-foot", "K1-foot"], "defect": ["STN", "STN", "STN", "SPK"]}
    told = detection(plant, "K1", "STN", pl.DataFrame({**passes, "passes": [10, 10, 10, 10], "caught": [10, 8, 8, 0]}))
    assert told.rate == pytest.approx(0.98)
    assert [(row["stations"], row["passes"], row["caught"]) for row in told.stations] == [
        (["K1-side-a", "K1-side-b"], 20, 18),
        (["K1-foot"], 10, 8),
    ]
    assert 0 < told.low < 0.98 < told.high < 1


def test_without_challenges_nothing_is_known(plant: Plant) -> None:
    none = pl.DataFrame(schema={"station": pl.String, "defect": pl.String, "passes": pl.Int64, "caught": pl.Int64})
    assert (detection(plant, "K1", "STN", none).rate, detection(plant, "K1", None, none).rate) == (None, None)


def test_unread_calls_are_shared_out_in_proportion() -> None:
    ware = pl.DataFrame({"window_start": [AT] * 3, "mould": ["7", "8", None], "inspected": [20, 60, 20]})
    calls = pl.DataFrame({"window_start": [AT] * 3, "mould": ["7", "8", None], "calls": [3, 1, 4]})
    told = pallet_evidence(ware, calls, ["7"], (AT, AT + HOUR), timedelta(0))
    assert (told.mould_share, told.calls) == (0.25, pytest.approx(3 + 4 * 3 / 4))
