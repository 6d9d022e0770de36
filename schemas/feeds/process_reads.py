"""Feed process_reads."""

from __future__ import annotations

from schemas.feeds.base import FeedModel, Number, Text, Time, field


class ProcessReads(FeedModel):
    """One reading of anything that a [[quantity]] of works.toml names: a temperature of a forehearth or lehr, moisture
    of the sand, seeds, cord, pressure.
    """

    read_at: Time = field("process_reads.read_at")
    at: Text = field("at")
    quantity: Text = field("quantity")
    value: Number = field("process_reads.value")
    by: Text = field("by", optional=True)

    class Config:
        metadata = {
            "feed": "process_reads",
            "key": ("read_at", "at", "quantity"),
            "when": "read_at",
            "where": "at",
            "grain": "one reading of one quantity at one place",
        }
