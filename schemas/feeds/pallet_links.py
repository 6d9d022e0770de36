"""Feed pallet_links."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class PalletLinks(FeedModel):
    """So many containers went from one pallet onto another: a re-sorting, a broken pallet, a mixed remainder."""

    linked_at: Time = field("linked_at")
    from_pallet: Text = field("from_pallet")
    to_pallet: Text = field("to_pallet")
    units: Count = field("units")
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="linked_to_itself")
    def linked_to_another(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select((pl.col("from_pallet") != pl.col("to_pallet")).fill_null(True))

    class Config:
        metadata = {
            "feed": "pallet_links",
            "key": ("linked_at", "from_pallet", "to_pallet"),
            "when": "linked_at",
            "where": "from_pallet",
            "grain": "one moving of containers from one pallet onto another",
        }
