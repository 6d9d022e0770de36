"""A day against the days before it; a close against the close before it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from pipelines.measures.yields.change import Moved, Revision, against, changes, moved, revision_of

DAY = date(2026, 3, 29)


def brief(value: float, rejected: int = 40) -> dict:
    line = {
        "line": "K1",
        "pack_to_melt": value + 0.01,
        "inspected": 1000,
        "rejected": rejected,
        "gobs_cut": 1100.0,
        "hot_rejected": 11.0,
        "efficiency": None,
        "giveaway_kg": 3.0,
    }
    return {"furnace": {"furnace": "F1", "pack_to_melt": value}, "lines": [line]}


def test_a_further_day_keeps_the_limits_as_often_as_it_should() -> None:
    """Prediction interval: of 4000 normal days after 28 others, 95 % lie inside; checked by drawing them."""
    rng = np.random.default_rng(8)
    inside = []
    for _ in range(4000):
        days = rng.normal(0.9, 0.01, 29)
        _, month = against(float(days[-1]), list(days[-8:-1]), list(days[:-1]))
        assert month is not None
        inside.append(not month.beyond)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.012)


def test_the_limits_are_those_of_a_t_table() -> None:
    """Four days 1, 2, 3, 4: mean 2.5, s 1.291, t(3; 0.975) 3.182 (any table): half width 3.182 x 1.291 x sqrt(1.25) =
    4.593.
    """
    _, month = against(8.0, [], [1.0, 2.0, 3.0, 4.0])
    assert month is not None and month.high == pytest.approx(2.5 + 4.593, abs=0.002) and month.beyond is True
    week, few = against(8.0, [1.0], [1.0, 2.0, 3.0])
    assert few is not None and few.beyond is None and week is not None and week.days == 1


def test_only_closed_days_inside_the_last_7_and_28_count() -> None:
    past = [(DAY - timedelta(days=back), brief(0.80 if back > 7 else 0.90)) for back in (1, 2, 3, 7, 8, 28, 29)]
    yield_changes = {(change.of, change.name): change for change in changes(DAY, [brief(0.95, 80)], past)}
    furnace = yield_changes["F1", "pack-to-melt"]
    assert furnace.week is not None and (furnace.week.days, furnace.week.mean) == (4, pytest.approx(0.90))
    assert furnace.month is not None and furnace.month.days == 6
    assert yield_changes["K1", "rejected / inspected"].value == pytest.approx(0.08)
    assert ("K1", "efficiency") not in yield_changes


def answers(calls: int, packed: float, value: float) -> dict:
    line = {
        "line": "K1",
        "pack_to_melt": value,
        "gobs_cut": 1.0,
        "hot_rejected": 1.0,
        "inspected": 5,
        "rejected": 2,
        "packed_units": packed,
        "unaccounted_units": None,
    }
    furnace = {"furnace": "F1", "pack_to_melt": value, "melted_kg": None, "packed_kg": 1.0, "unaccounted_kg": 0.0}
    pareto = {"K1": {"calls": calls, "rows": [{"key": "CHF", "calls": calls}]}}
    return {"yield": {"furnaces": [furnace], "lines": [line]}, "pareto": pareto}


def test_what_moved_is_named_and_what_did_not_is_left_out() -> None:
    moveds = moved(answers(3, 10.0, 0.9), answers(4, 12.0, 0.9 + 1e-9))
    assert moveds == [
        Moved("K1", "packed units", 10.0, 12.0),
        Moved("K1", "calls", 3, 4),
        Moved("K1", "calls of CHF", 3, 4),
    ]


def test_a_revision_comes_back_from_its_json() -> None:
    at = datetime(2026, 3, 4, 6, tzinfo=UTC)
    files = [{"feed": "pallets", "file": "x.csv", "received_at": at, "rows_kept": 1, "rows_replacing": 1}]
    revision = Revision(1, at, [Moved("K1", "calls", 3, 4)], files)
    assert revision_of(revision.told()) == revision
