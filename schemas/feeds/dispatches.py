"""Feed dispatches."""

from __future__ import annotations

from schemas.feeds.base import FeedModel, Text, Time, field


class Dispatches(FeedModel):
    """A pallet left the works. One that leaves again after a return is sent again; where it went before stays readable.

    A customer that works.toml does not name is kept as it came: where a pallet went must never be lost.
    """

    pallet: Text = field("pallet")
    dispatched_at: Time = field("dispatched_at")
    delivery: Text = field("delivery")
    customer: Text = field("customer")
    vehicle: Text = field("vehicle", optional=True)

    class Config:
        metadata = {
            "feed": "dispatches",
            "key": ("pallet",),
            "when": "dispatched_at",
            "where": "pallet",
            "grain": "the last dispatch of one pallet",
        }
