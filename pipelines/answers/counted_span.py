"""From when to when the ledger has cold-end counts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any

from pipelines.clock import Span
from pipelines.ledger.store import Reader


def counted_spans(reader: Reader, lines: Sequence[str]) -> dict[str, Span]:
    """From the first to the last cold-end count of each of some lines; those without any are left out."""
    told = reader.together(*(partial(_span, line) for line in lines)) if lines else []
    return {line: span for line, span in zip(lines, told, strict=True) if span is not None}


def counted_span(reader: Reader, lines: Sequence[str]) -> Span | None:
    """The same of all these lines together; None where none has counts."""
    spans = counted_spans(reader, lines).values()
    return Span(min(one.start for one in spans), max(one.end for one in spans)) if spans else None


def last_count(reader: Reader, lines: Sequence[str]) -> datetime | None:
    """Until when any of some lines has cold-end counts."""
    told = reader.together(*(partial(_end, line) for line in lines)) if lines else []
    return max((end for end in told if end is not None), default=None)


def _span(line: str, reader: Reader) -> Span | None:
    first = reader.ask("first_window_of_line", line=line)["first_window"]
    return Span(first[0], _end(line, reader)) if len(first) else None


def _end(line: str, reader: Reader) -> Any:
    return reader.ask("last_window_of_line", line=line)["last_window"][0]
