"""Long windows laid over the minutes that they count, stream by stream."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.dating import laid_out
from pipelines.measures.signals.scan import Stream
from tests.measures.signals.test_scan import counts


def two_stations() -> LineCounts:
    """A station by the minute that reads, one of ten-minute windows that does not; calls of defect 0 in bins 5, 9 and
    19.
    """
    line_counts = counts([(5, 0, 2), (9, 0, 6), (19, 0, 6), (30, 1, 2)])
    return replace(line_counts, stations=("S", "T"), station=np.array([0, 1, 1, 0]), window=np.array([1, 10]))


def test_a_line_takes_every_station_and_lays_windows_out() -> None:
    base = np.zeros((2, 7, 20))
    base[0, 2, :], base[1, 6, [9, 19]] = 0.1, 2.0
    stream = Stream("line", "L", tuple(range(6)))
    calls, expected, lumps = laid_out(two_stations(), stream, np.array([True, False]), 0, base, 0)
    assert calls[5] == pytest.approx(1.1) and calls[0] == pytest.approx(0.1) and calls.sum() == pytest.approx(3.0)
    assert expected == pytest.approx(np.full(20, 0.1 + 0.2))
    assert (lumps.first.tolist(), lumps.last.tolist(), lumps.calls.tolist()) == ([0, 10], [9, 19], [1.0, 1.0])


def test_a_mould_takes_stations_that_read_and_a_station_its_own() -> None:
    base = np.zeros((2, 7, 20))
    base[0, 2, :], base[1, 6, [9, 19]] = 0.1, 2.0
    reads = np.array([True, False])
    calls, expected, lumps = laid_out(two_stations(), Stream("mould", "2", (2,)), reads, 0, base, 0)
    assert calls.tolist() == [0.0] * 5 + [1.0] + [0.0] * 14 and expected == pytest.approx(np.full(20, 0.1))
    assert not len(lumps.first)
    calls, expected, lumps = laid_out(two_stations(), Stream("station", "T", tuple(range(6)), 1), reads, 0, base, 0)
    assert calls == pytest.approx(np.full(20, 0.1)) and expected == pytest.approx(np.full(20, 0.2))


def test_a_window_that_began_before_the_series_lies_over_what_is_left() -> None:
    base = np.zeros((2, 7, 14))
    base[1, 6, [3, 13]] = 2.0
    stream = Stream("station", "T", tuple(range(6)), 1)
    calls, expected, lumps = laid_out(two_stations(), stream, np.array([True, False]), 0, base, 6)
    assert calls == pytest.approx(np.r_[np.full(4, 0.25), np.full(10, 0.1)])
    assert expected == pytest.approx(np.r_[np.full(4, 0.5), np.full(10, 0.2)])
    assert lumps.first.tolist() == [0, 4] and lumps.last.tolist() == [3, 13]
