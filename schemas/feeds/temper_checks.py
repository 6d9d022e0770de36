"""Feed temper_checks."""

from __future__ import annotations

from schemas.feeds.base import FeedModel, Number, Text, Time, field


class TemperChecks(FeedModel):
    """The temper number of one annealed container, read in polarised light against reference discs.

    `lane` tells where across the lehr it stood; the works' own name, empty where nobody noted it.
    """

    sampled_at: Time = field("sampled_at")
    line: Text = field("line")
    mould: Text = field("mould", optional=True)
    lane: Text = field("lane", optional=True)
    temper: Number = field("temper")
    by: Text = field("by", optional=True)

    class Config:
        metadata = {
            "feed": "temper_checks",
            "key": ("sampled_at", "line", "mould", "lane"),
            "when": "sampled_at",
            "where": "line",
            "grain": "one container in polarised light",
        }
