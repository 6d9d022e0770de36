"""Working from an export instead of the ledger: marts of many days, and questions to several works, here or on other
machines. The same code, the same answers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import polars as pl
import pyarrow as pa

from pipelines.answers.counted_span import counted_span
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.works import WorksPart
from pipelines.clock import Span
from pipelines.jobs.signals import FollowedDay, carry_names, empty_marts, followed, signal_rows
from pipelines.ledger.export import (
    MARTS,
    ExportPlace,
    around,
    days_of,
    export_tables,
    place_at,
    reading_export,
    works_of,
    write_columns_of,
    write_mart,
)
from pipelines.plant.works import Plant, read_plant
from pipelines.site.folder import OpenSite
from schemas.answers.signals import Signal

Fan = Callable[
    [Callable[[Any], Any], Sequence[Any]], Iterable[Any]
]  # gives what a function makes of each job, in their order
BEFORE, AFTER = 4, 1  # days about one that following it reads: 60 hours before it, and its last windows


def in_order(work: Callable[[Any], Any], jobs: Sequence[Any]) -> Iterable[Any]:
    """One job after the other, in this process."""
    return map(work, jobs)


def export_site(opened: OpenSite, to: str, first: date | None, last: date | None) -> dict[str, int]:
    """Write a site's facts and marts as Parquet: all days, or those from `first` to `last`. Rows by table."""
    plant = opened.known
    with opened.ledger.reading() as reader:
        span, time = counted_span(reader, list(plant.lines)), timedelta(days=1)
        days = plant.clock.days_between(span.start - time, span.end + time) if span is not None else []
        days = [day for day in days if (first is None or day >= first) and (last is None or day <= last)]
        text = opened.site.works_toml.read_text(encoding="utf-8")
        return export_tables(reader, plant.clock, text, days, place_at(to))


@dataclass(frozen=True)
class FurnaceDay:
    """One unit of work: a production day of the lines of a furnace, which are followed together because a fault of the
    glass shows on all of them.
    """

    source: str
    furnace: str
    day: date


def followed_of(job: FurnaceDay) -> FollowedDay:
    """The unit's hours and marts, from an export. A function of a module, so that another process or machine can be
    sent it.
    """
    place = place_at(job.source)
    plant = read_plant(works_of(place))
    lines = [line.id for line in plant.lines_of(job.furnace)]
    with reading_export(place, around([job.day], BEFORE, AFTER), lines, but=MARTS) as reader:
        return followed(reader, plant, job.furnace, plant.clock.day(job.day))


def marts_elsewhere(source: str, to: str, days: Sequence[date], fan: Fan = in_order) -> dict[str, int]:
    """Marts of some days, worked out from an export by `fan` and written as Parquet by this process alone, so that
    nothing depends on who worked. Rows by mart.

    Names of signals are carried on in the order of the days, as the ledger does it.
    """
    place, out = place_at(source), place_at(to)
    plant = read_plant(works_of(place))
    jobs = [FurnaceDay(source, furnace.id, day) for day in days for furnace in plant.furnace]
    before: dict[str, list[Signal]] = {}
    rows = dict.fromkeys(MARTS, 0)
    today: dict[str, list[pl.DataFrame]] = {name: [] for name in MARTS}
    for job, each in zip(jobs, fan(followed_of, jobs), strict=True):
        signals = signal_rows(each.hours, before.get(job.furnace, []))
        before[job.furnace] = carry_names(signals)
        for name, frame in {**each.marts, "signal_hours": signals}.items():
            today[name].append(frame)
        if job.furnace == plant.furnace[-1].id:
            for name, count in _write_day(out, job.day, today).items():
                rows[name] += count
            today = {name: [] for name in MARTS}
    write_columns_of(out, {name: _arrow(frame).schema for name, frame in empty_marts().items()})
    return rows


def _write_day(out: ExportPlace, day: date, parts: dict[str, list[pl.DataFrame]]) -> dict[str, int]:
    counts = {}
    for name, frames in parts.items():
        known = [frame for frame in frames if frame.width]
        whole = pl.concat(known) if known else pl.DataFrame()
        counts[name] = whole.height
        if whole.height:
            write_mart(out, name, day, _arrow(whole.sort(whole.columns)))
    return counts


def _arrow(frame: pl.DataFrame) -> pa.Table:
    return frame.to_arrow(compat_level=pl.CompatLevel.oldest())


@dataclass(frozen=True)
class WorksDay:
    """One unit of a question to several works: a production day (or the part of it that is asked for) of one line."""

    source: str
    line: str
    by: str
    span: Span
    days: tuple[date, ...]


def pareto_of(job: WorksDay) -> WorksPart:
    """The unit's calls and ware. A function of a module, so that another process or machine can be sent it."""
    place = place_at(job.source)
    plant = read_plant(works_of(place))
    with reading_export(place, job.days, [job.line], but=MARTS) as reader:
        pareto = answer_pareto(reader, plant, job.line, job.span, job.by)
    return WorksPart(job.source, plant.works.name, job.line, pareto)


def parts_of_works(
    sources: Sequence[str],
    start: str,
    end: str,
    by: str,
    line: str | None,
    fan: Fan,
    read: Callable[[str, str, Plant], Span],
) -> list[WorksPart]:
    """What every line of every works says of a window, by the units of work. read: the times of the question as a span
    by that works' own clock.
    """
    jobs = []
    for source in sources:
        place = place_at(source)
        plant, known = read_plant(works_of(place)), set(days_of(place))
        span = read(start, end, plant)
        for day in plant.clock.days_between(span.start, span.end):
            whole = plant.clock.day(day)
            part = Span(max(span.start, whole.start), min(span.end, whole.end))
            near = tuple(d for d in around([day], 1, 1) if d in known)
            jobs += [
                WorksDay(source, text, by, part, near) for text in plant.lines if line in (None, text) and day in known
            ]
    return list(fan(pareto_of, jobs))
