"""What each mould should bring of each defect: kept by blocks, shared out over a window; by hand, and against what is
kept of moulds and defects.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from pipelines.measures.signals import follow_lines, line_counts
from pipelines.measures.signals.cells import CELLS, blocks_of_cells, cell_expectations, cells_between
from pipelines.measures.signals.expected import hour_expectations
from pipelines.plant.works import Plant
from sample_feeds.simulator import make_plan
from tests.benchmarks.signal_truth import frames_of
from tests.shared import Shared

START = datetime(2026, 3, 2, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)


def cells(*rows: tuple[int, str, str, float, float, float]) -> pl.DataFrame:
    these_rows = [(START + hour * HOUR, *rest) for hour, *rest in rows]
    return pl.DataFrame(these_rows, schema={"hour": pl.Datetime("us", "UTC"), **CELLS}, orient="row")


def by_hour(*rows: tuple[int, str, float]) -> pl.DataFrame:
    these_rows = [(START + hour * HOUR, mould, expected) for hour, mould, expected in rows]
    schema = {"hour": pl.Datetime("us", "UTC"), "mould": pl.String, "expected": pl.Float64}
    return pl.DataFrame(these_rows, schema=schema, orient="row")


def of(frame: pl.DataFrame) -> dict[tuple[str | None, str], tuple[float, float, float]]:
    columns = ("mould", "defect", "expected", "variance", "doubt")
    return {(m, d): (e, v, u) for m, d, e, v, u in frame.select(columns).iter_rows()}


def test_hours_of_a_block_add_up_and_little_is_pooled() -> None:
    """By hand: 3 + 5 calls stay as they are; two moulds of 0.01 and 0.03 calls in two hours are below 0.02 an hour and
    become one row of 0.04, whose relative variance (mean of 0.5 and 1.5) and relative doubt (mean of 1 and 2) are those
    of one of them.
    """
    blocks = blocks_of_cells(
        cells(
            (0, "1", "CHF", 3.0, 1.0, 0.5),
            (1, "1", "CHF", 5.0, 2.0, 0.25),
            (5, "1", "CHF", 2.0, 1.0, 0.5),
            (0, "2", "STN", 0.01, 0.5 * 0.01**2, 0.01),
            (1, "3", "STN", 0.03, 1.5 * 0.03**2, 0.06),
        ),
        START,
    )
    first = of(blocks.filter(pl.col("hour") == START))
    assert first == {
        ("1", "CHF"): pytest.approx((8.0, 3.0, 0.75)),
        (None, "STN"): pytest.approx((0.04, 1.0 * 0.04**2, 1.5 * 0.04)),
    }
    assert of(blocks.filter(pl.col("hour") == START + 5 * HOUR)) == {("1", "CHF"): pytest.approx((2.0, 1.0, 0.5))}


def test_a_window_gets_its_part_of_a_block_by_what_its_hours_expect() -> None:
    """By hand: hours of 1, 3, 2, 2 expected calls; a window over the second and half of the third has (3 + 1) / 8 of
    the block, and of the pool each of two moulds its share by ware, 1 : 3.
    """
    blocks = pl.concat(
        [
            cells((0, "1", "CHF", 8.0, 4.0, 2.0)),
            cells((0, "1", "STN", 0.4, 0.08, 0.2)).with_columns(mould=pl.lit(None, pl.String)),
        ]
    )
    hours = by_hour(*((h, "1", e) for h, e in enumerate((1.0, 3.0, 2.0, 2.0))), *((h, "2", 1.0) for h in range(4)))
    rows = of(cells_between(blocks, hours, {"1": 100.0, "2": 300.0}, START + HOUR, START + 2.5 * HOUR))
    assert rows["1", "CHF"] == pytest.approx((4.0, 2.0, 1.0))
    assert rows["1", "STN"] == pytest.approx((0.1 / 2, 0.08 / 16 / 2, 0.05 / 2))
    assert rows["2", "STN"] == pytest.approx((0.3 * 1.5 / 4, 0.08 * 9 / 16 * 1.5 / 4, 0.15 * 1.5 / 4))


def test_a_mould_that_was_not_there_gets_nothing_of_a_pool() -> None:
    blocks = cells((0, "1", "STN", 0.4, 0.08, 0.2)).with_columns(mould=pl.lit(None, pl.String))
    rows = of(cells_between(blocks, by_hour((0, "1", 1.0), (5, "2", 1.0)), {"1": 1.0, "2": 9.0}, START, START + HOUR))
    assert rows == {("1", "STN"): pytest.approx((0.4, 0.08, 0.2))}


def test_without_what_was_kept_there_is_no_past() -> None:
    assert cells_between(cells(), by_hour((0, "1", 1.0)), {"1": 1.0}, START, START + HOUR).is_empty()


def test_cells_of_an_hour_are_the_moulds_rows_taken_apart(plant: Plant, shared: Shared) -> None:
    """What is kept of a mould is the sum of its cells; what a window of whole blocks asks for is what was kept."""
    plan = make_plan(plant, date(2026, 3, 10), 1, seed=41_077, lag_offset=0.0)
    simulated = shared.simulated(plan)
    span = (plan.cold_from, plan.cold_from + 12 * HOUR)
    counts = {"K2": line_counts(plant, "K2", span, *frames_of(simulated, "K2"), plant.lines["K2"].lehr_minutes)}
    parts, hours = [], []
    for hour, trackers, _ in follow_lines(plant, counts, 1, {"K2": plant.lines["K2"].lehr_minutes}):
        at = pl.lit(plan.cold_from + hour * HOUR).dt.cast_time_unit("us").alias("hour")
        here = cell_expectations(trackers["K2"], hour)
        kept = hour_expectations(trackers["K2"], hour).filter(pl.col("kind") == "mould")
        if here.height:
            sums = dict(here.group_by("mould").agg(pl.col("expected").sum()).iter_rows())
            assert sums == pytest.approx(dict(kept.select("key", "expected").iter_rows()), rel=1e-5)
        parts.append(here.select(at, pl.all()))
        hours.append(kept.select(at, pl.col("key").alias("mould"), "expected"))
    every, by = pl.concat(parts), pl.concat(hours)
    first = every["hour"].min()
    assert isinstance(first, datetime)
    blocks = blocks_of_cells(every, first)
    ware = dict.fromkeys(every["mould"].unique().to_list(), 1.0)
    frame = cells_between(blocks, by, ware, first, first + 8 * HOUR)
    wanted = every.filter(pl.col("hour") < first + 8 * HOUR)
    assert frame["expected"].sum() == pytest.approx(wanted["expected"].sum(), rel=1e-3)
    assert blocks.height < 0.5 * every.height, "kept by the hour it would be several times as much"
