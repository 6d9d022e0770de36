"""A machine's day hour by hour, each hour leading to its page."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import polars as pl

from pipelines.measures.statistics.shares import share
from pipelines.numbers import percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import hour_address
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import say


def hours_sheet(plant: Plant, day: date, line: str, hours: pl.DataFrame, until: datetime | None = None) -> Sheet:
    """Rejected share by hour, each a link to the hour's page. until: how far the counts of an open day reach."""
    spans = [span for span in plant.clock.hours_of(day) if until is None or span.start < until]
    rows: list[dict[str, Any]] = []
    links: dict[tuple[int, str], str] = {}
    for number, span in enumerate(spans):
        ware, rejected = _hour_counts(plant, line, hours, number)
        rows.append(
            {
                "hour": f"{plant.clock.local(span.start):%H:%M}",
                "ware": ware,
                "rejected": rejected,
                "rate": percent(share(rejected, ware)),
            }
        )
        links[number, "rate"] = f"../../{hour_address(plant, line, span)}"
    columns = (
        Column("hour", say("From")),
        Column("ware", say("Ware"), "count"),
        Column("rejected", say("Rejected"), "count"),
        Column("rate", say("Rejected / ware")),
    )
    return Sheet(
        f"hours-{line}",
        say("{line} hours", line=line),
        columns,
        rows,
        say(
            "Rejected at the stations that send counts / containers at the first station; none where more was"
            " rejected than counted in. Each figure opens its hour."
        ),
        links=links,
    )


def _hour_counts(plant: Plant, line: str, hours: pl.DataFrame, hour: int) -> tuple[int, int]:
    here = hours.filter(pl.col("hour") == hour)
    ware = int(here.filter(pl.col("station").is_in(plant.first_stations(line)))["inspected"].sum())
    return ware, int(here["rejected"].sum())
