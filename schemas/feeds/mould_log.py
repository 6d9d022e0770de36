"""Feed mould_log."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class MouldLog(FeedModel):
    """A part fitted to a cavity. It ends the one before it at the same place; an empty number leaves the place
    empty. `set` tells two parts with one number apart.
    """

    fitted_at: Time = field("fitted_at")
    line: Text = field("line")
    section: Count = field("section")
    gob: Text = field("gob")
    part: Text = field("part")
    number: Text = field("number", optional=True)
    item: Text = field("item", optional=True)
    set: Text = field("set", optional=True)

    class Config:
        metadata = {
            "feed": "mould_log",
            "key": ("fitted_at", "line", "section", "gob", "part"),
            "when": "fitted_at",
            "where": "line",
            "grain": "one fitting of one part at one cavity",
        }
