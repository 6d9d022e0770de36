"""Feed capacity_checks."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class CapacityChecks(FeedModel):
    """One container weighed empty and filled with water, brimful or to its fill line.

    Capacity is the filled mass less the empty mass over the density of water at `water_c`, corrected for air buoyancy.
    """

    sampled_at: Time = field("sampled_at")
    line: Text = field("line")
    mould: Text = field("mould")
    sample: Count = field("sample")
    empty_g: Number = field("empty_g")
    filled_g: Number = field("filled_g")
    water_c: Number = field("water_c")
    fill: Text = field("fill")
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="filled_below_empty")
    def filled_above_empty(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("filled_g") > pl.col("empty_g"))

    class Config:
        metadata = {
            "feed": "capacity_checks",
            "key": ("sampled_at", "line", "mould", "sample"),
            "when": "sampled_at",
            "where": "line",
            "grain": "one container weighed empty and filled",
        }
