"""Working signals, lehr times and expectations out for the days that feeds touched, and keeping them by hour."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import polars as pl

from pipelines.answers.counted_span import counted_spans, days_with_counts, last_count
from pipelines.answers.signals import HOUR, LEAD, LineHour, follow_furnace, kept_signals, named_as_kept
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.jobs.pool import side_by_side
from pipelines.ledger import Reader
from pipelines.ledger.marts import acknowledge, keep_hours
from pipelines.measures.lehr.lehr_time import LEHR_SCHEMA
from pipelines.measures.signals.acts import of_one_cause
from pipelines.measures.signals.cells import CELLS, blocks_of_cells
from pipelines.measures.signals.expected import SCHEMA
from pipelines.measures.signals.sentences import recalled_signal
from pipelines.measures.signals.tell import CRITICAL_CALL
from pipelines.plant.works import Plant
from pipelines.site.folder import OpenSite
from schemas.answers.signals import Signal

_HOUR: dict[str, pl.DataType | type[pl.DataType]] = {"line": pl.String, "hour": pl.Datetime("us", "UTC")}
_SCHEMAS: dict[str, dict[str, pl.DataType | type[pl.DataType]]] = {
    "expected_hours": _HOUR | SCHEMA,
    "expected_cells": _HOUR | CELLS,
    "signal_hours": _HOUR | {"signal": pl.String, "told": pl.String},
    "hour_doubts": _HOUR | {"doubt": pl.String},
    "lehr_hours": _HOUR | {name: kind for name, kind in LEHR_SCHEMA.items() if name != "hour"},
}


def days_to_follow(plant: Plant, moments: Iterable[datetime]) -> list[date]:
    """The production days whose signals counts of these moments change: their own and the next, whose beginning leans
    on them.
    """
    touched = {plant.clock.day_of(moment) for moment in moments}
    return sorted(touched | {day + timedelta(days=1) for day in touched})


QUIET_DAYS = 8  # a day with counts and the week after it: so long signals may stay open without any


def days_behind(opened: OpenSite) -> list[date]:
    """Production days with counts, or not long after some, that were never followed: after a run that was killed, or in
    a ledger of an older version.

    The first row of a line can be of a clock that stood at its beginning: of the years until the second nothing is to
    be followed.
    """
    with opened.ledger.reading() as reader:
        spans, done = counted_spans(reader, list(opened.known.lines)), dict(reader.ask("last_followed").iter_rows())
        days: set[date] = set()
        for line, span in spans.items():
            after = done[line] + HOUR if line in done else span.start
            if after < span.end:
                days |= set(opened.known.clock.days_between(after, span.end))
        if len(days) <= QUIET_DAYS:
            return sorted(days)
        before = {min(days) - timedelta(days=number) for number in range(1, QUIET_DAYS)}
        counted = days_with_counts(reader, opened.known, sorted(days | before))
    return sorted(days & {day + timedelta(days=number) for day in counted for number in range(QUIET_DAYS)})


AT_ONCE = 8  # days followed side by side before what was found is written: a writer and readers keep each other waiting


@dataclass(frozen=True)
class FollowedDay:
    """A furnace's lines followed through a production day: their hours, and the marts that need no other day."""

    lines: list[str]
    span: Span
    hours: list[LineHour]
    marts: dict[str, pl.DataFrame]


def refresh_signals(opened: OpenSite, days: Sequence[date]) -> int:
    """Follow every line through these production days and keep what was found, hour by hour; how many line-hours.

    A day is always worked out from the same hours before it, so that its answers depend on the ledger alone and not on
    which files came together. Days are followed side by side; the names of signals are carried on in their order.
    """
    done = 0
    for start in range(0, len(days), AT_ONCE):
        part = days[start : start + AT_ONCE]
        jobs = [(furnace.id, day) for day in part for furnace in opened.known.furnace]
        for followed_day in list(side_by_side(opened, _follow, jobs, many=4)):  # all read before the first is written
            done += _keep(opened, followed_day)
    return done


def _keep(opened: OpenSite, followed_day: FollowedDay) -> int:
    """Keep a furnace's day under the names that its signals had before; how many line-hours."""
    if followed_day.hours:
        with opened.ledger.reading() as reader:
            before = kept_signals(
                reader, followed_day.span.start - timedelta(hours=26), followed_day.span.end, followed_day.lines
            )
        marts = {"signal_hours": signal_rows(followed_day.hours, before), **followed_day.marts}
        keep_hours(opened.ledger, marts, followed_day.lines, followed_day.span.start, followed_day.span.end)
    return len(followed_day.hours)


def _follow(opened: OpenSite, plant: Plant, job: tuple[str, date]) -> FollowedDay:
    with opened.ledger.reading() as reader:
        return followed(reader, plant, job[0], plant.clock.day(job[1]))


def followed(reader: Reader, plant: Plant, furnace: str, day: Span) -> FollowedDay:
    """A furnace's lines over a production day, as far as counts have come."""
    lines = [line.id for line in plant.lines_of(furnace)]
    last = last_count(reader, lines)
    if last is None or last <= day.start:
        return FollowedDay(lines, day, [], {})
    end = min(day.end, day.start + HOUR * -(-int((last - day.start).total_seconds()) // 3600))
    span = Span(day.start, end)
    hours: list[LineHour] = []
    lehr: dict[str, pl.DataFrame] = {}
    for frames, here in follow_furnace(reader, plant, furnace, span, LEAD):
        hours += here
        lehr = {line: line_frames.lehr for line, line_frames in frames.items()}
    marts = {
        "expected_hours": _expected_rows(hours),
        "expected_cells": _cell_rows(hours, span.start),
        "hour_doubts": _frame("hour_doubts", [(h.line, h.hour, doubt) for h in hours for doubt in h.doubts]),
        "lehr_hours": _lehr_rows(lehr, span),
    }
    return FollowedDay(lines, day, hours, marts)


def carry_names(rows: pl.DataFrame) -> list[Signal]:
    """The signals of a day as the next one takes their names on: each as it last stood."""
    if rows.is_empty():
        return []
    last = rows.sort("hour").unique("signal", keep="last", maintain_order=True).sort("line", "signal")
    return [Signal.model_validate_json(text) for text in last["told"]]


def _expected_rows(hours: Sequence[LineHour]) -> pl.DataFrame:
    parts = [
        h.expected.select(pl.lit(h.line).alias("line"), pl.lit(h.hour).dt.cast_time_unit("us").alias("hour"), pl.all())
        for h in hours
    ]
    return pl.concat([_frame("expected_hours", []), *parts])


def _cell_rows(hours: Sequence[LineHour], start: datetime) -> pl.DataFrame:
    by_line: dict[str, list[pl.DataFrame]] = {}
    for h in hours:
        if h.cells.height:
            at = pl.lit(h.hour).dt.cast_time_unit("us").alias("hour")
            by_line.setdefault(h.line, []).append(h.cells.select(at, pl.all()))
    parts = [
        blocks_of_cells(pl.concat(frames), start).select(pl.lit(line).alias("line"), pl.all())
        for line, frames in by_line.items()
    ]
    return pl.concat([_frame("expected_cells", []), *parts])


def empty_marts() -> dict[str, pl.DataFrame]:
    """Every mart without a row: its columns and their types."""
    return {name: _frame(name, []) for name in _SCHEMAS}


def _frame(name: str, rows: Sequence[tuple[object, ...]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=_SCHEMAS[name], orient="row")


def signal_rows(hours: Sequence[LineHour], before: Sequence[Signal]) -> pl.DataFrame:
    """Signals under the names they were kept with before, the day before or at an earlier intake, where they are the
    same.
    """
    every = {s.id: s for h in hours for s in h.signals if s.kind != CRITICAL_CALL}
    open_before = [
        k for k in before if k.ended is None or k.ended > min((h.hour for h in hours), default=k.raised) - HOUR
    ]
    found = sorted(every.values(), key=lambda s: s.raised)
    kept = {s.id: named for s, named in zip(found, named_as_kept(found, open_before), strict=True)}
    rows = []
    for h in hours:
        for s in h.signals:
            signal = s if s.id not in kept else s.model_copy(update={"id": kept[s.id].id, "raised": kept[s.id].raised})
            rows.append((h.line, h.hour, signal.id, signal.model_dump_json(by_alias=True)))
    return _frame("signal_hours", rows)


def _lehr_rows(lehr: dict[str, pl.DataFrame], span: Span) -> pl.DataFrame:
    parts = [
        frame.filter((pl.col("hour") >= span.start) & (pl.col("hour") < span.end)).select(
            pl.lit(line).alias("line"), pl.all()
        )
        for line, frame in lehr.items()
    ]
    return pl.concat([_frame("lehr_hours", []), *parts])


def acknowledge_signal(opened: OpenSite, signal: str, by: str, note: str) -> None:
    """Keep who has seen a signal and what was said; of a furnace's it counts for all its lines on which it is open.
    WrongUse for an unknown signal or an empty name.
    """
    if not by.strip():
        raise WrongUse("say who has seen the signal: --by NAME")
    with opened.ledger.reading() as reader:
        hours = reader.ask("signal_by_name", signal=signal)
        if hours.is_empty():
            raise WrongUse(f"there is no signal '{signal}'; `coldledger signals` lists them with their names")
        last = hours.row(-1, named=True)
        newest = recalled_signal(Signal.model_validate_json(last["told"]))
        same = of_one_cause(newest, kept_signals(reader, last["hour"], last["hour"] + HOUR))
    for name in (signal, *(other.id for other in same)):
        acknowledge(opened.ledger, name, by.strip(), note.strip(), opened.settings.now())
