"""Feed pallets."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class Pallets(FeedModel):
    """One pallet and its state; a later row for the same pallet is its new state, the former stays readable."""

    pallet: Text = field("pallet")
    line: Text = field("line")
    item: Text = field("item")
    packed_from: Time = field("packed_from")
    packed_to: Time = field("packed_to")
    units: Count = field("units")
    state: Text = field("state")

    @pa.dataframe_check(name="ends_before_start")
    def packed_in_order(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("packed_from") <= pl.col("packed_to"))

    class Config:
        metadata = {
            "feed": "pallets",
            "key": ("pallet",),
            "when": "packed_from",
            "where": "pallet",
            "grain": "one pallet",
        }
