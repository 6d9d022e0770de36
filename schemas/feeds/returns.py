"""Feed returns."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class Returns(FeedModel):
    """A pallet, or some of its containers, came back to the works."""

    pallet: Text = field("pallet")
    returned_at: Time = field("returned_at")
    units: Count = field("units")
    delivery: Text = field("delivery", optional=True)
    reason: Text = field("reason", optional=True)

    class Config:
        metadata = {
            "feed": "returns",
            "key": ("pallet", "returned_at"),
            "when": "returned_at",
            "where": "pallet",
            "grain": "one return of one pallet",
        }
