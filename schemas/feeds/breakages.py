"""Feed breakages."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import FeedModel, Text, Time, field


class Breakages(FeedModel):
    """Ware broke in the works, so that fragments may lie in its neighbours; sent again when the place is cleared."""

    broke_at: Time = field("broke_at")
    line: Text = field("line")
    place: Text = field("breakages.place")
    cleared_at: Time = field("cleared_at", optional=True)
    note: Text = field("note", optional=True)
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="ends_before_start")
    def cleared_in_order(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select((pl.col("broke_at") <= pl.col("cleared_at")).fill_null(True))

    class Config:
        metadata = {
            "feed": "breakages",
            "key": ("broke_at", "line", "place"),
            "when": "broke_at",
            "where": "line",
            "grain": "one breakage at one place",
        }
