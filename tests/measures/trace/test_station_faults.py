"""Clocks and counts that cannot be right: found in what the simulator sends, with one thing made wrong; nothing found
where all is right.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from pipelines.answers.station_faults import answer_station_faults
from pipelines.clock import Span
from pipelines.measures.trace.station_faults import MINUTE, minute_grid, out_of_order, shift_between
from sample_feeds.simulator import Simulated
from tests.conftest import Place

START = datetime(2026, 3, 10, 8, tzinfo=UTC)
SPAN = Span(START, START + timedelta(hours=14))


def taken(place: Place, day: Simulated, counts: pl.DataFrame) -> Place:
    log = day.feeds["mould_log"].filter(pl.col("fitted_at") < SPAN.end)
    place.put("mould_log.a.csv", _csv(log))
    place.put("station_counts.a.csv", _csv(counts.filter(pl.col("line") == "K1")))
    assert place.take().rows_refused == 0
    return place


def _csv(frame: pl.DataFrame) -> bytes:
    moments = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    return frame.with_columns(pl.col(moments).dt.to_string("%Y-%m-%dT%H:%M:%SZ")).write_csv().encode()


def found(place: Place, span: Span = SPAN) -> list[tuple[str, str, bool]]:
    with place.opened.ledger.reading() as reader:
        faults = answer_station_faults(reader, place.plant, span, ("K1",))
    return [(fault.station, fault.kind, fault.certain) for fault in faults]


def moved(counts: pl.DataFrame, station: str, minutes: int) -> pl.DataFrame:
    shift = pl.when(pl.col("station") == station).then(timedelta(minutes=minutes)).otherwise(timedelta())
    return counts.with_columns(window_start=pl.col("window_start") + shift)


def test_where_all_is_right_nothing_is_found(place: Place, day_of_truth: Simulated) -> None:
    assert found(taken(place, day_of_truth, day_of_truth.feeds["station_counts"])) == []


@pytest.mark.parametrize("minutes", [-60, 7, 60])
@pytest.mark.parametrize("station", ["K1-side-b", "K1-mouth"])
def test_a_clock_that_is_off_is_found_with_its_error(
    place: Place, day_of_truth: Simulated, station: str, minutes: int
) -> None:
    taken(place, day_of_truth, moved(day_of_truth.feeds["station_counts"], station, minutes))
    with place.opened.ledger.reading() as reader:
        faults = answer_station_faults(reader, place.plant, SPAN, ("K1",))
    clocks = [fault for fault in faults if fault.kind == "clock"]
    assert [(clock.station, clock.certain) for clock in clocks] == [(station, True)]
    assert clocks[0].minutes == pytest.approx(minutes, abs=1)


def test_windows_that_end_after_their_file_came_are_certain(place: Place, day_of_truth: Simulated) -> None:
    place.settings = type(place.settings)(fixed_now=SPAN.end - timedelta(minutes=20), lock_wait_s=5)
    counts = day_of_truth.feeds["station_counts"].filter(pl.col("window_start") < SPAN.end)
    taken(place, day_of_truth, counts)
    assert {each for each in found(place) if each[1] == "ahead of arrival"} == {
        (station, "ahead of arrival", True) for station in ("K1-side-a", "K1-side-b", "K1-mouth", "K1-foot")
    }


def test_a_station_that_stands_still_is_found_and_since_when(place: Place, day_of_truth: Simulated) -> None:
    still = (pl.col("station") == "K1-foot") & (
        pl.col("window_start").is_between(START + timedelta(hours=3), START + timedelta(hours=5))
    )
    counts = day_of_truth.feeds["station_counts"].with_columns(
        pl.when(still).then(0).otherwise(pl.col("inspected")).alias("inspected"),
        pl.when(still).then(0).otherwise(pl.col("rejected")).alias("rejected"),
    )
    taken(place, day_of_truth, counts)
    with place.opened.ledger.reading() as reader:
        faults = [
            station_fault
            for station_fault in answer_station_faults(reader, place.plant, SPAN, ("K1",))
            if station_fault.kind == "stands still"
        ]
    assert [fault.station for fault in faults] == ["K1-foot"] and faults[0].certain
    assert abs(faults[0].since - (START + timedelta(hours=3))) <= 5 * MINUTE


def test_a_station_that_sends_the_same_again_and_again_is_found_as_a_guess(
    place: Place, day_of_truth: Simulated
) -> None:
    stuck = (pl.col("station") == "K1-foot") & (
        pl.col("window_start").is_between(START + timedelta(hours=3), START + timedelta(hours=4))
    )
    counts = day_of_truth.feeds["station_counts"].with_columns(
        pl.when(stuck).then(40).otherwise(pl.col("inspected")).alias("inspected")
    )
    assert ("K1-foot", "frozen", False) in found(taken(place, day_of_truth, counts))


def test_more_ware_behind_than_before_is_found(place: Place, day_of_truth: Simulated) -> None:
    more = (
        pl.when(pl.col("station") == "K1-foot")
        .then((pl.col("inspected") * 1.05).round().cast(pl.Int64))
        .otherwise(pl.col("inspected"))
    )
    counts = day_of_truth.feeds["station_counts"].with_columns(inspected=more)
    assert ("K1-foot", "order", True) in found(taken(place, day_of_truth, counts))


def test_a_mould_that_is_not_fitted_is_found_with_what_it_looks_like(place: Place, day_of_truth: Simulated) -> None:
    counts = day_of_truth.feeds["station_counts"].filter(pl.col("line") == "K1")
    mould = counts.filter(pl.col("station") == "K1-mouth")["mould"].drop_nulls()[0]
    strange = f"9{mould}"
    some = (
        (pl.col("mould") == mould)
        & (pl.col("station") == "K1-mouth")
        & (pl.col("window_start") < START + timedelta(hours=3))
    )
    taken(
        place, day_of_truth, counts.with_columns(mould=pl.when(some).then(pl.lit(strange)).otherwise(pl.col("mould")))
    )
    with place.opened.ledger.reading() as reader:
        faults = [
            station_fault
            for station_fault in answer_station_faults(reader, place.plant, SPAN, ("K1",))
            if station_fault.kind == "mould not fitted"
        ]
    assert [(fault.station, fault.key, fault.certain) for fault in faults] == [("K1-mouth", strange, True)]
    assert mould in faults[0].sentence and "guess" in faults[0].sentence


def test_a_shift_of_two_series_is_that_of_numpys_own_correlation() -> None:
    """Against numpy.correlate of the standardised series, whose greatest value names the same shift."""
    rng = np.random.default_rng(5)
    others = np.convolve(rng.normal(size=1500), np.ones(6), "same") + 50
    mine = np.roll(others, 37) + rng.normal(scale=0.5, size=1500)
    clock_shift = shift_between(mine, others)
    x, y = mine - mine.mean(), others - others.mean()
    whole = np.correlate(x, y, "full")
    assert clock_shift is not None and clock_shift.minutes == int(np.argmax(whole)) - (len(y) - 1) == 37
    assert clock_shift.sure > 5 and clock_shift.best > 0.9


def test_series_that_do_not_vary_tell_nothing() -> None:
    assert shift_between(np.full(1000, 12.0), np.full(1000, 12.0)) is None
    rng = np.random.default_rng(1)
    clock_shift = shift_between(rng.poisson(40, 1400).astype(float), rng.poisson(40, 1400).astype(float))
    assert clock_shift is None or clock_shift.sure < 5


def test_a_window_of_an_hour_is_spread_over_its_minutes() -> None:
    rows = pl.DataFrame({"station": ["s"], "window_start": [START], "window_s": [3600], "inspected": [120]})
    grid = minute_grid(rows, START, START + timedelta(hours=2))["s"]
    assert np.nansum(grid) == 120 and np.isnan(grid[60:]).all() and (grid[:60] == 2).all()


def test_the_room_of_the_order_is_that_of_the_meters() -> None:
    steps = [(1, ["a"]), (2, ["b"])]
    fine = out_of_order(
        "K", steps, {"a": (10_000, 100, 1.0), "b": (9_930, 0, 1.0)}, 0.003, START, START + timedelta(hours=24)
    )
    assert fine == []
    (fault,) = out_of_order(
        "K", steps, {"a": (10_000, 100, 1.0), "b": (10_200, 0, 1.0)}, 0.003, START, START + timedelta(hours=24)
    )
    assert (fault.station, fault.size) == ("b", 300.0)
    assert (
        out_of_order(
            "K", steps, {"a": (10_000, 100, 0.5), "b": (10_200, 0, 1.0)}, 0.003, START, START + timedelta(hours=24)
        )
        == []
    )


def test_how_sure_a_shift_is_follows_fisher_and_bartlett() -> None:
    """By hand: Fisher, Metron 1 (1921) 3: atanh(r) of n pairs has the variance 1 / (n - 3); Bartlett, J. R. Stat. Soc.
    98 (1935) 536: of series with autocorrelations a and b n (1 - ab) / (1 + ab) pairs count. Correlations by NumPy's
    `corrcoef`.
    """
    rng = np.random.default_rng(31)
    slow = np.zeros(900)
    for n in range(1, 900):
        slow[n] = 0.9 * slow[n - 1] + rng.normal()
    other = 100 + slow + rng.normal(0, 0.5, 900)
    mine = 100 + np.roll(slow, 20) + rng.normal(0, 0.5, 900)

    def alike(shift: int) -> float:
        a, b = (mine[shift:], other[: 900 - shift]) if shift >= 0 else (mine[:shift], other[-shift:])
        return float(np.corrcoef(a, b)[0, 1])

    clock_shift = shift_between(mine, other)
    rival = max(alike(shift) for shift in range(-150, 151) if abs(shift - 20) > 3)
    both = float(np.corrcoef(mine[1:], mine[:-1])[0, 1] * np.corrcoef(other[1:], other[:-1])[0, 1])
    pairs = 880 * (1 - both) / (1 + both)
    expected = (np.arctanh(alike(20)) - np.arctanh(rival)) * ((pairs - 3) / 2) ** 0.5
    assert clock_shift is not None and clock_shift.minutes == 20 and clock_shift.best == pytest.approx(alike(20))
    assert clock_shift.sure == pytest.approx(float(expected), rel=0.01)
