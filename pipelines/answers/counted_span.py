"""From when to when the ledger has cold-end counts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from functools import partial
from typing import Any

from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant


def counted_spans(reader: Reader, lines: Sequence[str]) -> dict[str, Span]:
    """From the first to the last cold-end count of each of some lines; those without any are left out."""
    found = reader.together(*(partial(_span, line) for line in lines)) if lines else []
    return {line: span for line, span in zip(lines, found, strict=True) if span is not None}


def counted_span(reader: Reader, lines: Sequence[str]) -> Span | None:
    """The same of all these lines together; None where none has counts."""
    spans = counted_spans(reader, lines).values()
    return Span(min(span.start for span in spans), max(span.end for span in spans)) if spans else None


def last_count(reader: Reader, lines: Sequence[str]) -> datetime | None:
    """Until when any of some lines has cold-end counts."""
    found = reader.together(*(partial(_end, line) for line in lines)) if lines else []
    return max((end for end in found if end is not None), default=None)


def days_with_counts(reader: Reader, plant: Plant, days: Sequence[date]) -> list[date]:
    """Those of some days (in order) of which any station's counts have come: asked of all together, then of halves, so
    that years without any cost little.
    """
    if not days:
        return []
    moments = {"from_time": plant.clock.day(days[0]).start, "to_time": plant.clock.day(days[-1]).end}
    if not any(reader.ask("coverage", line=line, **moments).height for line in plant.lines):
        return []
    half = len(days) // 2
    parts = (days[:half], days[half:]) if half else ()
    return [day for part in parts for day in days_with_counts(reader, plant, part)] if half else list(days)


def _span(line: str, reader: Reader) -> Span | None:
    first = reader.ask("first_window_of_line", line=line)["first_window"]
    return Span(first[0], _end(line, reader)) if len(first) else None


def _end(line: str, reader: Reader) -> Any:
    return reader.ask("last_window_of_line", line=line)["last_window"][0]
