"""Feed verdicts."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class Verdicts(FeedModel):
    """A person looks at containers and says what they are, a row a defect found; the containers looked at are the sum
    over `found`.

    Taken from what a station rejected, `station` and `called` say which station and as what. Good ware behind the last
    station was called by none.
    """

    looked_at: Time = field("looked_at")
    line: Text = field("line")
    stream: Text = field("stream")
    station: Text = field("station", optional=True)
    called: Text = field("called", optional=True)
    mould: Text = field("mould", optional=True)
    found: Text = field("verdicts.found", optional=True)
    units: Count = field("verdicts.units")
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="called_though_passed")
    def passed_uncalled(cls, data: pa.PolarsData) -> pl.LazyFrame:
        uncalled = pl.col("called").is_null() & pl.col("station").is_null()
        return data.lazyframe.select((pl.col("stream") != "passed").fill_null(True) | uncalled)

    class Config:
        metadata = {
            "feed": "verdicts",
            "key": ("looked_at", "line", "stream", "station", "called", "mould", "found"),
            "when": "looked_at",
            "where": "line",
            "grain": "one finding in what a person looked at",
            "example": {"found": ""},
        }
