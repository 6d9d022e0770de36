"""The reject Pareto of a line and window, straight from the ledger."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from pipelines.answers.lehr import lehr_time
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.mould_places import with_cavity, with_formed
from pipelines.measures.pareto.ranking import DIMENSIONS, NEEDS_PLACE, pareto
from pipelines.measures.signals.baseline import PAST_HOURS
from pipelines.plant.works import Plant
from pipelines.words import joined, say
from schemas.answers.pareto import Pareto

PAST = timedelta(hours=PAST_HOURS)


def check_line(plant: Plant, line: str) -> None:
    """WrongUse unless works.toml knows the line."""
    if line not in plant.lines:
        raise WrongUse(
            say("there is no line '{line}' in works.toml; it has {lines}", line=line, lines=joined(", ", plant.lines))
        )


def answer_pareto(reader: Reader, plant: Plant, line: str, span: Span, by: str = "defect") -> Pareto:
    """The Pareto of [span.start, span.end) by the cold-end clock; WrongUse for an unknown line or dimension."""
    check_line(plant, line)
    if by not in DIMENSIONS:
        raise WrongUse(f"--by {by} is not one of {joined(', ', DIMENSIONS)}")
    calls, ware = _counts(reader, plant, line, span, by)
    return pareto(plant, line, (span.start, span.end), by, calls, ware, *_past(reader, plant, line, span))


def answer_paretos(reader: Reader, plant: Plant, line: str, span: Span) -> dict[str, Pareto]:
    """The Paretos of one window by every dimension from one reading."""
    calls, ware = placed_counts(reader, plant, line, span)
    past = _past(reader, plant, line, span)
    return {by: pareto(plant, line, (span.start, span.end), by, calls, ware, *past) for by in DIMENSIONS}


def _counts(reader: Reader, plant: Plant, line: str, span: Span, by: str) -> tuple[pl.DataFrame, pl.DataFrame]:
    if by in NEEDS_PLACE:
        return placed_counts(reader, plant, line, span)
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    return reader.ask("calls", **row), reader.ask("ware", **row)


def placed_counts(reader: Reader, plant: Plant, line: str, span: Span) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Calls and ware by window, with the cavity each mould number stood in when the ware was formed."""
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    spans = spans_of_line(reader, plant, line, span)
    minutes = lehr_time(reader, plant, line, span).minutes
    calls, ware = (reader.ask(name, **row) for name in ("calls_by_window", "ware_by_window"))
    return with_cavity(with_formed(calls, plant, minutes), spans), with_cavity(with_formed(ware, plant, minutes), spans)


def spans_of_line(reader: Reader, plant: Plant, line: str, span: Span) -> pl.DataFrame:
    """The mould stays that ware inspected in `span` can have come from."""
    back = timedelta(minutes=2 * plant.lines[line].lehr_minutes + 60)
    return reader.ask("mould_spans_of_line", line=line, from_time=span.start - back, to_time=span.end)


def job_began(reader: Reader, plant: Plant, line: str, at: datetime) -> datetime | None:
    """When, by the cold-end clock, the job began whose ware the first station met at `at`; None if no log tells."""
    lehr = lehr_time(reader, plant, line, Span(at, at + timedelta(minutes=1)))
    formed = lehr.formed(at)
    jobs = reader.ask("jobs_of_line", line=line, from_time=formed, to_time=formed + timedelta(seconds=1))
    return lehr.inspected(jobs["started_at"][-1]) if jobs.height else None


def _past(reader: Reader, plant: Plant, line: str, span: Span) -> tuple[pl.DataFrame | None, datetime | None]:
    """What the line's own past leads one to expect in a window, and since when it counts; None unless it covers the
    window.
    """
    rows = reader.ask("expected_of_line", line=line, from_time=span.start, to_time=span.end)
    hours = rows["hours"].max() if rows.height else 0.0
    if not isinstance(hours, float) or hours < 0.95 * span.seconds / 3600:
        return None, None
    began = job_began(reader, plant, line, span.start)
    return rows, max(span.start - PAST, began) if began is not None else span.start - PAST
