"""An hour's rejected share against the hours before it in the same job."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import polars as pl

from pipelines.answers.hour import Hour
from pipelines.measures.statistics.limits import ShareLimits, beyond_past
from pipelines.measures.statistics.shares import proportion_interval, ratio
from pipelines.numbers import decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Section
from pipelines.words import say


def by_hour(plant: Plant, hour: Hour) -> list[dict[str, Any]]:
    """Ware and rejects of the line by hour, oldest first."""
    ware = hour.trend.filter(pl.col("defect").is_null())
    first = pl.col("station").is_in(plant.first_stations(hour.line))
    blocks = ware.group_by("block").agg(
        pl.col("inspected").filter(first).sum().alias("ware"), pl.col("n").sum().alias("rejected")
    )
    return list(blocks.sort("block").iter_rows(named=True))


def trend_section(plant: Plant, hour: Hour) -> Section:
    """The share by hour with its intervals, and limits by the hours before."""
    hours = [row for row in by_hour(plant, hour) if row["rejected"] <= row["ware"]]  # the others are told in words
    limits = beyond_past([row["rejected"] for row in hours], [row["ware"] for row in hours])
    rows = []
    for number, row in enumerate(hours):
        low, high = proportion_interval(row["rejected"], row["ware"])
        rows.append(
            {
                "label": _hour_of_day(plant.clock.local(row["block"])),
                "rate": 100 * (ratio(row["rejected"], row["ware"]) or 0.0),
                "low": 100 * low,
                "high": 100 * high,
                "now": row["block"] == hour.span.start,
                "from": 100 * float(limits.low[number]) if limits else None,
                "to": 100 * float(limits.high[number]) if limits else None,
            }
        )
    words = say(
        "Rejected share by hour: {hours}",
        hours=", ".join(f"{row['label']} {decimals(row['rate'], 1)} %" for row in rows),
    )
    chart = charts.svg(charts.trend, words, rows, say("rejected, % of ware")) if rows else ""
    return Section(say("Against the hours before, in this job"), chart=chart, notes=(_trend_note(limits),))


def _hour_of_day(local: datetime) -> str:
    """An hour as an axis writes it; the one that a clock shows twice is told apart."""
    return f"{local:%H:%M}" if local.fold else f"{local:%H}"


def _trend_note(limits: ShareLimits | None) -> str:
    bars = say("Bars: exact 95 % intervals of a plain proportion.")
    if limits is None:
        return say("{bars} Fewer than four hours of this job before this one: no limits yet.", bars=bars)
    return say(
        "{bars} Dashed: limits by the hours before this one (mean {centre}, 3 standard deviations; hours "
        "of this line spread {sigma_z} times as wide as chance alone, Laney's p' chart).",
        bars=bars,
        centre=percent(limits.centre, 1),
        sigma_z=decimals(limits.sigma_z, 1),
    )
