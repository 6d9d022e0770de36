"""The scan of windows: its tails, weights and false-discovery rate against SciPy, on counts made by hand."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from scipy import stats

from pipelines.measures.signals.baseline import PastHours, excess_p
from pipelines.measures.signals.counts import CountColumn, LineCounts
from pipelines.measures.signals.scan import FALSE_DISCOVERY, WEIGHTS, WINDOW_PENALTY, Excess, Scan, ScanPart

HOURS, MOULDS = 24, 6


def counts(calls: list[tuple[int, int, int]], job_from: int | None = None) -> LineCounts:
    """One station that reads all numbers, two defects, 6 moulds in 3 sections, 10 containers of each mould a minute."""
    bins = HOURS * 60
    ware = np.zeros((1, MOULDS + 1, bins))
    ware[:, :-1] = 10.0
    at, defect, column = (np.array(x) for x in zip(*sorted(calls), strict=True))
    jobs = np.zeros(bins, np.int64)
    if job_from is not None:
        jobs[job_from:] = 1
    columns = tuple(CountColumn(str(n), n // 2 + 1, "AB"[n % 2]) for n in range(MOULDS))
    flat = np.zeros((1, bins), bool)
    return LineCounts(
        "L",
        datetime(2026, 3, 1, tzinfo=UTC),
        60,
        ("D1", "D2"),
        ("S",),
        columns,
        ware,
        ~flat,
        at,
        defect,
        np.zeros(len(at), int),
        column,
        np.ones(len(at)),
        jobs,
        ("X",) * 2,
        np.ones(1, np.int64),
        flat,
        np.zeros(1, np.int64),
    )


def quiet() -> list[tuple[int, int, int]]:
    """Every mould twice an hour, evenly."""
    return [(minute, minute // 7 % 2, mould) for mould in range(MOULDS) for minute in range(mould, HOURS * 60, 30)]


def scanned(calls: list[tuple[int, int, int]], job_from: int | None = None) -> Scan:
    line_counts = counts(calls, job_from)
    past = PastHours(line_counts)
    scan = Scan(past, 12 * 60)
    for hour in range(12, HOURS):
        scan.expect([ScanPart(hour * 60, (hour + 1) * 60, past.expectation(hour))], np.ones((2, 1), bool))
    return scan


def test_the_tail_is_the_negative_binomials() -> None:
    """Reference: scipy.stats.nbinom and scipy.stats.poisson, survival functions."""
    calls, mean = np.array([0, 1, 4, 9.0]), np.array([0.5, 2.0, 1.2, 3.0])
    values = excess_p(calls, mean, np.full(4, 0.3))
    assert values == pytest.approx(stats.nbinom.sf(calls - 1, 1 / 0.3, 1 / (1 + 0.3 * mean)), rel=1e-9)
    assert excess_p(calls, mean, np.zeros(4)) == pytest.approx(stats.poisson.sf(calls - 1, mean), rel=1e-6)


def test_weights_share_the_tests_out() -> None:
    """Over all streams that are watched they average one, in the proportions of WEIGHTS."""
    scan = scanned(quiet())
    assert float((scan.known * scan.weights).sum()) == pytest.approx(scan.tests)
    kinds = [stream.kind for stream in scan.streams]
    line, mould = scan.weights[kinds.index("line")], scan.weights[kinds.index("mould")]
    assert line / mould == pytest.approx(WEIGHTS["line"] / WEIGHTS["mould"])


def test_an_alarms_q_is_benjamini_and_hochbergs_over_all_streams() -> None:
    """Reference: scipy.stats.false_discovery_control on weighted p, padded with ones for the streams that show
    nothing.
    """
    scan = scanned(quiet())
    at, p = 20 * 60, (1e-6, 3e-6, 2e-5)
    streams = [0, 1, scan.line]
    found = [Excess(0, s, at, 60, 9.0, 1.0, value) for s, value in zip(streams, p, strict=True)]
    values = {alarm.stream: alarm.q for alarm in scan.alarms(found, at)}
    padded = np.concatenate([np.array(p) / scan.weights[streams], np.ones(scan.tests - 3)])
    reference = stats.false_discovery_control(np.minimum(padded, 1.0))[:3]
    expected = {s: q for s, q in zip(streams, reference, strict=True) if q <= FALSE_DISCOVERY}
    assert values == pytest.approx(expected) and len(values) >= 2


def test_an_excess_pays_for_its_many_windows() -> None:
    """Its p is the least tail of its windows times the penalty for looking through many of them."""
    burst = [(20 * 60 + n, 0, 2) for n in range(8)]
    scan = scanned(quiet() + burst)
    found = [excess for excess in scan.excesses(20 * 60, 21 * 60, 0) if scan.streams[excess.stream].key == "2"]
    last = found[-1]
    number = [5, 8, 12, 18, 27, 40, 60, 90, 135, 200, 300, 480].index(last.window)
    variance = scan.variance[number][0, last.stream]
    tail = stats.nbinom.sf(last.calls - 1, 1 / variance, 1 / (1 + variance * last.expected))
    assert last.p == pytest.approx(WINDOW_PENALTY * float(tail), rel=1e-6)


def test_no_window_reaches_back_over_the_begin_of_a_job() -> None:
    """Eight calls in the old job's last minutes, one in the new one's first: no window joins them."""
    burst = [(20 * 60 - 10 + n, 0, 2) for n in range(8)]
    over = scanned([*quiet(), *burst, (20 * 60 + 3, 0, 2)])
    inside = [excess for excess in over.excesses(20 * 60, 20 * 60 + 10, 0) if over.streams[excess.stream].key == "2"]
    cut = scanned([*quiet(), *burst, (20 * 60 + 3, 0, 2)], job_from=20 * 60)
    parted = [excess for excess in cut.excesses(20 * 60, 20 * 60 + 10, 0) if cut.streams[excess.stream].key == "2"]
    assert inside and not parted


def test_an_expectation_is_in_doubt_as_its_past_is_short() -> None:
    """24 hours of a rate of 2.06 calls an hour: a relative variance of at least one over the calls that taught it."""
    past = PastHours(counts(quiet()))
    early, late = past.expectation(6), past.expectation(23)
    calls = [float(past.calls[0, :, :, : hour - 3].sum()) for hour in (6, 23)]
    assert early.spread_rate[0, 0] >= 1 / (calls[0] + 30) and late.spread_rate[0, 0] >= 1 / (calls[1] + 30)
    assert early.spread_rate[0, 0] > 1.5 * late.spread_rate[0, 0]


def test_no_window_reaches_back_into_hours_without_a_past() -> None:
    """Until 400 containers of a station were seen nothing is expected that could be judged: what stands for a rate
    there is none.
    """
    line_counts = counts([found for found in quiet() if found[0] >= 300])
    line_counts.ware[:, :, :300] = 0.0
    past = PastHours(line_counts)
    scan = Scan(past, 0)
    unknown = []
    for hour in range(HOURS):
        expected = past.expectation(hour)
        unknown += [hour] if not expected.known.any() else []
        scan.expect([ScanPart(hour * 60, (hour + 1) * 60, expected)], np.ones((2, 1), bool))
    judged = (unknown[-1] + 1) * 60
    assert (
        unknown[:6] == [0, 1, 2, 3, 4, 5]
        and scan.floor_of(HOURS * 60) == judged
        and scan.floor_of(judged + 1) == judged
    )
