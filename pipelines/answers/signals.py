"""Signals of lines: followed from the ledger's minutes, or read as the last intake left them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from pipelines.answers.pareto import check_line
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.lehr.lehr_time import LehrTime, crossing, lehr_by_hour, lehr_frame, lehr_of_hours
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.signals import Found, follow_lines, line_counts
from pipelines.measures.signals.baseline import PAST_HOURS
from pipelines.measures.signals.cells import cell_expectations
from pipelines.measures.signals.expected import hour_doubts, hour_expectations
from pipelines.measures.signals.sentences import recalled_doubt, recalled_signal
from pipelines.measures.signals.tell import CRITICAL_CALL, Logs, critical_calls, tell
from pipelines.measures.signals.track import Tracker
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.signals import Signal

PAST = timedelta(hours=PAST_HOURS)
LEAD = timedelta(hours=12)  # followed before what is asked for, so that signals open then are known
ASKED_LEAD = timedelta(hours=8)
HOUR = timedelta(hours=1)
NOTHING_CAME = say("nothing came: no count reaches into this time, and nothing of it could be judged.")


@dataclass(frozen=True)
class LineFrames:
    """What the ledger has of a line for following it: calls, ware, mould stays, jobs, the logs, and its lehr times by
    hour.
    """

    calls: pl.DataFrame
    ware: pl.DataFrame
    spans: pl.DataFrame
    logs: Logs
    lehr: pl.DataFrame
    span: Span


@dataclass(frozen=True)
class LineHour:
    """One line at the end of an hour: signals open or just closed, what was expected by place and by cell, what could
    not be judged.
    """

    line: str
    hour: datetime
    signals: list[Signal]
    expected: pl.DataFrame
    cells: pl.DataFrame
    doubts: list[str]


def line_frames(reader: Reader, plant: Plant, line: str, span: Span, estimate: bool) -> LineFrames:
    """Read a line's window; `estimate`: work its lehr times out anew instead of reading the kept ones."""
    back = timedelta(minutes=2 * plant.lines[line].lehr_minutes + 60)
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    formed = {"line": line, "from_time": span.start - back, "to_time": span.end}
    ware = reader.ask("ware_by_window", **row)
    spans = reader.ask("mould_spans_of_line", **formed)
    stoppages = reader.ask("stoppages_of_line", **formed)
    logs = Logs(reader.ask("fittings_of_line", **formed), stoppages, reader.ask("jobs_of_line", **formed))
    if estimate:
        lehr = _estimated(reader, plant, line, span, ware, spans, stoppages)
    else:
        lehr = reader.ask("lehr_hours_of_line", line=line, from_time=span.start, to_time=span.end)
    return LineFrames(faults(plant, reader.ask("calls_by_window", **row)), ware, spans, logs, lehr, span)


def _estimated(
    reader: Reader,
    plant: Plant,
    line: str,
    span: Span,
    ware: pl.DataFrame,
    spans: pl.DataFrame,
    stoppages: pl.DataFrame,
) -> pl.DataFrame:
    """Lehr times of the last LEAD and of what comes after it; earlier hours were estimated before."""
    start = max(span.start, span.start + PAST)
    begin = start if start < span.end else span.start
    back = timedelta(minutes=2 * plant.lines[line].lehr_minutes + 60)
    forming = reader.ask("forming_of_line", line=line, from_time=begin - back, to_time=span.end)
    both = crossing(plant, line, (begin, span.end), forming, ware, spans, stoppages)
    hours, spread = lehr_by_hour(both, plant.lines[line].lehr_minutes)
    return lehr_frame(hours, spread, begin)


def follow_furnace(
    reader: Reader, plant: Plant, furnace: str, asked: Span, lead: timedelta, estimate: bool = True, whole: bool = True
) -> Iterator[tuple[dict[str, LineFrames], list[LineHour]]]:
    """The lines of a furnace hour by hour over `asked`; the hours of `lead` before it are followed and not given out.

    whole: with critical calls, expectations and doubts of every hour; else with the excesses alone, each where it was
    closed or in the last hour.
    """
    start = asked.start - lead - PAST
    window = Span(start, asked.end)
    lines = [line.id for line in plant.lines_of(furnace) if plant.stations_of(line.id)]
    frames = {line: line_frames(reader, plant, line, window, estimate) for line in lines}
    counts, lehr = {}, {}
    for line, these_frames in frames.items():
        lehr[line] = lehr_of_hours(plant, line, these_frames.lehr, asked.start, asked.end).minutes
        counts[line] = line_counts(
            plant,
            line,
            (window.start, window.end),
            these_frames.calls,
            these_frames.ware,
            these_frames.spans,
            these_frames.logs.jobs,
            lehr[line],
        )
    clocks = {line: _Clock(plant, line, each.lehr) for line, each in frames.items()}
    skipped, last = int((asked.start - start) / HOUR), -int((start - asked.end) // HOUR) - 1
    for hour, trackers, states in follow_lines(plant, counts, int(PAST / HOUR), lehr):
        if hour >= skipped:
            mine = {
                line: [signal for signal in found if whole or signal.ended is not None or hour >= last]
                for line, found in states.items()
            }
            yield (
                frames,
                [
                    _line_hour(plant, trackers[line], hour, found, clocks[line], frames[line], whole)
                    for line, found in mine.items()
                ],
            )


class _Clock:
    """The lehr time by moment of inspection, from rows by hour."""

    def __init__(self, plant: Plant, line: str, hours: pl.DataFrame):
        self.plant, self.line, self.hours = plant, line, hours
        self.told: dict[datetime, LehrTime] = {}

    def __call__(self, moment: datetime) -> LehrTime:
        hour = moment.replace(minute=0, second=0, microsecond=0)
        if hour not in self.told:
            self.told[hour] = lehr_of_hours(self.plant, self.line, self.hours, moment, moment + timedelta(minutes=1))
        return self.told[hour]


def _line_hour(
    plant: Plant, tracker: Tracker, hour: int, found: Sequence[Found], clock: _Clock, frames: LineFrames, whole: bool
) -> LineHour:
    counts = tracker.counts
    now = min((hour + 1) * tracker.past.per_hour, counts.bins)
    at = counts.moment(hour * tracker.past.per_hour)
    signals = [tell(plant, tracker, signal, now, clock, frames.logs) for signal in found]
    if not whole:
        return LineHour(counts.line, at, signals, pl.DataFrame(), pl.DataFrame(), [])
    end = counts.moment(now)
    here = (pl.col("window_start") >= at) & (pl.col("window_start") < end)
    known = [s for s in signals if s.ended is None or s.ended > at]
    signals += critical_calls(plant, counts.line, frames.calls.filter(here), frames.ware.filter(here), clock, known)
    expected, cells = hour_expectations(tracker, hour), cell_expectations(tracker, hour)
    return LineHour(counts.line, at, signals, expected, cells, hour_doubts(tracker, hour))


def answer_signals(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> list[Signal]:
    """The signals of [span.start, span.end) as they stand at its end: open in it or closed in it, the most harmful
    first.

    Followed anew from the minutes, at any minute; names and acknowledgements are those of the signals already kept.
    WrongUse for an unknown line.
    """
    if line is not None:
        check_line(plant, line)
    furnaces = [plant.lines[line].furnace] if line is not None else [f.id for f in plant.furnace]
    signals: list[Signal] = []
    for furnace in furnaces:
        signals += [signal for signal in _of_furnace(reader, plant, furnace, span) if line in (None, signal.line)]
    mine = [
        signal
        for signal in signals
        if signal.kind == CRITICAL_CALL or signal.ended is None or signal.ended > span.start
    ]
    kept = kept_signals(reader, span.start - timedelta(days=2), span.end + HOUR)
    return ranked(with_notes(reader, named_as_kept(mine, kept)))


def _of_furnace(reader: Reader, plant: Plant, furnace: str, span: Span) -> list[Signal]:
    """Every excess of the furnace's lines as it last stood, and the critical calls that no excess tells of."""
    signals: dict[str, Signal] = {}
    frames: dict[str, LineFrames] = {}
    estimate = not _has_lehr(reader, plant, furnace, span)
    for now, hours in follow_furnace(reader, plant, furnace, span, ASKED_LEAD, estimate, whole=False):
        frames = now
        signals |= {signal.id: signal for here in hours for signal in here.signals if signal.kind != CRITICAL_CALL}
    here = pl.col("window_start").is_between(span.start, span.end, closed="left")
    critical = []
    for line, frame in frames.items():
        clock = _Clock(plant, line, frame.lehr)
        known = [
            signal
            for signal in signals.values()
            if signal.line == line and (signal.ended is None or signal.ended > span.start)
        ]
        critical += critical_calls(plant, line, frame.calls.filter(here), frame.ware.filter(here), clock, known)
    return [*signals.values(), *critical]


def _has_lehr(reader: Reader, plant: Plant, furnace: str, span: Span) -> bool:
    lines = [line.id for line in plant.lines_of(furnace)]
    moments = {"from_time": span.start - timedelta(hours=6), "to_time": span.end}
    return all(reader.ask("lehr_hours_of_line", line=line, **moments).height for line in lines)


def kept_signals(reader: Reader, start: datetime, end: datetime, lines: Sequence[str] | None = None) -> list[Signal]:
    """Signals as they last stood in the hours of [start, end), as the intakes kept them; of all lines unless told
    otherwise.
    """
    rows = reader.ask("signals_at", from_time=start, to_time=end)
    mine = rows if lines is None else rows.filter(pl.col("line").is_in(lines))
    return [recalled_signal(Signal.model_validate_json(text)) for text in mine["told"]]


def named_as_kept(signals: Sequence[Signal], kept: Sequence[Signal]) -> list[Signal]:
    """The signals under the names they were first kept with: same line and defect, places that share something, times
    that overlap.
    """
    found, used = [], set()
    for signal in sorted(signals, key=lambda s: s.raised):
        same = [
            k
            for k in kept
            if k.kind == signal.kind
            and (k.line, k.defect) == (signal.line, signal.defect)
            and k.id not in used
            and _overlaps(k, signal)
        ]
        best = min(same, key=lambda k: (k.id != signal.id, abs(k.raised - signal.raised)), default=None)
        used.add(best.id if best else signal.id)
        found.append(
            signal
            if best is None
            else signal.model_copy(update={"id": best.id, "raised": min(best.raised, signal.raised)})
        )
    return found


def _overlaps(kept: Signal, signal: Signal) -> bool:
    late = timedelta(hours=3)
    times = (
        signal.raised <= (kept.ended or signal.raised) + late and kept.raised <= (signal.ended or kept.raised) + late
    )
    if kept.scope == "station" or signal.scope == "station":
        return times and kept.scope == signal.scope and kept.members == signal.members
    whole = {kept.scope, signal.scope} & {"line", "furnace"}
    return times and bool(whole or set(kept.cavities) & set(signal.cavities) or set(kept.moulds) & set(signal.moulds))


def with_notes(reader: Reader, signals: Sequence[Signal]) -> list[Signal]:
    """The signals with who last acknowledged them."""
    rows = reader.ask("acknowledgements_of")
    last = {row["signal"]: row for row in rows.iter_rows(named=True)}
    return [
        signal
        if signal.id not in last
        else signal.model_copy(
            update={
                "acknowledged_by": last[signal.id]["by_whom"],
                "acknowledged_at": last[signal.id]["acknowledged_at"],
                "note": last[signal.id]["note"],
            }
        )
        for signal in signals
    ]


def ranked(signals: Sequence[Signal]) -> list[Signal]:
    """Critical first, then open before closed before what only passed, then by containers lost an hour."""
    return sorted(
        signals, key=lambda s: (s.severity != "critical", s.passed, s.ended is not None, -s.lost_per_hour, s.id)
    )


def answer_doubts(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> list[tuple[str, datetime, str]]:
    """What of a window could not be judged, and why: line, the first hour it holds for, a sentence."""
    moments: dict[tuple[str, str], datetime] = {}
    for text in [line] if line is not None else list(plant.lines):
        rows = reader.ask("doubts_of_line", line=text, from_time=span.start - HOUR, to_time=span.end)
        for hour, doubt in rows.iter_rows():
            if hour + HOUR > span.start:
                moments.setdefault((text, doubt), hour)
    return [(each, hour, recalled_doubt(doubt)) for (each, doubt), hour in moments.items()]


def unheard_lines(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> list[tuple[str, datetime, str]]:
    """The lines of which no count reaches into a window, as `answer_doubts` tells what could not be judged."""
    asked = {"from_time": span.start, "to_time": span.end}
    return [
        (text, span.start, NOTHING_CAME)
        for text in ([line] if line is not None else plant.lines)
        if reader.ask("coverage", line=text, **asked).is_empty()
    ]


def hour_signals(reader: Reader, line: str, span: Span) -> tuple[list[Signal], list[str]]:
    """A line's signals as they stood at the end of an hour, and what of it could not be judged; from what was kept."""
    kept = kept_signals(reader, span.start, span.end, [line])
    doubts = reader.ask("doubts_of_line", line=line, from_time=span.start, to_time=span.end)
    said = doubts["doubt"].unique(maintain_order=True)
    return ranked(with_notes(reader, kept)), [recalled_doubt(text) for text in said]
