"""Calls of a line in short bins of time, against what its own past leads one to expect of the ware that came."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl


@dataclass(frozen=True)
class CallsInTime:
    """One series in bins of `step_s` from `first` on; each array is [bins].

    calls, ware: containers called, containers at the first station, nan where no count came. expected: calls by the
    line's own past; low, high: what 95 of 100 such bins keep; all three nan where no past tells.
    """

    first: datetime
    step_s: int
    calls: np.ndarray
    ware: np.ndarray
    expected: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def beyond(self, since: datetime, until: datetime | None) -> np.ndarray:
        """Calls above expectation in the bins that begin from `since` on and before `until`; 0 elsewhere, [bins]."""
        starts = np.arange(len(self.calls)) * self.step_s
        first = (since - self.first).total_seconds() - self.step_s / 2
        last = np.inf if until is None else (until - self.first).total_seconds()
        inside = (starts >= first) & (starts < last)
        answer: np.ndarray = np.where(inside, np.maximum(np.nan_to_num(self.calls - self.expected), 0.0), 0.0)
        return answer


def in_bins(rows: pl.DataFrame, value: str, first: datetime, step_s: int, bins: int) -> np.ndarray:
    """A count [bins] from windows (moment, window_s, `value`); one longer than a bin is spread evenly over its bins.
    nan where no window reaches.
    """
    sums, known = np.zeros(bins), np.zeros(bins, bool)
    windows = rows.group_by("moment", "window_s").agg(pl.col(value).sum())
    for moment, window_s, count in windows.iter_rows():
        start = (moment - first).total_seconds() / step_s
        length = max(window_s / step_s, 1.0)
        low, high = max(0, int(np.floor(start))), min(bins, int(np.ceil(start + length)))
        for number in range(low, high):
            part = min(number + 1, start + length) - max(number, start)
            sums[number] += count * part / length
            known[number] = True
    return np.where(known, sums, np.nan)


def expected_in_bins(
    hours: pl.DataFrame, ware: np.ndarray, first: datetime, step_s: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of the calls in each bin, [bins] each; nan where no hour tells.

    hours: hour, expected [calls], variance [calls squared, beyond Poisson], doubt [calls], a row a defect. An hour's
    calls are shared out by the ware that came in it, evenly where none was counted; its relative variance holds for
    its bins.
    """
    mean, variance = np.full(len(ware), np.nan), np.full(len(ware), np.nan)
    summed = hours.group_by("hour").agg(
        pl.col("expected", "variance").sum(), (pl.col("doubt") ** 2).sum().alias("squared_doubt")
    )
    at = np.arange(len(ware)) * step_s
    per_hour = 3600 / step_s
    for hour, expected, beyond, doubt in summed.select("hour", "expected", "variance", "squared_doubt").iter_rows():
        start = (hour - first).total_seconds()
        here = (at >= start) & (at < start + 3600)
        if not here.any() or expected <= 0:
            continue
        came = np.nan_to_num(ware[here])
        whole = came.sum() * per_hour / here.sum()  # as if the bins that are seen were the whole hour
        part = came / whole if whole > 0 else np.full(here.sum(), 1 / per_hour)
        mean[here] = expected * part
        variance[here] = mean[here] + (beyond + doubt) / expected**2 * mean[here] ** 2
    return mean, variance


def counts_kept(mean: np.ndarray, variance: np.ndarray, share: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """The counts between which `share` of such bins lie: quantiles of the negative binomial with that mean and
    variance (Poisson where the variance is no greater), [bins] each; nan where the mean is.
    """
    from scipy.stats import nbinom, poisson

    edges = []
    known = np.isfinite(mean) & (mean > 0)
    wide = known & (variance > mean * (1 + 1e-9))
    for part in ((1 - share) / 2, (1 + share) / 2):
        edge = np.where(np.isfinite(mean), 0.0, np.nan)
        narrow = known & ~wide
        edge[narrow] = poisson.ppf(part, mean[narrow])
        size = mean[wide] ** 2 / (variance[wide] - mean[wide])
        edge[wide] = nbinom.ppf(part, size, size / (size + mean[wide]))
        edges.append(edge)
    return edges[0], edges[1]


def calls_in_time(
    calls: pl.DataFrame, ware: np.ndarray, hours: pl.DataFrame, first: datetime, step_s: int
) -> CallsInTime:
    """The series of some defects together. calls: moment, window_s, calls (windows may be longer than a bin); ware:
    [bins]; hours: see `expected_in_bins`.

    A bin in which ware came and nothing was called counts 0.
    """
    counted = in_bins(calls, "calls", first, step_s, len(ware))
    counted = np.where(np.isnan(counted) & (np.nan_to_num(ware) > 0), 0.0, counted)
    mean, variance = expected_in_bins(hours, ware, first, step_s)
    low, high = counts_kept(mean, variance)
    return CallsInTime(first, step_s, counted, ware, mean, low, high)
