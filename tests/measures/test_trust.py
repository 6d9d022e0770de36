"""Detection, what is in doubt since when, and what gets past: by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines.measures.trust import (
    FAILED,
    OVERDUE,
    MissPrior,
    detection,
    doubts,
    missed_by_time,
    places_that_see,
    really_failed,
    works_prior,
)
from pipelines.plant import Plant

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)
SCHEMA: dict[str, Any] = {
    "checked_at": pl.Datetime("us", "UTC"), "line": pl.String, "station": pl.String, "defect": pl.String, "passes": pl.Int64, "caught": pl.Int64,
}  # fmt: skip


def challenged(
    *rows: tuple[float, int], station: str = "K1-mouth", defect: str = "CHF", passes: int = 10
) -> pl.DataFrame:
    told = [(AT + hour * HOUR, "K1", station, defect, passes, caught) for hour, caught in rows]
    return pl.DataFrame(told, SCHEMA, orient="row")


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
    none = pl.DataFrame(schema=SCHEMA)
    assert (detection(plant, "K1", "STN", none).rate, detection(plant, "K1", None, none).rate) == (None, None)
    assert missed_by_time(plant, "K1", "STN", none, [], MissPrior(0.5, 0.5), np.zeros(3)) is None
    assert works_prior(none, []) == MissPrior(0.5, 0.5)


def test_a_failed_challenge_puts_everything_since_the_last_good_one_in_doubt(plant: Plant) -> None:
    told = doubts(plant, challenged((0, 10), (8, 9), (16, 4), (17, 7), (18, 10), (26, 10)), AT + 27 * HOUR)
    assert [(d.why, d.start, d.failed_at, d.end, d.passes, d.caught) for d in told] == [
        (FAILED, AT + 8 * HOUR, AT + 16 * HOUR, AT + 18 * HOUR, 20, 11)
    ]
    assert told[0].holds(AT + 17.5 * HOUR, AT + 20 * HOUR) and not told[0].holds(AT + 18 * HOUR, AT + 20 * HOUR)


def test_a_first_challenge_that_fails_leaves_nothing_to_lean_on(plant: Plant) -> None:
    told = doubts(plant, challenged((3, 0)), AT + 5 * HOUR)
    assert [(d.why, d.start, d.end) for d in told] == [(FAILED, None, None)]
    assert told[0].holds(AT - 1000 * HOUR, AT - 999 * HOUR)


def test_overdue_is_told_after_ten_of_eight_hours_and_a_late_good_one_clears_it(plant: Plant) -> None:
    """Common practice, no source: due every 8 h; overdue from 1.25 times that."""
    good = challenged((0, 10))
    assert doubts(plant, good, AT + 10 * HOUR) == []
    told = doubts(plant, good, AT + 10.1 * HOUR)
    assert [(d.why, d.start, d.end) for d in told] == [(OVERDUE, AT, None)]
    assert doubts(plant, challenged((0, 10), (20, 10)), AT + 21 * HOUR) == []


def test_no_pass_is_no_good_challenge(plant: Plant) -> None:
    assert [d.why for d in doubts(plant, challenged((0, 10), (8, 0), passes=0), AT + 9 * HOUR)] == [FAILED]


def test_bad_luck_and_failure_are_weighed() -> None:
    """Bayes by hand: 5 of 10 at 3 % missed has a chance of 252 x 0.97^5 x 0.03^5 = 5.26e-6 against 1/11 for any share alike."""
    luck = 252 * 0.97**5 * 0.03**5
    assert really_failed(10, 5, 0.03) == pytest.approx(0.005 / 11 / (0.005 / 11 + 0.995 * luck))
    assert really_failed(10, 9, 0.03) < 0.01 < 0.99 < really_failed(10, 2, 0.03)


def test_what_gets_past_rises_in_a_stretch_of_doubt(plant: Plant) -> None:
    """K1-mouth alone calls CHF. 100 passes of which 97 caught, prior beta(3, 97): 3 % missed; after a challenge with 0 of 10 caught beta(11, 1): 11/12."""
    rows = challenged(*((-8.0 * n, 10 if n > 3 else 9) for n in range(10, 0, -1)), (8, 0), (16, 10))
    stretches = doubts(plant, rows, AT + 20 * HOUR)
    moments = np.array([(AT + h * HOUR).timestamp() for h in (-10.0, 4.0, 12.0, 19.0)])
    told = missed_by_time(plant, "K1", "CHF", rows, stretches, MissPrior(3, 97), moments)
    assert told is not None
    usual = (3 + 3) / (100 + 110)
    assert told.mean == pytest.approx([usual, (usual + 11 / 12) / 2, 11 / 12, usual], rel=2e-3)
    assert (told.square >= told.mean**2).all()


def test_places_in_a_row_and_lanes_beside_each_other(plant: Plant) -> None:
    assert places_that_see(plant, "K1", "STN") == [["K1-side-a", "K1-side-b"], ["K1-foot"]]
    lanes = pl.concat(
        [
            challenged((0, 10), station="K1-side-a", defect="STN"),
            challenged((0, 8), station="K1-side-b", defect="STN"),
            challenged((0, 9), station="K1-foot", defect="STN"),
        ]
    )
    told = missed_by_time(plant, "K1", "STN", lanes, [], MissPrior(1, 9), np.array([AT.timestamp()]))
    assert told is not None
    assert told.mean[0] == pytest.approx(((1 + 0) / 20 + (1 + 2) / 20) / 2 * (1 + 1) / 20)


def test_the_works_prior_finds_the_mean_and_is_wider_where_stations_differ() -> None:
    rng = np.random.default_rng(3)

    def works(spread: float) -> MissPrior:
        rows = []
        for n in range(60):
            share = float(np.clip(rng.normal(0.04, spread), 0.001, 0.5))
            rows.append((AT, "K1", f"S{n}", "CHF", 900, 900 - int(rng.binomial(900, share))))
        return works_prior(pl.DataFrame(rows, SCHEMA, orient="row"), [])

    alike, apart = works(0.001), works(0.03)
    assert alike.missed / (alike.missed + alike.found) == pytest.approx(0.04, abs=0.004)
    assert alike.missed + alike.found > 3 * (apart.missed + apart.found)
