"""Ware that waits for its pallets at a day's edge is the day's. By hand, and on a simulated rough works whose truth is
known.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipelines.clock import Span
from pipelines.measures.yields.line_flows import packed_in
from pipelines.measures.yields.table_wait import CarriedItems, CarriedTable, carried_over

START = datetime(2026, 3, 2, 5, tzinfo=UTC)
SPAN = Span(START, START + timedelta(days=1))
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
MOMENT = pl.Datetime("us", "UTC")


def ware(rate: int = 100, start: datetime = START - 12 * HOUR, hours: int = 37) -> pl.DataFrame:
    """So many containers a minute past the last station, in windows of five minutes."""
    rows = [(start + n * 5 * MINUTE, 300, 5 * rate) for n in range(hours * 12)]
    return pl.DataFrame(rows, {"window_start": MOMENT, "window_s": pl.Int64, "passed": pl.Int64}, orient="row")


def packed(
    stands: datetime,
    minutes: int,
    rate: int = 100,
    catch_up: int = 150,
    from_: datetime = START - 12 * HOUR,
    hours: int = 37,
) -> pl.DataFrame:
    """A pallet every five minutes of what a palletiser packs, which stands so long from `stands` on and then works the
    table off at `catch_up`.
    """
    rows, waits = [], 0.0
    for n in range(hours * 12):
        at = from_ + n * 5 * MINUTE
        waits += 5 * rate
        units = 0.0 if stands <= at < stands + minutes * MINUTE else min(waits, 5.0 * catch_up)
        waits -= units
        if units:
            rows.append(("A", at, at + 5 * MINUTE, int(units)))
    schema = {"item": pl.String, "packed_from": MOMENT, "packed_to": MOMENT, "units": pl.Int64}
    return pl.DataFrame(rows, schema, orient="row").with_columns(state=pl.lit("packed"))


def test_what_waits_at_an_edge_is_what_passed_and_was_not_packed() -> None:
    """A palletiser that stood the last 20 minutes of the day leaves 20 minutes x 100; one that stands at noon leaves
    nothing at either edge.
    """
    late = carried_over(packed(SPAN.end - 20 * MINUTE, 20), ware(), SPAN)
    assert late.end == pytest.approx(2_000, abs=1) and late.start == 0.0
    early = carried_over(packed(START - 30 * MINUTE, 30), ware(), SPAN)
    assert early.start == pytest.approx(3_000, abs=1) and early.end == 0.0
    assert carried_over(packed(START + 6 * HOUR, 30), ware(), SPAN) == CarriedTable()


def test_on_a_first_day_the_hours_after_its_start_tell() -> None:
    """Feeds begin with the day, with 10 minutes of ware on the table that are packed in its first hour."""
    pallets = packed(START, 0, from_=START, hours=25)
    first = pl.int_range(pl.len()) == 0
    pallets = pallets.with_columns(units=pl.col("units") + pl.when(first).then(1_000).otherwise(0))
    carried_table = carried_over(pallets, ware(start=START, hours=25), SPAN)
    assert carried_table.start == pytest.approx(1_000, abs=1)


def test_less_than_the_grain_of_pallets_and_more_than_a_table_holds_are_not_told() -> None:
    assert carried_over(packed(SPAN.end - 5 * MINUTE, 1), ware(), SPAN).end == 500
    coarse = packed(SPAN.end - 5 * MINUTE, 1).with_columns(units=pl.col("units") * 5).gather_every(5)
    assert carried_over(coarse, ware(), SPAN).end == 0.0
    grain = packed(SPAN.end, 0).with_columns(pl.col("packed_to") + MINUTE, pl.col("packed_from") + MINUTE)
    assert carried_over(grain, ware(), SPAN) == CarriedTable()
    assert carried_over(packed(SPAN.end - 90 * MINUTE, 90), ware(), SPAN).end == 0.0
    assert carried_over(packed(SPAN.end - 20 * MINUTE, 20), ware()[:200], SPAN).end == 0.0
    assert carried_over(pl.DataFrame(), ware(), SPAN) == CarriedTable()


def test_a_counter_that_reads_high_all_day_carries_alike_at_both_edges() -> None:
    """2 % too many in eight hours look like 9.6 minutes of ware at the start, and as many at the end."""
    carried_table = carried_over(packed(START, 0), ware(102), SPAN)
    assert carried_table.end - carried_table.start == pytest.approx(0, abs=50)


def test_it_stands_among_what_was_packed_with_its_own_uncertainty() -> None:
    pallets = packed(SPAN.end - 20 * MINUTE, 20)
    plain = packed_in(pallets, ware(), SPAN)
    this_packed = packed_in(
        pallets, ware(), SPAN, (), CarriedItems({"A": 2_000.0}, CarriedTable(0.0, 2_000.0).variance)
    )
    assert this_packed.units == plain.units + 2_000 == pytest.approx(144_000, abs=10)
    assert (
        this_packed.edge**2 - plain.edge**2 == pytest.approx((0.2 * 2_000) ** 2) and this_packed.states == plain.states
    )
