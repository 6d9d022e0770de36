"""Feed part_events."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class PartEvents(FeedModel):
    """What happened to a part of the mould equipment in the mould shop. `set` tells two parts with one number apart."""

    happened_at: Time = field("happened_at")
    part: Text = field("part")
    set: Text = field("set", optional=True)
    number: Text = field("part_events.number")
    event: Text = field("event")
    gobs: Count = field("gobs", optional=True)
    cost: Number = field("cost", optional=True)
    note: Text = field("note", optional=True)
    by: Text = field("by", optional=True)

    class Config:
        metadata = {
            "feed": "part_events",
            "key": ("happened_at", "part", "set", "number", "event"),
            "when": "happened_at",
            "where": "number",
            "grain": "one event of one part",
            "example": {"note": "seam dressed", "by": "shop1"},
        }
