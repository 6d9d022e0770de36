"""Feed pallet_parts."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class PalletParts(FeedModel):
    """A part of a pallet that was filled from more than one line or item; `pallets.line` and `item` name the largest
    part.
    """

    pallet: Text = field("pallet")
    line: Text = field("line")
    item: Text = field("item")
    packed_from: Time = field("packed_from")
    packed_to: Time = field("packed_to")
    units: Count = field("units")

    @pa.dataframe_check(name="ends_before_start")
    def part_packed_in_order(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.col("packed_from") <= pl.col("packed_to"))

    class Config:
        metadata = {
            "feed": "pallet_parts",
            "key": ("pallet", "line", "item"),
            "when": "packed_from",
            "where": "pallet",
            "grain": "what one line and item gave to one pallet",
            "example": {"units": "756"},
        }
