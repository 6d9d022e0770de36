"""Running totals: exact where the reads determine what was counted, marked where they do not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from pipelines.answers.yields.answer import answer_yield
from pipelines.measures.yields.counters import between, counted, increments
from sample_feeds.simulator import Simulated, write_feeds
from tests.conftest import Place

START = datetime(2026, 3, 2, 8, tzinfo=UTC)


def reads(totals: dict[int, int], station: str = "K1-foot") -> pl.DataFrame:
    """Reads of one counter by minute."""
    return pl.DataFrame(
        {
            "read_at": [START + timedelta(minutes=m) for m in totals],
            "line": "K1",
            "station": station,
            "counter": "inspected",
            "mould": None,
            "defect": None,
            "total": list(totals.values()),
        },
        schema_overrides={"mould": pl.String, "defect": pl.String, "read_at": pl.Datetime("us", "UTC")},
    )


def test_two_rollovers_a_reset_at_a_job_change_and_twenty_silent_minutes() -> None:
    """A counter of modulus 1000 at about 90 a minute for an hour; every count is known beforehand."""
    rng = np.random.default_rng(4)
    counted = rng.integers(85, 96, 60)
    true, shown, total = {}, {}, 700
    for minute, step in enumerate(counted, start=1):
        total = total + int(step)
        if minute == 30:  # the job changes: 40 were counted before somebody pressed zero, the rest after
            total = int(step) - 40
        true[minute] = int(step)
        shown[minute] = total % 1000
        total %= 1000
    silent = set(range(41, 60))
    seen = {0: 700} | {m: t for m, t in shown.items() if m not in silent}
    frame = increments(reads(seen), {"K1-foot": 1000}, [START + timedelta(minutes=29.5)])
    by_end = {int((row["to_at"] - START).total_seconds() // 60): row for row in frame.iter_rows(named=True)}
    for minute in (*range(1, 30), *range(31, 41)):
        assert (by_end[minute]["increment"], by_end[minute]["doubt"]) == (true[minute], ""), minute
    reset = by_end[30]
    assert reset["increment"] is None and reset["doubt"].startswith("reset")
    assert reset["at_least"] <= true[30] <= reset["at_most"]
    after = by_end[60]
    assert after["doubt"] == "more than one rollover" and after["increment"] is None, (
        "twenty minutes at 90 can roll over once more"
    )


def test_a_gap_shorter_than_a_round_keeps_its_sum() -> None:
    frame = increments(reads({0: 100, 1: 150, 2: 200, 22: 1200, 23: 1250}), {"K1-foot": 65_536})
    assert frame["increment"].to_list() == [50, 50, 1000, 50] and frame["doubt"].to_list() == ["", "", "gap", ""]


@pytest.mark.parametrize(
    ("first", "second", "modulus", "at_most", "touched", "expected"),
    [
        (10, 60, 65_536, 150.0, False, (50, 50, 50, "")),
        (65_500, 14, 65_536, 150.0, False, (50, 50, 50, "")),
        (65_500, 14, 65_536, 150.0, True, (None, 14, 50, "reset or rollover")),
        (30_000, 14, 65_536, 150.0, False, (None, 14, 150, "reset")),
        (30_000, 14, None, 150.0, False, (None, 14, 150, "reset")),
        (900, 950, 1000, 2_000.0, False, (None, 50, None, "more than one rollover")),
        (5, 0, None, float("inf"), False, (None, 0, None, "reset")),
    ],
)
def test_two_reads_by_hand(
    first: int, second: int, modulus: int | None, at_most: float, touched: bool, expected: tuple
) -> None:
    assert between(first, second, modulus, at_most, touched) == expected


def test_counters_are_kept_apart() -> None:
    both = pl.concat([reads({0: 1, 1: 5}), reads({0: 100, 1: 130}, "K1-mouth")])
    frame = increments(both, {})
    assert dict(zip(frame["station"], frame["increment"], strict=True)) == {"K1-foot": 4, "K1-mouth": 30}
    assert increments(both.head(0), {}).is_empty()


def test_a_window_takes_its_part_and_names_what_is_open() -> None:
    frame = increments(reads({0: 10, 10: 110, 20: 210, 30: 5, 40: 105}), {"K1-foot": None})
    sums, open_ = counted(frame, START + timedelta(minutes=5), START + timedelta(minutes=40))
    assert sums.rows() == [("K1-foot", 50 + 100 + 5 + 100, 0)]
    assert open_["doubt"].to_list() == ["reset"]


def test_a_station_of_running_totals_alone_stands_in_the_yield(
    day_of_truth: Simulated, new_place: Callable[[], Place]
) -> None:
    """The simulator's foot station of K2 gives totals too: without its windows the totals alone give the same
    counts.
    """
    feeds = dict(day_of_truth.feeds)
    mine = pl.col("station") == "K2-foot"
    true = feeds["station_counts"].filter(mine)
    for name in ("station_counts", "reject_counts"):
        feeds[name] = feeds[name].filter(~mine)
    place = new_place()
    write_feeds(replace(day_of_truth, feeds=feeds), place.site.inbox, dirty=False, every="1d", formats=("csv",))
    place.take()
    with place.opened.ledger.reading() as reader:
        line = next(
            line_yield
            for line_yield in answer_yield(reader, place.plant, date(2026, 3, 10)).lines
            if line_yield.line == "K2"
        )
    flow = next(station for station in line.stations if station.station == "K2-foot")
    late = true.filter(pl.col("window_start") >= true["window_start"].min() + timedelta(minutes=10))
    assert flow.inspected == pytest.approx(late["inspected"].sum(), rel=0.002), (
        "the first total is read ten minutes into the day"
    )
    assert flow.rejected == pytest.approx(true["rejected"].sum(), rel=0.03)
    assert any("counted by its running totals, which miss" in note for note in line.notes)
