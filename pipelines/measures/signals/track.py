"""Following a line hour by hour: signals are raised, placed, dated, kept under one identity, and closed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from pipelines.measures.signals.baseline import Expectation, PastHours, excess_p
from pipelines.measures.signals.closing import CLOSING_MIN, Course, closed
from pipelines.measures.signals.counted import counted
from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.dating import dated
from pipelines.measures.signals.drift import Drift
from pipelines.measures.signals.found import Found
from pipelines.measures.signals.one_fault import EXPLAINED_P, by_station, made_one, same_fault
from pipelines.measures.signals.onset import Noise, Onset
from pipelines.measures.signals.place_cells import Beside, PlaceCells
from pipelines.measures.signals.scan import LEAST_CALLS, Excess, Scan, ScanPart
from pipelines.measures.signals.scope import Placing, ScopePlace, place
from pipelines.plant.works import Plant

BACK_MIN = 600  # how far back an onset is looked for
AGAIN_MIN = 180  # a signal that comes back within this time is the same signal
SETTLED_MIN = 360  # a signal older than this keeps its place and onset
DRIFT_Q = 0.05  # a drift is shown only if the whole of it stands under this rate
HEARD_MIN = 30  # a stream that rose with a known fault is not asked again for so long
PROMPT_BINS = 5  # a station with windows no longer than this shows at once what changes


BesideOf = Callable[[int, int, int], Sequence[Beside]]


@dataclass
class Tracker:
    """The state of one line while its hours are followed. beside: other lines' counts of a defect between two bins of
    this line.
    """

    plant: Plant
    counts: LineCounts
    first_hour: int
    beside: BesideOf = lambda defect, start, stop: ()
    signals: list[Found] = field(default_factory=list)
    expectations: dict[int, Expectation] = field(default_factory=dict)
    parts: dict[int, list[ScanPart]] = field(default_factory=dict)
    heard: dict[tuple[int, int], int] = field(
        default_factory=dict
    )  # when a stream last rose with a fault that is known

    def __post_init__(self) -> None:
        self.past = PastHours(self.counts)
        self.past.screen(self.first_hour)
        self.scan = Scan(self.past, self.first_hour * self.past.per_hour)
        self.drift = Drift(self.scan)
        self.able = np.array(
            [[self.plant.stations[s].can_call(d) for s in self.counts.stations] for d in self.counts.defects], bool
        )

    @property
    def orders(self) -> tuple[int, ...]:
        """Of the stations, in the order in which ware meets them; lanes share one."""
        return tuple(self.plant.stations[s].order for s in self.counts.stations)

    @property
    def latest(self) -> Expectation:
        """What the newest hour should bring."""
        return self.expectations[max(self.expectations)]

    def begin(self, hour: int) -> None:
        """Learn what the hour should bring. Before `follow`, and for all lines of a furnace before any is followed."""
        self.expectations[hour] = self.past.expectation(hour)
        self.parts[hour] = self._parts(hour)
        self.scan.expect(self.parts[hour], self.able)
        for defect in {s.defect for s in self.signals if s.ended is None}:
            self.explain(defect)

    def _parts(self, hour: int) -> list[ScanPart]:
        """The hour cut where a job begins in it, each part with what its own job should bring."""
        per, jobs = self.past.per_hour, self.counts.jobs
        start, stop = hour * per, min((hour + 1) * per, self.counts.bins)
        cuts = [start, *(np.flatnonzero(np.diff(jobs[start:stop])) + 1 + start).tolist(), stop]
        usual = {self.past.job_of(hour): self.expectations[hour]}
        jobs_of = [int(jobs[lo]) for lo in cuts[:-1]]
        by_job = [usual.get(job) or self.past.expectation(hour, job) for job in jobs_of]
        return [ScanPart(lo, hi, expected) for (lo, hi), expected in zip(pairwise(cuts), by_job, strict=True)]

    def follow(self, hour: int) -> None:
        """Look at the bins of an hour in order: raise signals, and settle all that are open at its end."""
        per = self.past.per_hour
        start, stop = hour * per, min((hour + 1) * per, self.counts.bins)
        found = self.scan.excesses(start, stop)
        at = start
        while True:
            times = sorted({excess.at for excess in found if excess.at >= at})
            if not times:
                break
            at = times[0]
            alarms = self.scan.alarms(found, at)
            for defect in dict.fromkeys(alarm.defect for alarm in alarms):
                self._raised(defect, at, [alarm for alarm in alarms if alarm.defect == defect])
                kept = [excess for excess in found if excess.defect != defect or excess.at <= at]
                found = (
                    sorted(kept + self.scan.excesses(at + 1, stop, defect), key=lambda answer: answer.at)
                    if at + 1 < stop
                    else kept
                )
            at += 1
        self._drifted(start, stop)
        self._settle(start, stop)

    def join(self, defect: int, start: int, level: float) -> None:
        """Raise a signal of the line if its calls since bin `start` exceed what was expected, tested once at
        `level`.
        """
        now, first = self.scan.until, max(self.scan.first, start)
        if now - first < self.bins(15) or any(s.defect == defect and self._near(s, now) for s in self.signals):
            return
        line = self.scan.line
        seen, wanted, _ = (float(x.sum()) for x in self.scan.series(defect, line, first, now))
        p = float(excess_p(np.array(seen), np.array(wanted), self.scan.hourly[defect, line]))
        if seen >= LEAST_CALLS and wanted > 0 and p <= level:
            self._raised(defect, now - 1, [Excess(defect, line, now - 1, now - first, seen, wanted, p, p)])
            for signal in [s for s in self.signals if s.defect == defect and s.ended is None]:
                self.keep(counted(self, signal, now))
                self._spoil(signal, now)

    def _drifted(self, start: int, stop: int) -> None:
        """Slow drifts that no window shows yet: one signal a defect, and none beside one that is open."""
        for lead in self.drift.advance(start, stop):
            rows = [s for s in self.signals if s.defect == lead.defect and self._near(s, lead.at)]
            if not rows and lead.q <= DRIFT_Q and self.drift.sums[lead.defect, lead.stream] > 0:
                self._raised(lead.defect, lead.at, [lead])
            self.drift.forget(lead.defect)

    def _raised(self, defect: int, at: int, alarms: Sequence[Excess]) -> None:
        """An alarm: part of a signal that is known, or a new one."""
        alarms = [a for a in alarms if at - self.heard.get((defect, a.stream), -HEARD_MIN * 60) >= self.bins(HEARD_MIN)]
        if not alarms:
            return
        lead = min(alarms, key=lambda answer: (answer.p, answer.stream))
        known = [s for s in self.signals if s.defect == defect and self._near(s, at)]
        for signal in sorted(known, key=lambda s: s.ended is not None):
            open_again = replace(signal, ended=None, passed=False, q=min(signal.q, lead.q))
            again = self.updated(replace(open_again, reopened=signal.reopened + (signal.ended is not None)), at + 1)
            if again is None:
                continue
            self.keep(again)
            self.explain(defect)
            if self.scan.p_of(lead) > EXPLAINED_P:
                return
            self.keep(signal)
            self.explain(defect)
        new = self._new(lead, at + 1)
        same = next((s for s in sorted(known, key=lambda s: s.ended is not None) if same_fault(s, new)), None)
        if same is None:
            self.signals.append(new)
        else:
            self.heard[defect, lead.stream] = at
            self.keep(
                replace(
                    same,
                    ended=None,
                    passed=False,
                    q=min(same.q, lead.q),
                    reopened=same.reopened + (same.ended is not None),
                )
            )
        self.explain(defect)

    def _job_begun(self, now: int) -> int:
        """The first bin of the job whose ware passed last before bin `now`."""
        return self.scan.first + int(self.scan.floor_of(max(1, now - self.scan.first)))

    def _near(self, signal: Found, at: int) -> bool:
        return not signal.part_of and (
            signal.ended is None or (at - signal.ended) * self.counts.step_s <= AGAIN_MIN * 60
        )

    def keep(self, signal: Found) -> None:
        self.signals = [signal if s.name == signal.name else s for s in self.signals]

    def _new(self, lead: Excess, now: int) -> Found:
        start = max(self._job_begun(now), now - self.bins(BACK_MIN))
        onset = self._dated(lead.defect, lead.stream, start, now, now)
        placing = self._placed(lead.defect, onset, now, own=None)
        stream = self._stream(placing.best)
        onset = self._dated(lead.defect, stream, start, now, now)
        moment = self.counts.moment(now)
        name = f"{self.counts.line}-{self.counts.defects[lead.defect]}-{moment:%Y%m%dT%H%M}Z"
        twins = sum(s.name.startswith(name) for s in self.signals)
        name = name + f"-{twins + 1}" * bool(twins)
        strength = float(np.clip(lead.calls / max(lead.expected, 0.05), 2.0, 20.0))
        signal = Found(name, lead.defect, now, placing, onset, None, stream, lead.q, strength=strength)
        return counted(self, signal, now)

    def updated(self, signal: Found, now: int) -> Found | None:
        """The signal placed and dated again with all that is known at bin `now`; None where it is too old for that."""
        until = min(now, signal.ended or now)
        if until - signal.onset.at < 1 or now - signal.raised > self.bins(SETTLED_MIN):
            return None
        back = min(int(signal.onset.low), signal.raised - self.bins(BACK_MIN))
        start = min(max(self._job_begun(signal.raised), back), until - 1)
        self.explain(signal.defect, without=signal.name)
        placing = self._placed(signal.defect, signal.onset, until, own=signal)
        stream = self._stream(placing.best)
        onset = self._dated(signal.defect, stream, start, until, signal.raised)
        self.explain(signal.defect)
        return replace(signal, placing=placing, stream=stream, onset=onset)

    def _settle(self, start: int, stop: int) -> None:
        """At the end of an hour: place and date again, see what is over, keep its hours from teaching."""
        for signal in [s for s in self.signals if s.ended is None]:
            again = self.updated(signal, stop) or signal
            again = counted(self, self._closed(again, stop), stop)
            self.keep(again)
            self.explain(again.defect)
        made_one(self, stop)
        for signal in self.signals:
            if signal.ended is None or signal.ended >= start:
                self._spoil(signal, stop)

    def _closed(self, signal: Found, stop: int) -> Found:
        begun = max(self.scan.first, min(signal.raised, stop - 1), stop - self.bins(CLOSING_MIN))
        self.explain(signal.defect, without=signal.name)
        seen, wanted, base = self.scan.series(signal.defect, signal.stream, begun, stop)
        station = signal.place.station
        mine = [station] if station is not None else np.flatnonzero(self.able[signal.defect])
        sent = self.counts.sent[mine, begun:stop].max(axis=0)
        noise = self.noise(signal.defect, signal.stream, begun)
        course = Course(begun, self.counts.step_s / 60, seen, wanted, base, sent, noise)
        critical = self.plant.defects[self.counts.defects[signal.defect]].severity == "critical"
        return closed(signal, course, critical)

    def noise(self, defect: int, stream: int, start: int) -> Noise:
        """How a stream's counts scatter from hour to hour, and how well its rate is known; `start`: the series' first
        bin.
        """
        variance, doubt = (float(x[defect, stream]) for x in (self.scan.by_hour, self.scan.spread))
        return Noise(variance, doubt, self.past.per_hour, start % self.past.per_hour)

    def _spoil(self, signal: Found, stop: int) -> None:
        per = self.past.per_hour
        first = int(max(0, signal.onset.low)) // per
        last = min((signal.ended if signal.ended is not None else stop) - 1, self.counts.bins - 1) // per
        where = signal.place
        every = where.station is None or where.blinded
        stations = np.arange(len(self.counts.stations)) if every else np.array([where.station])
        self.past.spoil(signal.defect, stations, np.array(where.columns, int), first, last)

    def bins(self, minutes: float) -> int:
        return max(1, int(minutes * 60 / self.counts.step_s))

    def _stream(self, where: ScopePlace) -> int:
        """The stream that counts what happens in a place."""
        kind = "line" if where.scope == "furnace" else where.scope
        same = [n for n, s in enumerate(self.scan.streams) if s.columns == where.columns and s.station == where.station]
        alike = [n for n in same if self.scan.streams[n].kind == kind]
        if alike or same:
            return (alike or same)[0]
        cavity = [
            n for n, s in enumerate(self.scan.streams) if s.kind == "cavity" and set(where.columns) <= set(s.columns)
        ]
        return cavity[0] if cavity else self.scan.line

    def _dated(self, defect: int, stream: int, start: int, stop: int, raised: int) -> Onset:
        noise, able = self.noise(defect, stream, start), self.able[defect]
        return dated(self.scan, defect, stream, (start, stop), raised, noise, able, self.cells_expected)

    def _placed(self, defect: int, onset: Onset, stop: int, own: Found | None) -> Placing:
        start = int(np.clip(np.floor(onset.at), self.scan.first, stop - 1))
        cells = self._cells(defect, start, stop, own)
        origin = self.plant.defects[self.counts.defects[defect]].origin
        return place(cells, self.counts.line, origin)

    def _cells(self, defect: int, start: int, stop: int, own: Found | None) -> PlaceCells:
        """Calls in a window beside what is expected of it, other signals of the line included; and the furnace's other
        lines.
        """
        others = [
            s for s in self.signals if s.defect == defect and (own is None or s.name != own.name) and not s.part_of
        ]
        place_cells = self._cells_of(defect, start, stop, others)
        return replace(place_cells, beside=tuple(self.beside(defect, start, stop)))

    def cells_beside(self, defect: int, start: int, stop: int, since: int) -> PlaceCells:
        """The same for another line of the furnace: only a mould's, section's, gob's or station's signal that surely
        began before bin `since` counts as expected, so that nothing this line was told of the present fault takes
        evidence from the other.
        """
        older = [s for s in self.signals if s.defect == defect and s.onset.high < since and not s.part_of]
        return self._cells_of(defect, start, stop, [s for s in older if s.place.scope not in ("line", "furnace")])

    def _cells_of(self, defect: int, start: int, stop: int, others: Sequence[Found]) -> PlaceCells:
        c, hours = self.counts, max((stop - start) * self.counts.step_s / 3600, 1e-3)
        shape = (len(c.stations), len(c.columns) + 1)
        inside = self._since(defect, start, stop)
        mine = (c.at >= start) & (c.at < stop) & (c.defect == defect)
        mine[mine] &= inside[c.station[mine], c.at[mine] - start]
        flat = np.ravel_multi_index((c.station[mine], c.column[mine]), shape)
        seen = np.bincount(flat, c.calls[mine], minlength=shape[0] * shape[1]).reshape(shape)
        every = base = self.cells_expected(defect, start, stop)
        for other in others:
            every = every + self._extra(other, start, stop)
        expected, base = ((x * inside[:, None, :]).sum(axis=2) for x in (every, base))
        expectation = self.latest
        common, idio = (float(x[defect]) for x in expectation.window_variance(hours))
        rate = float(expectation.line_spread[defect])
        habit = float(np.median(expectation.spread_habit[defect])) if len(c.columns) else 0.0
        return PlaceCells(
            seen,
            expected,
            (c.ware[:, :, start:stop] * inside[:, None, :]).sum(axis=2),
            self.past.reads,
            self.able[defect],
            idio + habit,
            common + rate,
            c.columns,
            c.stations,
            base=base,
            orders=self.orders,
        )

    def _since(self, defect: int, start: int, stop: int) -> np.ndarray:
        """[stations, bins] which bins of [start, stop) count ware of that time alone: a long window that began before
        it does not, as long as a station with short ones can call the defect.
        """
        late = self.counts.window - 1
        if not (late[self.able[defect]] < PROMPT_BINS).any():
            late = np.zeros_like(late)
        return np.arange(stop - start)[None, :] >= late[:, None]

    def cells_expected(self, defect: int, start: int, stop: int) -> np.ndarray:
        """Expected calls by the past alone [stations, columns + 1, bins]."""
        per, these_parts = self.past.per_hour, [np.zeros((*self.counts.ware.shape[:2], 0))]
        for part in (this_part for hour in range(start // per, -(-stop // per)) for this_part in self.parts[hour]):
            ware = self.counts.ware[:, :, max(start, part.start) : min(stop, part.stop)]
            habit = np.append(part.expected.habit[defect], 1.0)
            these_parts.append(ware * part.expected.rate[defect][:, None, None] * habit[None, :, None])
        return np.concatenate(these_parts, axis=2)

    def _extra(self, signal: Found, start: int, stop: int) -> np.ndarray:
        """Calls that a signal adds to what the past brings [stations, columns + 1, bins], by its hourly factor."""
        end = self.counts.bins if signal.ended is None else signal.ended
        base = self.cells_expected(signal.defect, start, stop)
        where, more = signal.place, np.zeros_like(base)
        if where.station is not None and not where.blinded:
            ware = self.counts.ware[where.station, :, start:stop]
            more[where.station] = base[where.station].sum(axis=0) * ware / np.maximum(ware.sum(axis=0), 1.0)
        else:
            columns = list(where.columns)
            more[:, columns] = base[:, columns]
            read = base[self.past.reads][:, :-1].sum(axis=(0, 2))
            more[:, -1] = base[:, -1] * (read[columns].sum() / read.sum() if read.sum() > 0 else 1.0)
            stream = self.scan.streams[signal.stream]
            more *= by_station(stream, where.growth, more.sum(axis=2), self.past.reads)[:, None, None]
        bins = np.arange(start, stop)
        inside = (bins >= int(signal.onset.at)) & (bins < end)
        return more * ((self._factors(signal, start, stop) - 1) * inside)[None, None, :]

    def _factors(self, signal: Found, start: int, stop: int) -> np.ndarray:
        """The signal's factor at each bin: of each hour since its onset, drawn to its mean by one expected call."""
        begun = max(self.scan.first, int(signal.onset.at))
        end = min(self.scan.until, signal.ended or self.scan.until)
        if end <= begun:
            return np.full(stop - start, signal.place.factor)
        seen, _, base = self.scan.series(signal.defect, signal.stream, begun, end)
        mean = max(1.0, (seen.sum() + 1) / (base.sum() + 1 / max(signal.place.factor, 1.0)))
        size = self.bins(60)
        parts = np.arange(len(seen)) // size
        answer = (np.bincount(parts, seen) + mean) / (np.bincount(parts, base) + 1)
        at = np.clip((np.arange(start, stop) - begun) // size, 0, len(answer) - 1)
        return np.maximum(1.0, answer[at])

    def explain(self, defect: int, without: str = "") -> None:
        """Give the scan what the signals of a defect bring, so that it finds only what they do not."""
        extra = []
        for signal in self.signals:
            start = max(self.scan.first, int(signal.onset.at))
            stop = min(self.scan.until, signal.ended or self.scan.until)
            if signal.defect != defect or signal.name == without or signal.part_of or stop <= start:
                continue
            more = self._extra(signal, start, stop)
            extra.append((start, self._by_stream(more), 0.05 + 1 / (1 + signal.counted[0])))
        self.scan.explain(defect, extra)

    def _by_stream(self, more: np.ndarray) -> np.ndarray:
        return self.scan.by_stream(more[self.past.reads].sum(axis=0), more.sum(axis=1))

    def after_minutes(self, signal: Found) -> float:
        """The way [min] from the first station to the station that calls the signal's defect first there."""
        stations = self.plant.stations_of(self.counts.line)
        if signal.place.station is not None:
            return stations[signal.place.station].after_minutes
        return next((s.after_minutes for n, s in enumerate(stations) if self.able[signal.defect, n]), 0.0)
