"""All lines at a glance: rejects of the hour against what was expected, the worst signal, whether the feeds live."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from pipelines.answers.breakages import LATELY, Breakage, answer_breakages
from pipelines.answers.lately import LOOKED_AT, Lately, answer_lately
from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.line_times import answer_series
from pipelines.answers.pareto import job_began
from pipelines.answers.signals import kept_signals, ranked, with_notes
from pipelines.answers.trace.trust import by_harm, is_usual, vouching
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.calls_in_time import CallsInTime
from pipelines.measures.pareto.hour_figures import CriticalCount, Pulse, StationLife, alive, critical_counts, pulse
from pipelines.measures.trace.trust import FAILED, OVERDUE, Doubt
from pipelines.plant.works import Plant
from schemas.answers.signals import Signal

LOOK_BACK = timedelta(days=2)
HOUR = timedelta(hours=1)
CHALLENGED = timedelta(hours=24)  # so far back challenges are looked for
LATELY_S, STEP_S = 12 * 3600, 1800  # what is drawn of each line, and its bins


@dataclass(frozen=True)
class LineNow:
    """One line as it stands. span: the hour shown, as far as its counts reach; None where nothing came within LOOK_BACK
    of the newest count.
    job_from: since when, by the cold-end clock, its job runs. critical: its critical defects in that hour. lately: its
    calls of the last hours; lehr: its lehr time. challenged: when a critical defect was last challenged within
    CHALLENGED."""

    line: str
    span: Span | None
    pulse: Pulse | None
    signals: list[Signal]
    stations: list[StationLife]
    job_from: datetime | None = None
    critical: tuple[CriticalCount, ...] = ()
    lately: CallsInTime | None = None
    lehr: LehrTime | None = None
    challenged: datetime | None = None

    @property
    def open_signals(self) -> list[Signal]:
        return [signal for signal in self.signals if signal.kind == "excess" and signal.ended is None]

    @property
    def critical_calls(self) -> list[Signal]:
        return [signal for signal in self.signals if signal.kind != "excess"]


@dataclass(frozen=True)
class Now:
    """The works at `at`; newest: the end of the newest window of counts; asked: the queries behind it;
    breakages: those of the last hours; failed, overdue: stations in doubt for a critical defect since then, the
    likeliest failures first, without what is usual of them. lately: what else is outside its limits or waits."""

    at: datetime
    newest: datetime | None
    lines: list[LineNow]
    waiting: tuple[int, int]
    asked: frozenset[str] = frozenset()
    breakages: tuple[Breakage, ...] = ()
    failed: tuple[Doubt, ...] = ()
    overdue: tuple[Doubt, ...] = ()
    lately: Lately | None = None


def newest_count(reader: Reader) -> datetime | None:
    """When the newest window of cold-end counts begins."""
    moment: datetime | None = reader.ask("newest_counts").item()
    return moment


def answer_now(reader: Reader, plant: Plant, now: datetime, whole: bool = True) -> Now:
    """Every line in its newest hour. whole: with its last hours, its critical calls and challenges, and with the
    stations in doubt.
    """
    reader = reader.noting()
    this_heard = heard(reader, plant, now)
    waiting = reader.ask("open_refusals_count").row(0)
    known = this_heard.stations(plant, now)
    lines = [_line(reader, plant, line, [each for each in known if each.line == line]) for line in plant.lines]
    newest = this_heard.newest
    if whole and newest is not None:
        lines = [_drawn(reader, plant, line, newest) for line in lines]
    broke = tuple(answer_breakages(reader, plant, Span(now - LATELY, now), now))
    doubts = _doubts(reader, plant, newest) if whole and newest is not None else []
    lehr = {line.line: line.lehr.minutes for line in lines if line.lehr is not None}
    lately = answer_lately(reader, plant, Span(now - LOOKED_AT, now), lehr) if whole else None
    return Now(
        at=now,
        newest=newest,
        lines=lines,
        waiting=(int(waiting[0]), int(waiting[1])),
        asked=frozenset(reader.asked),
        breakages=broke,
        failed=tuple(doubt for doubt in doubts if doubt.why == FAILED),
        overdue=tuple(doubt for doubt in doubts if doubt.why == OVERDUE),
        lately=lately,
    )


def _doubts(reader: Reader, plant: Plant, until: datetime) -> list[Doubt]:
    """The stretches in doubt for a critical defect that no good challenge has ended yet, but what is usual."""
    known = vouching(reader, plant, Span(until - HOUR, until))
    going_on = [
        doubt
        for doubt in known.doubts
        if doubt.defect in plant.critical and doubt.end is None and doubt.holds(until - HOUR, until)
    ]
    return [doubt for doubt in by_harm(known, going_on) if not is_usual(known, doubt)]


@dataclass(frozen=True)
class Heard:
    """What the stations last said, from which their states follow at any later moment. newest: the end of the newest
    window of all; windows: by station, the end of its last one; otherwise: by station without windows, by feed, until
    when.
    """

    newest: datetime | None
    windows: Mapping[str, datetime]
    otherwise: Mapping[str, Mapping[str, datetime]]

    def stations(self, plant: Plant, now: datetime) -> list[StationLife]:
        """Every station of works.toml and how long it has been silent at `now`."""
        return alive([(s.line, s.id) for s in plant.station], self.windows, now, self.otherwise)


def heard(reader: Reader, plant: Plant, now: datetime, at: datetime | None = None) -> Heard:
    """What came last of each station, looked for no further back than LOOK_BACK before the newest count, or before
    `at`.
    """
    begun = newest_count(reader)
    since = (at or begun or now) - LOOK_BACK
    rows = reader.ask("last_windows", from_time=since)
    last = {row["station"]: row["last_window"] for row in rows.iter_rows(named=True)}
    return Heard(max(last.values(), default=begun), last, heard_otherwise(reader, plant, last, since))


def stations_alive(reader: Reader, plant: Plant, now: datetime, at: datetime | None = None) -> list[StationLife]:
    """Every station of works.toml and how long it has been silent; looked for before `at` where that is told."""
    return heard(reader, plant, now, at).stations(plant, now)


def heard_otherwise(
    reader: Reader, plant: Plant, windows: Collection[str], since: datetime
) -> dict[str, dict[str, datetime]]:
    """What the stations that are not among `windows` send instead of counts by window since a moment: by station and
    feed, until when.
    """
    silent = [station for station in plant.stations if station not in windows]
    moments: dict[str, dict[str, datetime]] = {}
    for row in reader.ask("heard_otherwise", from_time=since, stations=silent).iter_rows(named=True) if silent else ():
        moments.setdefault(row["station"], {})[row["feed"]] = row["heard"]
    return moments


def hour_of_line(plant: Plant, stations: list[StationLife]) -> Span | None:
    """The newest hour of a line, as far as its counts reach."""
    last = max((station.last for station in stations if station.last is not None), default=None)
    if last is None:
        return None
    hour = plant.clock.hour_of(last - timedelta(microseconds=1))
    return Span(hour.start, min(hour.end, last))


def newest_hour(reader: Reader, plant: Plant, line: str, now: datetime) -> Span | None:
    """The newest hour of a line as far as its counts reach, asked of the ledger; None where it has none."""
    return hour_of_line(plant, [station for station in stations_alive(reader, plant, now) if station.line == line])


def _line(reader: Reader, plant: Plant, line: str, stations: list[StationLife]) -> LineNow:
    span = hour_of_line(plant, stations)
    if span is None:
        return LineNow(line, None, None, [], stations)
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    hour = plant.clock.hour_of(span.start)
    kept = kept_signals(reader, hour.start, hour.end, [line]) or kept_signals(
        reader, hour.start - HOUR, hour.start, [line]
    )
    calls, ware = reader.ask("calls", **row), reader.ask("ware", **row)
    should = reader.ask("expected_of_line", **row)
    beat = pulse(plant, line, span.seconds, calls, ware, should)
    signals = ranked(with_notes(reader, [signal for signal in kept if _of_now(signal, span)]))
    critical = tuple(critical_counts(plant, calls, should, span.seconds))
    return LineNow(line, span, beat, signals, stations, job_began(reader, plant, line, span.start), critical)


def _drawn(reader: Reader, plant: Plant, line: LineNow, newest: datetime) -> LineNow:
    """A line with its last hours, as far as counts of it came."""
    if line.span is None:
        return line
    return replace(
        line,
        lately=answer_series(reader, plant, line.line, drawn_span(newest), STEP_S),
        lehr=lehr_time(reader, plant, line.line, line.span),
        challenged=_challenged(reader, plant, line.line, newest),
    )


def drawn_span(newest: datetime) -> Span:
    """The last hours up to the newest count, from a half hour of the clock on."""
    return Span(newest - timedelta(seconds=LATELY_S - STEP_S + newest.timestamp() % STEP_S), newest)


def _challenged(reader: Reader, plant: Plant, line: str, until: datetime) -> datetime | None:
    """When one of a line's stations was last challenged with a critical defect, within CHALLENGED."""
    rows = reader.ask("challenges_of_line", line=line, from_time=until - CHALLENGED, to_time=until, defect=None)
    times = (at for code, at in rows.select("defect", "checked_at").iter_rows() if code in plant.critical)
    return max(times, default=None)


def _of_now(signal: Signal, span: Span) -> bool:
    return signal.ended is None or signal.ended > span.start
