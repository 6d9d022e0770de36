"""Where the pages of a day, a machine, an hour, a line's weights and a furnace's laboratory lie: under reports/ and on
the web.
"""

from __future__ import annotations

from datetime import date

from pipelines.clock import Span
from pipelines.plant.works import Plant


def day_address(day: date) -> str:
    return f"day/{day.isoformat()}.html"


def machine_address(day: date, line: str) -> str:
    return f"machine/{day.isoformat()}/{line}.html"


def behind_address(day: date, part: str) -> str:
    """A page behind the day's sheet: laboratory, holds or figures."""
    return f"day/{day.isoformat()}/{part}.html"


def weights_address(day: date, line: str) -> str:
    return f"weights/{day.isoformat()}/{line}.html"


def laboratory_address(day: date, furnace: str) -> str:
    return f"laboratory/{day.isoformat()}/{furnace}.html"


def hour_address(plant: Plant, line: str, span: Span) -> str:
    """The page of an hour: production day, line, number of the hour in its day, local time."""
    clock = plant.clock
    day = clock.day_of(span.start)
    number = int((span.start - clock.day(day).start).total_seconds() // 3600) + 1
    return f"hour/{day.isoformat()}/{line}-{number:02d}-{clock.local(span.start):%H%M}.html"
