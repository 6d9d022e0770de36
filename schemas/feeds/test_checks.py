"""Feed test_checks."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class TestChecks(FeedModel):
    """A measured property of a container that a [[test]] of works.toml names: height, verticality, wall thickness at a
    place, internal pressure, thermal shock, vertical load, coating.
    """

    sampled_at: Time = field("sampled_at")
    line: Text = field("line")
    test: Text = field("test")
    mould: Text = field("mould", optional=True)
    sample: Count = field("test_checks.sample")
    place: Text = field("place", optional=True)
    value: Number = field("value")
    by: Text = field("by", optional=True)

    class Config:
        metadata = {
            "feed": "test_checks",
            "key": ("sampled_at", "line", "test", "mould", "sample", "place"),
            "when": "sampled_at",
            "where": "line",
            "grain": "one measured value of one container",
            "example": {"place": ""},
        }
