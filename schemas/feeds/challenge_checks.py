"""Feed challenge_checks."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class ChallengeChecks(FeedModel):
    """A marked reference sample with a known defect, sent through a station `passes` times and `caught` so often."""

    checked_at: Time = field("checked_at")
    line: Text = field("line")
    station: Text = field("station")
    defect: Text = field("defect")
    passes: Count = field("passes")
    caught: Count = field("caught")
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="caught_above_passes")
    def caught_within_passes(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("caught") <= pl.col("passes"))

    class Config:
        metadata = {
            "feed": "challenge_checks",
            "key": ("checked_at", "line", "station", "defect"),
            "when": "checked_at",
            "where": "line",
            "grain": "one challenge of a station with one reference sample",
        }
