"""Time through the lehr: now the nominal value of works.toml with a stated width."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from pipelines.clock import formed_at
from pipelines.plant import Plant

NOMINAL_HALF_WIDTH_MIN = 15.0


@dataclass(frozen=True)
class LehrTime:
    """Minutes from the gob cut to the first station, with the half width of an interval that should hold the truth.

    source says where it comes from. The half width of a nominal value is an assumption, not a measurement.
    """

    minutes: float
    half_width: float
    source: str

    def formed(self, inspected: datetime, after_minutes: float = 0.0) -> datetime:
        return formed_at(inspected, self.minutes, after_minutes)

    def inspected(self, formed: datetime, after_minutes: float = 0.0) -> datetime:
        return formed + timedelta(minutes=self.minutes + after_minutes)


def lehr_time(plant: Plant, line: str) -> LehrTime:
    """The lehr time of a line: nominal."""
    nominal = plant.lines[line].lehr_minutes
    return LehrTime(
        nominal,
        NOMINAL_HALF_WIDTH_MIN,
        f"nominal value of works.toml, assumed right to {NOMINAL_HALF_WIDTH_MIN:g} min",
    )
