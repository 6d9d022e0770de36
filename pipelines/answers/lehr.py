"""The lehr time of a line: as estimated from the feeds by hour, where they showed it; else nominal."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import polars as pl

from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.lehr.lehr_time import LehrTime, lehr_of_hours
from pipelines.plant.works import Plant

NEAR = timedelta(hours=12)
PALLET_SLACK = timedelta(minutes=45)  # for the way from the last station to the pallet, and to be on the safe side


def lehr_time(reader: Reader, plant: Plant, line: str, inspected: Span) -> LehrTime:
    """The lehr time of ware inspected in a window: the mean of its hours, with an interval that holds them all.

    Where no hour of the window shows it, the nearest within twelve hours stands; where none does, the nominal value.
    """
    here = _hours(reader, line, inspected)
    return lehr_of_hours(plant, line, here, inspected.start, inspected.end)


def lehr_of_formed(reader: Reader, plant: Plant, line: str, formed: Span) -> LehrTime:
    """The lehr time of ware formed in a window."""
    nominal = timedelta(minutes=plant.lines[line].lehr_minutes)
    return lehr_time(reader, plant, line, formed.shifted(nominal))


def formed_of_pallet(reader: Reader, plant: Plant, row: dict[str, Any]) -> Span:
    """When the ware of a pallet (line, packed_from, packed_to) can have been formed, generously."""
    packed = Span(row["packed_from"], row["packed_to"] + timedelta(minutes=1))
    lehr = lehr_time(reader, plant, row["line"], packed)
    after = plant.stations_of(row["line"])[-1].after_minutes
    slack = timedelta(minutes=lehr.ware_half_width) + PALLET_SLACK
    return Span(lehr.formed(packed.start, after) - slack, lehr.formed(packed.end, after) + slack)


def _hours(reader: Reader, line: str, inspected: Span) -> pl.DataFrame:
    wide = Span(inspected.start - NEAR, inspected.end + NEAR)
    return reader.ask("lehr_hours_of_line", line=line, from_time=wide.start, to_time=wide.end)


__all__ = ["LehrTime", "formed_of_pallet", "lehr_of_formed", "lehr_time"]
