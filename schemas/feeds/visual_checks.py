"""Feed visual_checks."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class VisualChecks(FeedModel):
    """A person's sample, a row a defect found in it; a sample with nothing found is one row with no defect and `found`
    0. `mould`: where the sample is of one mould's containers alone.
    """

    sampled_at: Time = field("sampled_at")
    line: Text = field("line")
    item: Text = field("item")
    mould: Text = field("mould", optional=True)
    defect: Text = field("defect", optional=True)
    sample_units: Count = field("sample_units")
    found: Count = field("found")
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="found_above_sample")
    def found_within_sample(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("found") <= pl.col("sample_units"))

    @pa.dataframe_check(name="found_without_defect")
    def found_has_a_defect(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("defect").is_not_null() | (pl.col("found") == 0))

    class Config:
        metadata = {
            "feed": "visual_checks",
            "key": ("sampled_at", "line", "item", "mould", "defect"),
            "when": "sampled_at",
            "where": "line",
            "grain": "one defect in one person's sample, of one mould where it was told",
        }
