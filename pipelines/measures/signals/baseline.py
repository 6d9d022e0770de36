"""What a defect's calls should be by this job's own past: rates, habits of moulds, dispersions; hour by hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.dispersion import BLOCKS, HABIT_VARIANCE, PHI_START, dispersions

PAST_HOURS = 48
GUARD_HOURS, GUARDED_FROM = 3, 5  # the newest hours do not teach once at least so many others do
LEAST_WARE = 400.0  # containers of past below which nothing is judged
PRIOR_SHAPE = 4.0  # a former job is worth this many calls: jobs differ by about 1 / sqrt(4) = 50 %
SPREAD_MOST = 4.0  # relative variance above which an expectation says nothing more
SCREEN_P = 1e-4
SCREENED = (1, 4)  # hours of the blocks in which faults of the past are looked for


def excess_p(calls: np.ndarray, expected: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Probability of `calls` or more under a negative binomial of mean `expected` and relative excess variance
    `variance`.

    Var = expected + variance x expected^2; at variance 0 the Poisson tail. Arrays broadcast; 1 where calls are 0.
    References: [1] Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed., 5.6: the tail as an incomplete
    beta.
    """
    from scipy.special import betainc, gammainc

    calls, expected = np.asarray(calls, float), np.maximum(np.asarray(expected, float), 1e-12)
    size = 1 / np.maximum(np.asarray(variance, float), 1e-9)
    values: np.ndarray = betainc(np.maximum(calls, 1e-9), size, expected / (expected + size))
    values = np.where(size > 1e6, gammainc(np.maximum(calls, 1e-9), expected), values)
    return np.where(calls > 0, values, 1.0)


@dataclass(frozen=True)
class Expectation:
    """What an hour should bring. rate: [defects, stations] calls a container; habit: [defects, columns] a mould's
    factor.

    spread_rate, spread_habit: relative variances of those two as they are known. common, own: relative variance from
    window to window, shared by a line and of a mould alone, by length of a window in hours. hours: of past behind it.
    borrowed: True while the past is another job's for the greater part. known: [defects, stations] enough past to
    judge.
    """

    rate: np.ndarray
    habit: np.ndarray
    spread_rate: np.ndarray
    spread_habit: np.ndarray
    common: Mapping[int, np.ndarray]
    own: Mapping[int, np.ndarray]
    hours: int
    borrowed: bool
    known: np.ndarray

    @property
    def line_spread(self) -> np.ndarray:
        """Relative variance [defects] of what is expected of the whole line: that of its best known station."""
        values: np.ndarray = np.minimum(self.spread_rate.min(axis=1), SPREAD_MOST)
        return values

    def window_variance(self, hours: float) -> tuple[np.ndarray, np.ndarray]:
        """Common and own relative variance [defects] of a window of so many hours: between the blocks by line, beyond
        them as theirs.
        """
        shares = _shares_of(hours)
        common = sum(share * self.common[block] for share, block in zip(shares, BLOCKS, strict=True))
        own = sum(share * self.own[block] for share, block in zip(shares, BLOCKS, strict=True))
        return np.asarray(common), np.asarray(own)


@cache
def _shares_of(hours: float) -> tuple[float, ...]:
    """How much of each block's variance counts in a window of so many hours."""
    return tuple(float(np.interp(hours, BLOCKS, row)) for row in np.eye(len(BLOCKS)))


class PastHours:
    """The hours of a line, with the cells that faults have spoiled taken out.

    calls: [defects, stations, columns + 1, hours]; ware: [stations, columns + 1, hours]; teaching: both by defect, 0
    where a cell may not teach.
    """

    def __init__(self, counts: LineCounts):
        self.counts = counts
        self.per_hour = max(1, 3600 // counts.step_s)
        self.hours = -(-counts.bins // self.per_hour)
        self.ware = _by_hour(counts.ware, self.per_hour, self.hours)
        shape = (len(counts.defects), len(counts.stations), len(counts.columns) + 1, self.hours)
        where = np.ravel_multi_index((counts.defect, counts.station, counts.column, counts.at // self.per_hour), shape)
        self.calls = np.bincount(where, counts.calls, minlength=int(np.prod(shape))).reshape(shape)
        self.teaching = self.calls.copy(), np.broadcast_to(self.ware[None], shape).copy()
        self.jobs = np.array(
            [counts.jobs[min(h * self.per_hour + self.per_hour // 2, counts.bins - 1)] for h in range(self.hours)]
        )
        self._dispersed: tuple[int, dict[int, np.ndarray], dict[int, np.ndarray], np.ndarray] | None = None

    @cached_property
    def reads(self) -> np.ndarray:
        """[stations] whether a station reads mould numbers."""
        read: np.ndarray = self.ware[:, :-1].sum(axis=(1, 2)) > 0
        return read

    def spoil(self, defect: int, stations: np.ndarray, columns: np.ndarray, first: int, last: int) -> None:
        """Hours `first` to `last` (included) of these cells teach nothing; unread ware of the same hours neither."""
        hours = np.arange(max(0, first), last + 1)
        cells = np.ix_(np.array([defect]), stations, np.append(columns, self.counts.unread), hours)
        for values in self.teaching:
            values[cells] = 0

    def job_of(self, hour: int) -> int:
        """The job whose ware passes in the middle of an hour."""
        return int(self.jobs[min(hour, self.hours - 1)])

    def hours_of_job(self, hour: int, job: int) -> np.ndarray:
        """The hours before `hour` of a job, as far back as the past reaches; of a longer past not the newest, in which
        a slow fault may have begun unseen.
        """
        back = np.arange(max(0, hour - PAST_HOURS), hour)
        mine: np.ndarray = back[self.jobs[back] == job]
        return mine[:-GUARD_HOURS] if len(mine) >= GUARD_HOURS + GUARDED_FROM else mine

    def before_job(self, number: int) -> np.ndarray:
        """The last hours of the former job of the same item, else of the job just before."""
        items = self.counts.items
        same = [n for n in range(number) if items[n] is not None and items[n] == items[number]]
        wanted = same[-1] if same and (self.jobs == same[-1]).any() else number - 1
        values: np.ndarray = np.flatnonzero(self.jobs == wanted)[-PAST_HOURS // 2 :]
        return values

    def screen(self, until: int) -> None:
        """Take out of the first `until` hours what stands far above their own mean: faults of the past."""
        for _ in range(2):
            for block in SCREENED:
                self._screen_blocks(until, block)

    def _screen_blocks(self, until: int, block: int) -> None:
        whole = until // block * block
        if whole == 0:
            return
        calls, ware = self._kept(np.arange(until - whole, until))
        rate = _over(calls.sum(axis=(2, 3)), ware.sum(axis=(2, 3)))
        shape = (*calls.shape[:3], whole // block, block)
        seen = calls.reshape(shape).sum(axis=4)
        expected = (rate[:, :, None, None] * ware).reshape(shape).sum(axis=4)
        self._drop(seen, expected, until - whole, block)

    def _drop(self, seen: np.ndarray, expected: np.ndarray, first: int, block: int) -> None:
        habit = (seen.sum(axis=3) + 1 / HABIT_VARIANCE) / (expected.sum(axis=3) + 1 / HABIT_VARIANCE)
        bad = _far(seen, expected * habit[:, :, :, None])
        line = _far(seen.sum(axis=2), expected.sum(axis=2))
        bad = bad | line[:, :, None, :]
        hours = np.repeat(bad, block, axis=3)
        for values in self.teaching:
            values[:, :, :, first : first + hours.shape[3]] *= ~hours

    def _kept(self, hours: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Calls and ware of these hours that may teach; a view of them where the hours follow each other."""
        whole = len(hours) > 0 and int(hours[-1] - hours[0]) == len(hours) - 1
        at = slice(int(hours[0]), int(hours[-1]) + 1) if whole else hours
        calls, ware = self.teaching
        return calls[..., at], ware[..., at]

    def expectation(self, hour: int, job: int | None = None) -> Expectation:
        """What hour number `hour` should bring, from the hours before it alone; `job`: of its ware of that job."""
        job = self.job_of(hour) if job is None else job
        hours = self.hours_of_job(hour, job)
        calls, ware = self._kept(hours)
        calls_of, ware_of = _summed(calls), _summed(ware)
        seen, passed = calls_of.sum(axis=2), ware_of.sum(axis=2)
        rate, shape, borrowed = self._rates(seen, passed, job)
        common, own, variance = self._dispersion(hour, calls, ware, rate)
        slow = np.max([block * common[block] for block in BLOCKS], axis=0)
        spread = 1 / shape + slow[:, None] / max(1, len(hours))
        read = self.reads[None, :, None]
        answer = (calls_of * read)[:, :, :-1].sum(axis=1)
        wanted = (rate[:, :, None] * ware_of * read)[:, :, :-1].sum(axis=1)
        weight = 1 / variance[:, None]
        habit = (answer + weight) / (wanted + weight)
        habit = habit / _level(habit, wanted)
        known = np.broadcast_to((passed >= LEAST_WARE) | borrowed, rate.shape)
        return Expectation(rate, habit, spread, 1 / (answer + weight), common, own, len(hours), bool(borrowed), known)

    def _rates(self, seen: np.ndarray, passed: np.ndarray, job: int) -> tuple[np.ndarray, np.ndarray, bool]:
        """Gamma posterior of every rate: its mean and shape; and whether the former job weighs more than this one."""
        former = self.before_job(job) if job > 0 else np.array([], int)
        if len(former):
            calls, ware = self._kept(former)
            before = _over(_summed(calls).sum(axis=2) + 0.5, _summed(ware).sum(axis=2) + 1)
            shape = PRIOR_SHAPE
            return (seen + shape) / (passed + shape / before), seen + shape, bool(seen.sum() < shape * (seen.size**0.5))
        return (seen + 0.5) / np.maximum(passed, 1.0), seen + 0.5, False

    def _dispersion(
        self, hour: int, calls: np.ndarray, ware: np.ndarray, rate: np.ndarray
    ) -> tuple[dict[int, np.ndarray], dict[int, np.ndarray], np.ndarray]:
        """Relative variances, estimated anew every few hours: they change slowly and cost the most."""
        due = self._dispersed is None or hour - self._dispersed[0] >= 6 or hour < 8
        if due:
            self._dispersed = (hour, *dispersions(calls, ware, rate, self.reads))
        assert self._dispersed is not None
        return self._dispersed[1:]


def _far(seen: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Which counts stand out so far that a fault is the better explanation; only those that can are looked at
    closely.
    """
    values = np.zeros(seen.shape, bool)
    near = (seen >= 3) & (seen > expected + 2 * np.sqrt(expected + PHI_START * expected**2))
    values[near] = excess_p(seen[near], expected[near], np.full((), PHI_START)) < SCREEN_P
    return values


def _level(habit: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Mean habit weighted by ware, so that habits share a line's rate out and do not change it."""
    total = wanted.sum(axis=1, keepdims=True)
    mean = (habit * wanted).sum(axis=1, keepdims=True)
    return np.where(total > 0, mean / np.maximum(total, 1e-12), 1.0)


def _by_hour(values: np.ndarray, per_hour: int, hours: int) -> np.ndarray:
    pad = hours * per_hour - values.shape[-1]
    answer: np.ndarray = np.pad(values, (*[(0, 0)] * (values.ndim - 1), (0, pad)))
    return answer.reshape(*values.shape[:-1], hours, per_hour).sum(axis=-1)


def _summed(values: np.ndarray) -> np.ndarray:
    """Sums over the last axis; as a product, which is quicker where that axis is a part of a longer one."""
    answer: np.ndarray = values @ np.ones(values.shape[-1])
    return answer


def _over(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    return part / np.maximum(whole, 1.0)
