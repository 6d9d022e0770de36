"""What a page says of a day that is not closed."""

from __future__ import annotations

from datetime import datetime

from pipelines.plant.works import Plant
from pipelines.words import say


def so_far_words(plant: Plant, as_of: datetime | None, end: datetime) -> str:
    """That figures are running figures, and how far they reach."""
    if as_of is None:
        return say("open: no count came yet")
    if as_of >= end:
        return say("over, not closed: figures are not final")
    return say("open, so far, as of {at}", at=f"{plant.clock.local(as_of):%H:%M}")
