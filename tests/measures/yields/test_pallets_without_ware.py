"""Pallets that no ware was there for are named, and no other."""

from __future__ import annotations

from datetime import timedelta

import polars as pl
import pytest

from pipelines.measures.yields.overpacked import above_what_passed
from tests.measures.yields.test_yields import HOUR, MOMENT, SPAN, START, passed


def named_pallets(*rows: tuple) -> pl.DataFrame:
    schema = {"pallet": pl.String, "packed_from": MOMENT, "packed_to": MOMENT, "units": pl.Int64}
    return pl.DataFrame(rows, schema, orient="row")


def a_day_of_pallets(way_min: int = 4, ratio: float = 1.0) -> list[tuple]:
    """A pallet of 1000 every fifteen minutes, of 1000 that passed so long before."""
    way, quarter = timedelta(minutes=way_min), timedelta(minutes=15)
    starts = [START - 6 * HOUR + n * quarter for n in range(30 * 4 - 2)]
    return [(f"P{n}", start + way, start + quarter + way, round(1000 * ratio)) for n, start in enumerate(starts)]


@pytest.mark.parametrize(("way", "ratio"), [(0, 1.0), (25, 0.99), (55, 1.01)])
def test_pallets_that_no_ware_was_there_for_are_named_and_no_other(way: int, ratio: float) -> None:
    ware = passed(START - 12 * HOUR, *[4_000] * 40)
    usual = a_day_of_pallets(way, ratio)
    assert above_what_passed(named_pallets(*usual), ware, SPAN).pallets == ()
    at = START + 9 * HOUR + timedelta(minutes=3)
    extra = [("X1", at, at + timedelta(minutes=20), 1_500), ("X2", at, at + timedelta(minutes=20), 1_400)]
    overpacked = above_what_passed(named_pallets(*usual, *extra), ware, SPAN)
    assert set(overpacked.pallets) == {"X1", "X2"} and overpacked.units == 2_900 and overpacked.above > 1_000


def test_a_stopped_palletiser_and_what_its_table_held_name_no_pallet() -> None:
    """Nothing is packed for 40 minutes; then three pallets at double speed catch up."""
    ware = passed(START - 12 * HOUR, *[4_000] * 40)
    rows, stop = [], START + 8 * HOUR
    for name, start, end, units in a_day_of_pallets(0):
        if stop <= start < stop + timedelta(minutes=40):
            start = stop + timedelta(minutes=40) + (start - stop) / 2
            end = start + timedelta(minutes=7)
        rows.append((name, start, end, units))
    assert above_what_passed(named_pallets(*rows), ware, SPAN).pallets == ()
