"""A stream's counts as its onset is dated from them: long windows laid over the minutes that they count."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.onset import NO_LUMPS, Lumps, Noise, Onset, onset_of, rise_logs
from pipelines.measures.signals.scan import Scan, Stream

CLUMP_MIN = 15.0  # parts of an hour in which calls that come in clumps show
CLUMP_CALLS = 4  # an hour with fewer tells nothing of clumps
CLUMP_PRIOR = 6.0


def dated(
    scan: Scan,
    defect: int,
    stream: int,
    span: tuple[int, int],
    raised: int,
    noise: Noise,
    able: np.ndarray,
    cells: Callable[[int, int, int], np.ndarray],
) -> Onset:
    """Since when a stream exceeds what was expected, in the line's bins; looked for in bins [span), begun before bin
    `raised`.

    able: [stations] that can call the defect; cells: expected calls by the past alone of a defect between two bins.
    """
    start, stop = span
    counts, lumps = scan.counts, NO_LUMPS
    seen, wanted, base = whole, should, _ = scan.series(defect, stream, start, stop)
    if (counts.window[able] > 1).any():
        more, every = float(wanted.sum()) / max(float(base.sum()), 1e-12), cells(defect, start, stop)
        seen, even, lumps = laid_out(counts, scan.streams[stream], scan.past.reads, defect, every, start)
        wanted = more * even
    latest = max(0, raised - 1 - start)
    logs = rise_logs(seen, wanted, counts.step_s / 60, noise, lumps)
    onset = onset_of(logs, latest)
    onset = onset_of(logs, latest, clumped(whole, should, noise, round(CLUMP_MIN * 60 / counts.step_s), onset))
    return Onset(onset.at + start, onset.low + start, onset.high + start)


def clumped(calls: np.ndarray, expected: np.ndarray, noise: Noise, size: int, change: Onset) -> float:
    """How much more than Poisson's the counts of a block scatter over its parts of `size` bins: at least 1.

    Pearson's statistic over its degrees of freedom in whole blocks without the change, drawn to 1 by CLUMP_PRIOR
    degrees. A block's own level, of which `noise` knows, does not enter: each part is compared with its share of what
    the block brought.
    References: [1] McCullagh and Nelder, Generalized Linear Models, 2nd ed., 9.2 (quasi-likelihood).
    """
    skip = -noise.phase % noise.block
    whole = (len(calls) - skip) // noise.block
    if whole < 1 or noise.block % size:
        return 1.0
    n, m = (x[skip : skip + whole * noise.block].reshape(whole, -1, size).sum(axis=2) for x in (calls, expected))
    begins = skip + np.arange(whole) * noise.block
    keep = (
        ((change.high < begins) | (change.low > begins + noise.block))
        & (n.sum(axis=1) >= CLUMP_CALLS)
        & (m > 0).all(axis=1)
    )
    n, m = n[keep], m[keep]
    answer = n.sum(axis=1, keepdims=True) * m / np.maximum(m.sum(axis=1, keepdims=True), 1e-12)
    off = float(((n - answer) ** 2 / np.maximum(answer, 1e-12)).sum())
    return max(1.0, (off + CLUMP_PRIOR) / (n.size - len(n) + CLUMP_PRIOR))


def laid_out(
    counts: LineCounts, stream: Stream, reads: np.ndarray, defect: int, base: np.ndarray, start: int
) -> tuple[np.ndarray, np.ndarray, Lumps]:
    """Calls and expected calls [bins] of a stream from bin `start` on, and the windows of several bins that hold calls.

    base: expected calls [stations, columns + 1, bins], each window's in its last bin. What a window of several bins
    holds is laid evenly over them; a window that began before `start` over those that are left.
    """
    stop = start + base.shape[2]
    mine = (counts.at >= start) & (counts.at < stop) & (counts.defect == defect) & _in(counts, stream, reads)
    last, n = counts.at[mine] - start, counts.calls[mine].astype(float)
    first = np.maximum(0, last - counts.window[counts.station[mine]] + 1)
    by_station = _of_stream(base, stream, reads)
    station, at = np.nonzero(by_station)
    expected = _spread(np.maximum(0, at - counts.window[station] + 1), at, by_station[station, at], base.shape[2])
    long = first < last
    return _spread(first, last, n, base.shape[2]), expected, _joined(first[long], last[long], n[long])


def _in(counts: LineCounts, stream: Stream, reads: np.ndarray) -> np.ndarray:
    """Which calls are the stream's."""
    if stream.station is not None:
        return counts.station == stream.station
    if stream.whole:
        return np.ones(len(counts.at), bool)
    return np.isin(counts.column, stream.columns) & reads[counts.station]


def _of_stream(base: np.ndarray, stream: Stream, reads: np.ndarray) -> np.ndarray:
    """[stations, bins] of [stations, columns + 1, bins]."""
    values: np.ndarray = (
        base.sum(axis=1) if stream.whole else base[:, list(stream.columns)].sum(axis=1) * reads[:, None]
    )
    if stream.station is not None:
        values = values * (np.arange(len(values)) == stream.station)[:, None]
    return values


def _spread(first: np.ndarray, last: np.ndarray, value: np.ndarray, bins: int) -> np.ndarray:
    """[bins] with each value laid evenly over its bins `first` to `last`."""
    edges = np.zeros(bins + 1)
    share = value / (last - first + 1)
    np.add.at(edges, first, share)
    np.add.at(edges, last + 1, -share)
    values: np.ndarray = np.maximum(np.cumsum(edges)[:-1], 0.0)
    return values


def _joined(first: np.ndarray, last: np.ndarray, n: np.ndarray) -> Lumps:
    """Calls of windows that cover the same bins are one lump: their means are raised together."""
    if not len(first):
        return NO_LUMPS
    windows, number = np.unique(np.stack([first, last]), axis=1, return_inverse=True)
    return Lumps(windows[0], windows[1], np.bincount(number.ravel(), n))
