"""Feed station_counts."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class StationCounts(FeedModel):
    """Containers inspected and rejected by one station in one window, a row a mould number.

    Windows with nothing to say are still sent while the station runs. `rejected` counts containers: one container
    can be called for several defects, so reject_counts adds up to at least as much. `refed` is ware among `inspected`
    that had been through before (a re-inspection loop): no new ware. Empty where the station does not tell it.
    """

    window_start: Time = field("window_start")
    line: Text = field("line")
    station: Text = field("station")
    mould: Text = field("mould", optional=True)
    window_s: Count = field("window_s")
    inspected: Count = field("inspected")
    rejected: Count = field("rejected")
    refed: Count = field("refed", optional=True)

    @pa.dataframe_check(name="rejected_above_inspected")
    def rejected_within_inspected(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("rejected") <= pl.col("inspected"))

    @pa.dataframe_check(name="refed_above_inspected")
    def refed_within_inspected(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select((pl.col("refed") <= pl.col("inspected")).fill_null(True))

    class Config:
        metadata = {
            "feed": "station_counts",
            "key": ("window_start", "line", "station", "mould"),
            "when": "window_start",
            "where": "line",
            "grain": "window x station x mould number",
            "defaults": {"window_s": 60},
        }
