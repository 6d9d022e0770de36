"""How long ware waits on the table before its pallet, from what passed and what was packed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipelines.answers.trace.line_ware import LineView
from pipelines.measures.trace.exposure import Passing
from pipelines.measures.trace.packing import PackingTime, waits

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTES, FLOW, WAY = 1000, 100.0, 5.0


def pallets(packed: np.ndarray, units: int = 500) -> pl.DataFrame:
    """Pallets of `units`, one after the other, as `packed` containers a minute fill them; none is filled while nothing
    is packed.
    """
    whole = np.concatenate([[0.0], np.cumsum(packed + 1e-9)])
    edges = np.interp(np.arange(0, whole[-1], units), whole, np.arange(len(whole)))
    rows = [(START + timedelta(minutes=a), START + timedelta(minutes=b), units) for a, b in pairwise(edges)]
    return pl.DataFrame(rows, schema=["packed_from", "packed_to", "units"], orient="row")


def with_a_stop(flow: float, begin: int, end: int, quicker: float) -> np.ndarray:
    """What a palletiser packs a minute: it stands from `begin` to `end`, and then works off what waits, so much
    quicker.
    """
    packed, stock = np.zeros(MINUTES), 0.0
    for minute in range(MINUTES):
        stock += flow
        packed[minute] = 0.0 if begin <= minute < end else min(stock, flow * quicker)
        stock -= packed[minute]
    return packed


def test_where_the_palletiser_never_stands_nothing_waits() -> None:
    values = waits(np.full(MINUTES, FLOW), START, pallets(with_a_stop(FLOW, 0, 0, 1.3)), WAY)
    assert values.shape == (MINUTES + 1,) and values.max() == 0.0


def test_a_stop_is_waited_and_worked_off() -> None:
    """By hand: it stands 30 min from minute 400; what is packed at 430 came 30 min earlier; at 30 % more than the line
    it takes 100 min until nothing waits, half of it after 50.
    """
    values = waits(np.full(MINUTES, FLOW), START, pallets(with_a_stop(FLOW, 400, 430, 1.3)), WAY)
    assert values[425:445].max() == pytest.approx(30, abs=3) and values[480] == pytest.approx(15, abs=4)
    assert values[:390].max() == 0.0 and values[545:].max() == 0.0


def test_counters_that_read_otherwise_than_pallets_hold_are_no_wait() -> None:
    """The station counts 3 % more than is packed all day: after a thousand minutes 3000 containers, and no table."""
    values = waits(np.full(MINUTES, FLOW * 1.03), START, pallets(with_a_stop(FLOW, 0, 0, 1.3)), WAY)
    assert values.max() == 0.0


def test_of_two_side_by_side_the_one_that_stood_keeps_its_ware_longer() -> None:
    """Each packs half. One stands 30 min: what waits is 15 min of the line's ware, but 30 of its own."""
    frame, other = pallets(with_a_stop(FLOW / 2, 400, 430, 1.3)), pallets(with_a_stop(FLOW / 2, 0, 0, 1.3))
    values = waits(np.full(MINUTES, FLOW), START, pl.concat([frame, other]), WAY)
    assert values[425:445].max() == pytest.approx(30, abs=5) and values[:380].max() == 0.0


def test_without_pallets_or_ware_nothing_is_said_to_wait() -> None:
    none = pallets(with_a_stop(FLOW, 0, 0, 1.3)).head(0)
    assert waits(np.full(MINUTES, FLOW), START, none, WAY).max() == 0.0
    assert waits(np.zeros(MINUTES), START, pallets(with_a_stop(FLOW, 0, 0, 1.3)), WAY).max() == 0.0


def test_the_window_of_a_pallet_begins_as_much_earlier_as_its_ware_waited() -> None:
    """By hand: packed from minute 100 to 110, 5 min on its way, 2 min from the first to the last station; waited up to
    20 min: bins 73 to 103.
    """
    rows = pl.DataFrame(
        [("P", "J", START + timedelta(minutes=100), START + timedelta(minutes=110), 1000)],
        schema=["pallet", "item", "packed_from", "packed_to", "units"],
        orient="row",
    )
    passing = Passing("K1", START, 1.0, ("7",), np.ones((1, 200)), None, np.zeros(200), np.zeros(200))
    way = PackingTime(5.0, 0.01, "")
    plain = LineView("K1", passing, (), rows, way, None, 2.0, 1.0, np.zeros(200))
    waited = np.zeros(201)
    waited[100:109] = 20.0
    held = replace(plain, waits=waited)
    assert (plain.waited(0), held.waited(0)) == (0.0, 20.0)
    assert np.flatnonzero(plain.on_pallet(0) > 0.6)[[0, -1]].tolist() == [93, 102]
    assert np.flatnonzero(held.on_pallet(0) > 0.6)[[0, -1]].tolist() == [73, 102]
