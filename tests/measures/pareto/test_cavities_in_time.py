"""Calls of each cavity half hour by half hour: by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from pipelines.measures.pareto.cavities_in_time import cavities_in_time

SIX = datetime(2026, 3, 2, 6, tzinfo=UTC)
HALF = timedelta(minutes=30)


def frame(rows: list[tuple[int | None, str | None, int, int, int]]) -> pl.DataFrame:
    """(section, gob, minutes after six, length of the window in minutes, calls)."""
    return pl.DataFrame(
        [(s, g, SIX + timedelta(minutes=at), long * 60, calls) for s, g, at, long, calls in rows],
        schema={
            "section": pl.Int64,
            "gob": pl.String,
            "window_start": pl.Datetime("us", "UTC"),
            "window_s": pl.Int64,
            "calls": pl.Int64,
        },
        orient="row",
    )


def test_calls_fall_into_the_half_hours_of_their_cavity() -> None:
    calls = frame([(1, "A", 0, 1, 2), (1, "A", 29, 1, 1), (1, "A", 30, 1, 4), (1, "B", 5, 1, 7), (None, None, 3, 1, 9)])
    ware = np.array([100.0, 120.0, np.nan])
    series = cavities_in_time(calls, [(1, "A"), (1, "B"), (2, "A")], ware, SIX, 1800)
    assert series.calls[1, "A"].tolist()[:2] == [3.0, 4.0] and series.calls[1, "B"].tolist()[:2] == [7.0, 0.0]
    assert series.calls[2, "A"].tolist()[:2] == [0.0, 0.0], "ware came and nothing was called of it"
    assert all(np.isnan(calls[2]) for calls in series.calls.values()), "no ware was counted: nothing is known"
    assert series.unplaced == 9 and series.whole.tolist()[:2] == [10.0, 4.0]


def test_a_window_over_two_bins_is_shared_out() -> None:
    series = cavities_in_time(frame([(1, "A", 15, 30, 6)]), [(1, "A")], np.array([10.0, 10.0]), SIX, 1800)
    assert series.calls[1, "A"].tolist() == [3.0, 3.0]


def test_the_bin_of_an_onset_belongs_to_it() -> None:
    series = cavities_in_time(frame([]), [(1, "A")], np.ones(6), SIX, 1800)
    assert series.since(SIX + 1.5 * HALF, None).tolist() == [False, True, True, True, True, True]
    assert series.since(SIX + HALF, SIX + 3 * HALF).tolist() == [False, True, True, False, False, False]
