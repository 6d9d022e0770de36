"""Numbers, intervals and moments in sentences of the laboratory."""

from __future__ import annotations

from datetime import datetime

from pipelines.plant.works import Plant
from pipelines.words import Numeral, moment_dated, say


def signed(value: float, digits: int = 2) -> str:
    """A number with its sign, by a true minus."""
    return Numeral(f"{value:+.{digits}f}".replace("-", "−"))


def whole(value: float) -> str:
    """A whole number, thousands apart."""
    return Numeral(f"{value:,.0f}".replace(",", " ").replace("-", "−"))


def signed_whole(value: float | None) -> str:
    """A whole number with its sign, thousands apart; a dash for none."""
    return "–" if value is None else Numeral(f"{value:+,.0f}".replace(",", " ").replace("-", "−"))


def between(low: float | None, high: float | None, digits: int = 2) -> str:
    """A 95 % interval, or that there is none."""
    if low is None or high is None:
        return say("no interval: too few")
    return say("95 %: {low} to {high}", low=signed(low, digits), high=signed(high, digits))


def clock_words(plant: Plant, at: datetime | None) -> str:
    """A local time with its day; a dash for none."""
    return moment_dated(plant.clock.local(at)) if at else "–"
