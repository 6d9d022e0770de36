"""Feed stoppages."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class Stoppages(FeedModel):
    """A section, or with an empty section the whole machine, stopped; sent again when it runs."""

    stopped_at: Time = field("stopped_at")
    line: Text = field("line")
    section: Count = field("section", optional=True)
    restarted_at: Time = field("restarted_at", optional=True)
    cause: Text = field("cause", optional=True)

    @pa.dataframe_check(name="ends_before_start")
    def stopped_in_order(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select((pl.col("stopped_at") <= pl.col("restarted_at")).fill_null(True))

    class Config:
        metadata = {
            "feed": "stoppages",
            "key": ("stopped_at", "line", "section"),
            "when": "stopped_at",
            "where": "line",
            "grain": "one stop of a section or a machine",
        }
