"""Feed complaints."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import Count, Date, FeedModel, Text, Time, field


class Complaints(FeedModel):
    """A customer's complaint, as far as it is known; a later row of the same complaint is its new state. `made_from`
    and `made_to` are forming time.
    """

    complaint: Text = field("complaint")
    received_on: Date = field("received_on")
    item: Text = field("item")
    defect: Text = field("defect", optional=True)
    units: Count = field("units")
    mould: Text = field("mould", optional=True)
    pallet: Text = field("pallet", optional=True)
    made_from: Time = field("made_from", optional=True)
    made_to: Time = field("made_to", optional=True)
    note: Text = field("complaints.note", optional=True)
    customer: Text = field("customer", optional=True)
    delivery: Text = field("delivery", optional=True)
    claimed_units: Count = field("claimed_units", optional=True)
    answer_due: Date = field("answer_due", optional=True)
    state: Text = field("complaints.state", optional=True)
    cause: Text = field("complaints.cause", optional=True)

    @pa.dataframe_check(name="ends_before_start")
    def made_in_order(cls, data: pa.PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select((pl.col("made_from") <= pl.col("made_to")).fill_null(True))

    class Config:
        metadata = {
            "feed": "complaints",
            "key": ("complaint",),
            "when": None,
            "where": "complaint",
            "grain": "one complaint",
            "example": {"units": "2"},
        }
