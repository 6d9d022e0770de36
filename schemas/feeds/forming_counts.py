"""Feed forming_counts."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class FormingCounts(FeedModel):
    """Gobs cut for a section, and what of them never reached the lehr, in one window of forming time."""

    window_start: Time = field("window_start")
    line: Text = field("line")
    section: Count = field("section")
    gob: Text = field("gob", optional=True)
    window_s: Count = field("window_s")
    gobs_cut: Count = field("gobs_cut")
    hot_rejected: Count = field("hot_rejected")

    @pa.dataframe_check(name="hot_rejected_above_gobs")
    def hot_rejected_within_gobs(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("hot_rejected") <= pl.col("gobs_cut"))

    class Config:
        metadata = {
            "feed": "forming_counts",
            "key": ("window_start", "line", "section", "gob"),
            "when": "window_start",
            "where": "line",
            "grain": "window x section (x gob position)",
            "defaults": {"window_s": 60},
        }
