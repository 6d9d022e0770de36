"""Moments and spans by the works' local clock, as short as they can be without being taken for others."""

from __future__ import annotations

from datetime import datetime

from pipelines.clock import Span
from pipelines.plant.works import Plant
from pipelines.words.moments import moment_dated, span_dated


def clock_words(plant: Plant, moment: datetime, near: datetime) -> str:
    """A local time; with its date where that is another day's."""
    local, other = plant.clock.local(moment), plant.clock.local(near)
    return f"{local:%H:%M}" if local.date() == other.date() else moment_dated(local)


def span_words(plant: Plant, span: Span) -> str:
    """From when to when, with day and year."""
    return span_dated(plant.clock.local(span.start), plant.clock.local(span.end))
