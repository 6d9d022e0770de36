"""Looking for excess in every stream of a line at once: windows of many lengths, a false-discovery rate over all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.signals.baseline import Expectation, PastHours, excess_p
from pipelines.measures.signals.counts import LineCounts, cavities_of, groups_of

WINDOWS_MIN = (5, 8, 12, 18, 27, 40, 60, 90, 135, 200, 300, 480)
WINDOW_PENALTY = 6.0  # overlapping windows count as about this many independent looks
FALSE_DISCOVERY = 0.006
LEAST_CALLS = 4
FRESH_MIN = 15  # an excess counts as present for this long after its last call
QUICK_Z = 2.5
WEIGHTS = {"mould": 1.0, "cavity": 0.3, "section": 0.7, "gob": 3.0, "line": 16.0, "station": 4.0}


def benjamini_hochberg(p: np.ndarray, tests: int | None = None) -> np.ndarray:
    """Step-up adjusted q of each p; `tests` when more were made than are listed (the others having p = 1).

    Weighted tests (the few coarse streams of a line beside its many moulds) enter as p over weight, weights averaging
    1.
    References: [1] Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995) 289.
    [2] Genovese, Roeder and Wasserman, Biometrika 93 (2006) 509 (weights).
    """
    p = np.asarray(p, float)
    total = tests if tests is not None else len(p)
    order = np.argsort(p)
    raw = p[order] * total / np.arange(1, len(p) + 1)
    values = np.minimum(np.minimum.accumulate(raw[::-1])[::-1], 1.0)
    back = np.empty_like(values)
    back[order] = values
    return back


@dataclass(frozen=True)
class Stream:
    """What is watched for each defect: a mould, a cavity over changes of its mould, section, gob position, station or
    the line.

    columns: its columns; whole: unread ware and stations that read no moulds count too. station: one station alone.
    """

    kind: str
    key: str
    columns: tuple[int, ...]
    station: int | None = None

    @property
    def whole(self) -> bool:
        return self.kind in ("line", "station")


def streams_of(counts: LineCounts, first: int = 0) -> tuple[Stream, ...]:
    """Every stream of a line that is not the same as a coarser or finer one; moulds only where ware of theirs passed
    since bin `first`.
    """
    live = counts.ware[:, :-1, first:].sum(axis=(0, 2)) > 0
    sections, gobs = groups_of(counts.columns)
    every = tuple(range(len(counts.columns)))
    streams = [Stream("mould", column.mould, (n,)) for n, column in enumerate(counts.columns) if live[n]]
    streams += [
        Stream("section", str(k), tuple(v)) for k, v in sorted(sections.items()) if len(v) > 1 and len(sections) > 1
    ]
    streams += [Stream("gob", k, tuple(v)) for k, v in sorted(gobs.items()) if len(v) > 1 and len(gobs) > 1]
    changed = {k: tuple(n for n in v if live[n]) for k, v in cavities_of(counts.columns).items()}
    streams += [Stream("cavity", f"{k[0]}{k[1]}", v) for k, v in changed.items() if len(v) > 1]
    streams.append(Stream("line", counts.line, every))
    if len(counts.stations) > 1:
        streams += [Stream("station", name, every, number) for number, name in enumerate(counts.stations)]
    return tuple(streams)


@dataclass(frozen=True)
class ScanPart:
    """Bins [start, stop) of an hour and what they should bring: ware of one job."""

    start: int
    stop: int
    expected: Expectation


@dataclass(frozen=True)
class Excess:
    """One stream above what was expected in a window that ends with bin `at` (included)."""

    defect: int
    stream: int
    at: int
    window: int
    calls: float
    expected: float
    p: float
    q: float = 1.0


class Scan:
    """Sums of calls and of expected calls of every stream of a line from bin `first` on, for windows of any length."""

    def __init__(self, past: PastHours, first: int):
        self.past, self.counts, self.first = past, past.counts, first
        self.streams = streams_of(past.counts, first)
        self.of_columns = self._columns_of()
        self.line = next(n for n, stream in enumerate(self.streams) if stream.kind == "line")
        bins = self.counts.bins - first
        shape = (len(self.counts.defects), len(self.streams), bins + 1)
        self.seen = np.zeros(shape, np.float32)
        self.base = np.zeros(shape)  # by the past alone
        # by defect: sums of what its signals explain beyond that [streams, bins + 1]
        self.more: dict[int, np.ndarray] = {}
        self.doubt = np.zeros(shape[:2])  # relative variance of what they explain
        self.variance = np.zeros((len(WINDOWS_MIN), *shape[:2]))
        self.spread = np.zeros(shape[:2])
        self.by_hour = np.zeros(shape[:2])  # relative variance of a count from hour to hour
        self.hourly = np.zeros(shape[:2])  # that and the doubt of what is expected
        self.known = np.zeros(shape[:2], bool)
        self.tests = 1
        self.until = first
        self.weights = np.ones(len(self.streams))
        self.sizes = np.array([max(1, len(stream.columns)) for stream in self.streams])
        begun = np.flatnonzero(np.diff(past.counts.jobs)) + 1 - first
        self.begun = np.concatenate([[0], begun[begun > 0]])  # no window reaches back over the begin of a job
        self._fill_seen()

    def _columns_of(self) -> np.ndarray:
        """Which columns' read ware a stream counts [streams, columns], 1 or 0; none of the line's and a station's,
        which count all ware.
        """
        values = np.zeros((len(self.streams), len(self.counts.columns)))
        for number, stream in enumerate(self.streams):
            if not stream.whole:
                values[number, list(stream.columns)] = 1
        return values

    def _fill_seen(self) -> None:
        c = self.counts
        later = c.at >= self.first
        d, s, k, t, n = (x[later] for x in (c.defect, c.station, c.column, c.at - self.first, c.calls))
        reads = self.past.reads[s]
        for number, stream in enumerate(self.streams):
            if stream.kind == "line":
                mine = np.ones(len(d), bool)
            elif stream.station is not None:
                mine = s == stream.station
            else:
                mine = np.isin(k, stream.columns) & reads
            np.add.at(self.seen[:, number, 1:], (d[mine], t[mine]), n[mine])
        np.cumsum(self.seen, axis=2, out=self.seen)

    def floor_of(self, end: np.ndarray | int) -> np.ndarray:
        """The first bin (from `first` on) of the job whose ware passes in the last bin before `end`, and of hours that
        have a past to judge by.
        """
        values: np.ndarray = self.begun[np.searchsorted(self.begun, np.asarray(end) - 1, side="right") - 1]
        return values

    def expect(self, parts: Sequence[ScanPart], able: np.ndarray) -> None:
        """Fill in what an hour should bring, in parts where a job changes in it; the last part's spreads hold for all
        of it.

        able: [defects, stations] whether a station can call a defect.
        """
        c, expected = self.counts, parts[-1].expected
        start, stop = parts[0].start, parts[-1].stop
        lo, hi = start - self.first, stop - self.first
        for part in parts:
            self._expected(
                part.start,
                part.stop,
                part.expected,
                self.base[:, :, part.start - self.first + 1 : part.stop - self.first + 1],
            )
        self.base[:, :, lo + 1] += self.base[:, :, lo]
        np.cumsum(self.base[:, :, lo + 1 : hi + 1], axis=2, out=self.base[:, :, lo + 1 : hi + 1])
        self.until = stop
        self.spread = self._spreads(expected)
        self.by_hour = self.variances(expected, 1.0)
        self.hourly = self.by_hour + self.spread
        for number, minutes in enumerate(WINDOWS_MIN):
            self.variance[number] = self.variances(expected, minutes / 60) + self.spread
        if not (able & expected.known).any():  # nothing to compare with: no later window reaches back into this hour
            self.begun = np.unique(np.append(self.begun, hi))
        read = able & expected.known & self.past.reads[None, :]
        some, places = (able & expected.known).any(axis=1), read.any(axis=1)
        for number, stream in enumerate(self.streams):
            if stream.station is not None:
                self.known[:, number] = (able & expected.known)[:, stream.station] & (able.sum(axis=1) > 1)
            else:
                self.known[:, number] = some if stream.kind == "line" else places
        back = max(0, hi - WINDOWS_MIN[-1] * 60 // c.step_s)
        live: np.ndarray = (self.base[:, :, hi] - self.base[:, :, back]).max(axis=0) > 0
        self.known &= live
        self.tests = max(1, int(self.known.sum()))
        kinds = np.array([WEIGHTS[stream.kind] for stream in self.streams])
        self.weights = kinds * self.tests / max(1.0, float((self.known * kinds).sum()))

    def _expected(self, start: int, stop: int, expected: Expectation, out: np.ndarray) -> None:
        """Fill `out` [defects, streams, bins] with expected calls."""
        ware = self.counts.ware[:, :, start:stop]
        habit = np.concatenate([expected.habit, np.ones((len(expected.habit), 1))], axis=1)
        by_column = np.einsum("ds,sct->dct", expected.rate * self.past.reads, ware[:, :-1]) * expected.habit[:, :, None]
        by_station = expected.rate[:, :, None] * np.einsum("dc,sct->dst", habit, ware)
        self._fill(by_column, by_station, out)

    def by_stream(self, by_column: np.ndarray, by_station: np.ndarray) -> np.ndarray:
        """Sums [..., streams, bins] of cells: [..., columns, bins] of read ware, [..., stations, bins] of all ware."""
        values = np.empty((*by_column.shape[:-2], len(self.streams), by_column.shape[-1]))
        self._fill(by_column, by_station, values)
        return values

    def _fill(self, by_column: np.ndarray, by_station: np.ndarray, out: np.ndarray) -> None:
        for number, stream in enumerate(self.streams):
            if stream.kind == "line":
                by_station.sum(axis=-2, out=out[..., number, :])
            elif stream.station is not None:
                out[..., number, :] = by_station[..., stream.station, :]
            elif len(stream.columns) == 1:
                out[..., number, :] = by_column[..., stream.columns[0], :]
            else:
                by_column[..., list(stream.columns), :].sum(axis=-2, out=out[..., number, :])

    def variances(self, expected: Expectation, hours: float) -> np.ndarray:
        """Relative variance [defects, streams] of a count from one window of so many hours to another."""
        common, own = expected.window_variance(hours)
        spread: np.ndarray = common[:, None] + own[:, None] / self.sizes[None, :]
        return spread

    def _spreads(self, expected: Expectation) -> np.ndarray:
        """Relative variance [defects, streams] of what is expected itself: rates and habits are known from a past
        only.
        """
        read = expected.line_spread[:, None] + expected.spread_habit @ self.of_columns.T / self.sizes**2
        numbers = [stream.station for stream in self.streams]
        whole = np.stack([expected.line_spread if n is None else expected.spread_rate[:, n] for n in numbers], axis=1)
        return np.where(np.array([stream.whole for stream in self.streams]), whole, read)

    def excesses(self, start: int, stop: int, defect: int | None = None) -> list[Excess]:
        """Streams with a call in bins [start, stop) whose best window stands out, in order of time; p only."""
        lo, hi = start - self.first, stop - self.first
        chosen = slice(None) if defect is None else slice(defect, defect + 1)
        fresh = np.diff(self.seen[chosen, :, lo : hi + 1], axis=2) > 0
        d, g, t = np.nonzero(fresh & self.known[chosen][:, :, None])
        if not len(d):
            return []
        d = d + (defect or 0)
        end = t + lo + 1
        best, window, calls, wanted = self._best(d, g, end)
        keep = np.flatnonzero(best < FALSE_DISCOVERY * self.weights[g])
        keep = keep[np.argsort(end[keep], kind="stable")]
        return [
            Excess(
                int(d[i]),
                int(g[i]),
                int(end[i] - 1 + self.first),
                int(window[i]),
                float(calls[i]),
                float(wanted[i]),
                float(best[i]),
            )
            for i in keep
        ]

    def _best(self, d: np.ndarray, g: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, ...]:
        best, window = np.ones(len(d)), np.zeros(len(d), int)
        calls, wanted = np.zeros(len(d)), np.zeros(len(d))
        row = (d * self.seen.shape[1] + g) * self.seen.shape[2]  # where a stream's sums begin
        all_seen, all_base = self.seen.ravel(), self.base.ravel()
        floor, back = self.floor_of(end), self.bins_of(WINDOWS_MIN[-1])
        enough = all_seen[row + end] - all_seen[row + np.maximum(end - back, floor)] >= LEAST_CALLS
        mine = np.flatnonzero(enough)
        if not len(mine):
            return best, window, calls, wanted
        d, g, end, row, floor = (x[mine] for x in (d, g, end, row, floor))
        last, explained = np.full(len(d), -1), [(np.flatnonzero(d == defect), x) for defect, x in self.more.items()]
        seen_end, base_end, doubt = all_seen[row + end], all_base[row + end], self.doubt[d, g]
        for number, minutes in enumerate(WINDOWS_MIN):
            begin = np.maximum(end - self.bins_of(minutes), floor)
            seen = seen_end - all_seen[row + begin]
            base = base_end - all_base[row + begin]
            should = base.copy()
            for which, sums in explained:
                should[which] += sums[g[which], end[which]] - sums[g[which], begin[which]]
            likely = np.flatnonzero((seen >= LEAST_CALLS) & (seen > should) & (begin != last) & (should > 0))
            last = begin
            answer = 1 - base[likely] / np.maximum(should[likely], 1e-9)  # share that signals explain
            variance = self.variance[number][d[likely], g[likely]] + doubt[likely] * answer**2
            mean = should[likely]
            z = (seen[likely] - mean) / np.sqrt(mean + variance * mean**2 + 1e-9)
            quick, variance = likely[z > QUICK_Z], variance[z > QUICK_Z]
            if not len(quick):
                continue
            p = np.minimum(1.0, WINDOW_PENALTY * excess_p(seen[quick], should[quick], variance))
            better = p < best[mine[quick]]
            from_here = quick[better]
            at = mine[from_here]
            best[at], window[at] = p[better], self.bins_of(minutes)
            calls[at], wanted[at] = seen[from_here], should[from_here]
        return best, window, calls, wanted

    def bins_of(self, minutes: float) -> int:
        """How many bins so many minutes are."""
        return max(1, round(minutes * 60 / self.counts.step_s))

    def between(self, start: int, stop: int) -> np.ndarray:
        """Calls expected in bins [start, stop) by the past and by open signals [defects, streams]."""
        lo, hi = start - self.first, stop - self.first
        values: np.ndarray = self.base[:, :, hi] - self.base[:, :, lo]
        for defect, sums in self.more.items():
            values[defect] += sums[:, hi] - sums[:, lo]
        return values

    def explain(self, defect: int, extra: Sequence[tuple[int, np.ndarray, float]]) -> None:
        """Set what open signals of a defect explain: (first bin, extra calls [streams, bins], relative variance)."""
        total = np.zeros(self.base.shape[1:])
        self.doubt[defect] = 0.0
        for start, more, doubt in extra:
            at = start - self.first
            summed = np.cumsum(more, axis=1)
            total[:, at + 1 : at + 1 + more.shape[1]] += summed
            total[:, at + 1 + more.shape[1] :] += summed[:, -1:]
            touched = summed[:, -1] > 0
            self.doubt[defect, touched] = np.maximum(self.doubt[defect, touched], doubt)
        if extra:
            self.more[defect] = total
        else:
            self.more.pop(defect, None)

    def p_of(self, excess: Excess) -> float:
        """The p of an excess's stream and moment against what is expected now."""
        d, g, end = (np.array([x]) for x in (excess.defect, excess.stream, excess.at - self.first + 1))
        return float(self._best(d, g, end)[0][0])

    def series(self, defect: int, stream: int, start: int, stop: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Calls, expected calls, and expected calls by the past alone, of bins [start, stop)."""
        part = slice(start - self.first, stop - self.first + 1)
        seen, base = np.diff(self.seen[defect, stream, part]), np.diff(self.base[defect, stream, part])
        more = np.diff(self.more[defect][stream, part]) if defect in self.more else 0.0
        return seen, base + more, base

    def alarms(self, found: Sequence[Excess], at: int) -> list[Excess]:
        """The excesses present at bin `at` that stand under the false-discovery rate over all streams of the line."""
        fresh = max(1, FRESH_MIN * 60 // self.counts.step_s)
        present: dict[tuple[int, int], Excess] = {}
        for excess in found:
            if at - fresh < excess.at <= at:
                best = present.get((excess.defect, excess.stream))
                if best is None or excess.p <= best.p:
                    present[excess.defect, excess.stream] = excess
        if not present:
            return []
        these_excesses = list(present.values())
        weights = self.weights[[this_excess.stream for this_excess in these_excesses]]
        q = benjamini_hochberg(np.array([this_excess.p for this_excess in these_excesses]) / weights, self.tests)
        return [
            Excess(**{**vars(this_excess), "q": float(value)})
            for this_excess, value in zip(these_excesses, q, strict=True)
            if value <= FALSE_DISCOVERY and this_excess.at == at
        ]
