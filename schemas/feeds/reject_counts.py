"""Feed reject_counts."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class RejectCounts(FeedModel):
    """Calls of one defect by one station in one window, a row a mould number. Only rows with calls are sent."""

    window_start: Time = field("window_start")
    line: Text = field("line")
    station: Text = field("station")
    mould: Text = field("mould", optional=True)
    defect: Text = field("defect")
    window_s: Count = field("window_s")
    rejected: Count = field("rejected")

    class Config:
        metadata = {
            "feed": "reject_counts",
            "key": ("window_start", "line", "station", "mould", "defect"),
            "when": "window_start",
            "where": "line",
            "grain": "window x station x mould number x defect",
            "defaults": {"window_s": 60},
        }
