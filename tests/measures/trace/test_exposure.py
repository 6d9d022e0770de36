"""Rates, packing time and what lies on each pallet, on small works made by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipelines.clock import Span
from pipelines.measures.trace.defect_rates import local_rates
from pipelines.measures.trace.detection import Missed
from pipelines.measures.trace.exposure import Passing, Stay, forming_quantiles, line_exposure, spread
from pipelines.measures.trace.packing import ASSUMED, PackingTime, blurred_window, on_pallets, packing_time, shared_out

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def test_windows_are_spread_over_the_bins_they_touch() -> None:
    rows = pl.DataFrame({"moment": [AT + 1.5 * MINUTE, AT + 4 * MINUTE], "window_s": [120, 60], "n": [8, 3]})
    values = spread(rows, "n", AT, 1.0, (1, 6), np.zeros(2, int))
    assert values[0].tolist() == [0, 2, 4, 2, 3, 0]


def test_rates_keep_a_jump_sharp_and_lose_no_call() -> None:
    """A mould at 1 in 1000 that makes 20 times as much from minute 600 on, among nine at 1 in 1000; 9 containers a
    minute.
    """
    rng = np.random.default_rng(11)
    seen = np.full((10, 1200), 9.0)
    true = np.full((10, 1200), 0.001)
    true[0, 600:] = 0.02
    found = rng.poisson(true * seen).astype(float)
    rates = local_rates(found, seen, 1.0)
    assert rates.mean[0, 660:].mean() == pytest.approx(0.02, rel=0.25)
    assert rates.mean[0, :540].mean() < 0.003 < 0.01 < rates.mean[0, 615]
    assert (rates.mean * seen).sum() == pytest.approx(found.sum(), rel=0.05)
    assert (rates.shape > 0).all()


def test_calls_expected_of_good_ware_raise_no_rate() -> None:
    """Truth of the simulation: 1 in 1000 with the defect, 2 in 1000 good ones called; with 100 containers a minute 2880
    calls.
    """
    rng = np.random.default_rng(19)
    seen = np.full((4, 2400), 100.0)
    found = rng.poisson(0.003 * seen).astype(float)
    rates = local_rates(found, seen, 1.0, None, 0.002 * seen)
    assert rates.mean.mean() == pytest.approx(0.001, rel=0.2)
    assert local_rates(found, seen, 1.0).mean.mean() == pytest.approx(0.003, rel=0.05)


def test_without_ware_or_calls_rates_are_small_and_finite() -> None:
    none = local_rates(np.zeros((2, 30)), np.zeros((2, 30)), 1.0)
    assert none.mean.max() == 0
    quiet = local_rates(np.zeros((2, 300)), np.full((2, 300), 9.0), 1.0)
    assert 0 < quiet.mean.max() < 1e-3


def flow(minutes: int) -> np.ndarray:
    """Ware a minute, with stops of sections now and then."""
    rng = np.random.default_rng(5)
    values = np.full(minutes, 144.0)
    for start in rng.integers(0, minutes - 30, 12):
        values[start : start + int(rng.integers(5, 30))] *= 7 / 8
    return values


def packed(passed: np.ndarray, way: float, units: int) -> pl.DataFrame:
    """Pallets of `units` packed without a break, `way` minutes after the last station."""
    whole = np.concatenate([[0.0], np.cumsum(passed)])
    edges = np.interp(np.arange(0, whole[-1], units), whole, np.arange(len(whole))) + way
    rows = [("J370", AT + float(a) * MINUTE, AT + float(b) * MINUTE, units) for a, b in pairwise(edges)]
    return pl.DataFrame(rows, ["item", "packed_from", "packed_to", "units"], orient="row")


@pytest.mark.parametrize("way", [0.5, 3.0, 7.25, 14.0])
def test_the_packing_time_is_found_from_the_units(way: float) -> None:
    passed = flow(1200)
    time = packing_time({"J370": passed}, AT, packed(passed, way, 2016))
    assert time.minutes == pytest.approx(way, abs=0.6) and time.sd < 1.0 and "estimated" in time.source


def test_an_even_flow_tells_no_packing_time() -> None:
    passed = np.full(1200, 144.0)
    assert packing_time({"J370": passed}, AT, packed(passed, 5.0, 2016)) == ASSUMED
    assert packing_time({"J370": passed}, AT, packed(passed, 5.0, 2016).head(2)) == ASSUMED


def test_what_lies_on_pallets_adds_up() -> None:
    weights = np.ones((1, 60))
    values = on_pallets(weights, np.array([10.0, 20.0]), np.array([20.0, 35.5]), 0.5)
    assert values[0] == pytest.approx([10, 15.5], abs=1e-6)
    assert blurred_window(60, 10, 20, 0.2).sum() == pytest.approx(10, abs=1e-6)


def test_pallets_filled_side_by_side_share_what_came() -> None:
    """By hand: 60 containers in 60 minutes; two pallets open all the hour, one filled twice as fast: 40 and 20; of
    another item all 60.
    """
    side = pl.DataFrame({"item": ["J370", "J370", "O250"], "units": [40, 20, 60]})
    values = shared_out(np.ones((1, 80)), side, np.array([10.0, 10, 10]), np.array([70.0, 70, 70]), 0.01)
    assert values[0] == pytest.approx([40, 20, 60], rel=1e-3)
    row = pl.DataFrame({"item": ["J370", "J370"], "units": [30, 30]})
    one_after_the_other = shared_out(np.ones((1, 80)), row, np.array([10.0, 40.5]), np.array([40.5, 70.0]), 0.01)
    assert one_after_the_other[0] == pytest.approx([30.5, 29.5], rel=0.03)


def passing(found: np.ndarray | None = None) -> Passing:
    """Two moulds, 5 containers a minute each, lehr 90 min, hardly blurred."""
    return Passing("K1", AT, 1.0, ("7", "8"), np.full((2, 300), 5.0), found, np.full(300, 90.0), np.full(300, 0.5))


PALLETS = pl.DataFrame(
    {
        "pallet": ["P1", "P2", "P3"],
        "item": ["J370", "J370", "O250"],
        "packed_from": [AT + 105 * MINUTE, AT + 135 * MINUTE, AT + 105 * MINUTE],
        "packed_to": [AT + 135 * MINUTE, AT + 165 * MINUTE, AT + 135 * MINUTE],
        "units": [300, 300, 300],
    }
)


def stay(mould: str, first: float, last: float) -> Stay:
    return Stay("K1", 1, "A", mould, "J370", Span(AT + first * MINUTE, AT + last * MINUTE))


def test_a_steady_rate_gives_found_times_missed_over_caught() -> None:
    """One call a minute of 10 containers, a quarter missed: a defect in 1/7.5; 30 minutes on a pallet: 30 x (1 - d) / d
    = 10 escapes, half from each mould.
    """
    found = np.full((2, 300), 0.5)
    quarter = Missed(np.full(300, 0.25), np.full(300, 0.0625))
    exposure = line_exposure(
        passing(found), [stay("7", -90, 200), stay("8", -90, 200)], PALLETS, 2.0, PackingTime(3.0, 0.3, ""), quarter
    )
    assert exposure.escaped[:, :2] == pytest.approx(np.full((2, 2), 5.0), rel=0.02)
    assert exposure.ware[:, 0] == pytest.approx([150, 150], rel=1e-3) and not exposure.ware[:, 2].any()
    assert exposure.common == pytest.approx([0, 0, 0])


def test_only_what_was_formed_inside_the_stay_counts() -> None:
    """P1 is packed from 105 to 135, so formed from 10 to 40; a stay that ends at 25 made half of it."""
    exposure = line_exposure(passing(), [stay("7", -60, 25)], PALLETS, 2.0, PackingTime(3.0, 0.3, ""), None)
    assert exposure.ware[0, 0] == pytest.approx(75, rel=0.02) and exposure.ware[0, 1] == pytest.approx(0, abs=0.01)


def test_one_number_in_two_cavities_is_not_counted_twice() -> None:
    twice = [stay("7", -60, 100), Stay("K1", 4, "B", "7", "J370", Span(AT - 60 * MINUTE, AT + 100 * MINUTE))]
    exposure = line_exposure(passing(), twice, PALLETS, 2.0, PackingTime(3.0, 0.3, ""), None)
    assert exposure.ware[:, 0] == pytest.approx([75, 75], rel=1e-3)


def test_the_forming_window_holds_95_percent_of_even_ware() -> None:
    """Thirty minutes of even ware, hardly blurred: all but 2.5 % at each end, 0.75 min."""
    weights = np.zeros(300)
    weights[100:130] = 1.0
    start, end = forming_quantiles(passing(), weights)
    assert (start - AT) / MINUTE == pytest.approx(10.75, abs=0.4) and (end - AT) / MINUTE == pytest.approx(
        39.25, abs=0.4
    )
