"""Feed weight_checks."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class WeightChecks(FeedModel):
    """One container weighed, with its mould number, hot (before the lehr) or cold (after it)."""

    sampled_at: Time = field("sampled_at")
    line: Text = field("line")
    point: Text = field("point")
    mould: Text = field("mould")
    sample: Count = field("sample")
    weight_g: Number = field("weight_g")
    by: Text = field("by", optional=True)

    class Config:
        metadata = {
            "feed": "weight_checks",
            "key": ("sampled_at", "line", "point", "mould", "sample"),
            "when": "sampled_at",
            "where": "line",
            "grain": "one weighing",
        }
