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
from pipelines.measures.signals.tell import CRITICAL_CALL, Logs, critical_calls, tell
from pipelines.measures.signals.track import Tracker
from pipelines.plant.works import Plant
from schemas.answers.signals import Signal

PAST = timedelta(hours=PAST_HOURS)
LEAD = timedelta(hours=12)  # followed before what is asked for, so that signals open then are known
ASKED_LEAD = timedelta(hours=8)
HOUR = timedelta(hours=1)
NOTHING_CAME = "nothing came: no count reaches into this time, and nothing of it could be judged."


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
    told = {"line": line, "from_time": span.start, "to_time": span.end}
    formed = {"line": line, "from_time": span.start - back, "to_time": span.end}
    ware = reader.ask("ware_by_window", **told)
    spans = reader.ask("mould_spans_of_line", **formed)
    stoppages = reader.ask("stoppages_of_line", **formed)
    logs = Logs(reader.ask("fittings_of_line", **formed), stoppages, reader.ask("jobs_of_line", **formed))
    if estimate:
        lehr = _estimated(reader, plant, line, span, ware, spans, stoppages)
    else:
        lehr = reader.ask("lehr_hours_of_line", line=line, from_time=span.start, to_time=span.end)
    return LineFrames(faults(plant, reader.ask("calls_by_window", **told)), ware, spans, logs, lehr, span)


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
    for line, told in frames.items():
        lehr[line] = lehr_of_hours(plant, line, told.lehr, asked.start, asked.end).minutes
        counts[line] = line_counts(
            plant, line, (window.start, window.end), told.calls, told.ware, told.spans, told.logs.jobs, lehr[line]
        )
    clocks = {line: _Clock(plant, line, told.lehr) for line, told in frames.items()}
    skipped, last = int((asked.start - start) / HOUR), -int((start - asked.end) // HOUR) - 1
    for hour, trackers, states in follow_lines(plant, counts, int(PAST / HOUR), lehr):
        if hour >= skipped:
            mine = {
                line: [one for one in found if whole or one.ended is not None or hour >= last]
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
    signals = [tell(plant, tracker, one, now, clock, frames.logs) for one in found]
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
    told: list[Signal] = []
    for furnace in furnaces:
        told += [one for one in _of_furnace(reader, plant, furnace, span) if line in (None, one.line)]
    mine = [one for one in told if one.kind == CRITICAL_CALL or one.ended is None or one.ended > span.start]
    kept = kept_signals(reader, span.start - timedelta(days=2), span.end + HOUR)
    return ranked(with_notes(reader, named_as_kept(mine, kept)))


def _of_furnace(reader: Reader, plant: Plant, furnace: str, span: Span) -> list[Signal]:
    """Every excess of the furnace's lines as it last stood, and the critical calls that no excess tells of."""
    told: dict[str, Signal] = {}
    frames: dict[str, LineFrames] = {}
    estimate = not _has_lehr(reader, plant, furnace, span)
    for now, hours in follow_furnace(reader, plant, furnace, span, ASKED_LEAD, estimate, whole=False):
        frames = now
        told |= {one.id: one for here in hours for one in here.signals if one.kind != CRITICAL_CALL}
    here = pl.col("window_start").is_between(span.start, span.end, closed="left")
    critical = []
    for line, frame in frames.items():
        clock = _Clock(plant, line, frame.lehr)
        known = [one for one in told.values() if one.line == line and (one.ended is None or one.ended > span.start)]
        critical += critical_calls(plant, line, frame.calls.filter(here), frame.ware.filter(here), clock, known)
    return [*told.values(), *critical]


def _has_lehr(reader: Reader, plant: Plant, furnace: str, span: Span) -> bool:
    lines = [line.id for line in plant.lines_of(furnace)]
    told = {"from_time": span.start - timedelta(hours=6), "to_time": span.end}
    return all(reader.ask("lehr_hours_of_line", line=line, **told).height for line in lines)


def kept_signals(reader: Reader, start: datetime, end: datetime, lines: Sequence[str] | None = None) -> list[Signal]:
    """Signals as they last stood in the hours of [start, end), as the intakes kept them; of all lines unless told
    otherwise.
    """
    rows = reader.ask("signals_at", from_time=start, to_time=end)
    mine = rows if lines is None else rows.filter(pl.col("line").is_in(lines))
    return [Signal.model_validate_json(text) for text in mine["told"]]


def named_as_kept(signals: Sequence[Signal], kept: Sequence[Signal]) -> list[Signal]:
    """The signals under the names they were first kept with: same line and defect, places that share something, times
    that overlap.
    """
    told, used = [], set()
    for one in sorted(signals, key=lambda s: s.raised):
        same = [
            k
            for k in kept
            if k.kind == one.kind
            and (k.line, k.defect) == (one.line, one.defect)
            and k.id not in used
            and _overlaps(k, one)
        ]
        best = min(same, key=lambda k: (k.id != one.id, abs(k.raised - one.raised)), default=None)
        used.add(best.id if best else one.id)
        told.append(
            one if best is None else one.model_copy(update={"id": best.id, "raised": min(best.raised, one.raised)})
        )
    return told


def _overlaps(kept: Signal, one: Signal) -> bool:
    late = timedelta(hours=3)
    times = one.raised <= (kept.ended or one.raised) + late and kept.raised <= (one.ended or kept.raised) + late
    if kept.scope == "station" or one.scope == "station":
        return times and kept.scope == one.scope and kept.members == one.members
    whole = {kept.scope, one.scope} & {"line", "furnace"}
    return times and bool(whole or set(kept.cavities) & set(one.cavities) or set(kept.moulds) & set(one.moulds))


def with_notes(reader: Reader, signals: Sequence[Signal]) -> list[Signal]:
    """The signals with who last acknowledged them."""
    rows = reader.ask("acknowledgements_of")
    last = {row["signal"]: row for row in rows.iter_rows(named=True)}
    return [
        one
        if one.id not in last
        else one.model_copy(
            update={
                "acknowledged_by": last[one.id]["by_whom"],
                "acknowledged_at": last[one.id]["acknowledged_at"],
                "note": last[one.id]["note"],
            }
        )
        for one in signals
    ]


def ranked(signals: Sequence[Signal]) -> list[Signal]:
    """Critical first, then open before closed before what only passed, then by containers lost an hour."""
    return sorted(
        signals, key=lambda s: (s.severity != "critical", s.passed, s.ended is not None, -s.lost_per_hour, s.id)
    )


def answer_doubts(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> list[tuple[str, datetime, str]]:
    """What of a window could not be judged, and why: line, the first hour it holds for, a sentence."""
    told: dict[tuple[str, str], datetime] = {}
    for one in [line] if line is not None else list(plant.lines):
        rows = reader.ask("doubts_of_line", line=one, from_time=span.start - HOUR, to_time=span.end)
        for hour, doubt in rows.iter_rows():
            if hour + HOUR > span.start:
                told.setdefault((one, doubt), hour)
    return [(one, hour, doubt) for (one, doubt), hour in told.items()]


def unheard_lines(reader: Reader, plant: Plant, span: Span, line: str | None = None) -> list[tuple[str, datetime, str]]:
    """The lines of which no count reaches into a window, as `answer_doubts` tells what could not be judged."""
    asked = {"from_time": span.start, "to_time": span.end}
    return [
        (one, span.start, NOTHING_CAME)
        for one in ([line] if line is not None else plant.lines)
        if reader.ask("coverage", line=one, **asked).is_empty()
    ]


def hour_signals(reader: Reader, line: str, span: Span) -> tuple[list[Signal], list[str]]:
    """A line's signals as they stood at the end of an hour, and what of it could not be judged; from what was kept."""
    kept = kept_signals(reader, span.start, span.end, [line])
    doubts = reader.ask("doubts_of_line", line=line, from_time=span.start, to_time=span.end)
    return ranked(with_notes(reader, kept)), doubts["doubt"].unique(maintain_order=True).to_list()
