"""Feed job_log."""

from __future__ import annotations

from schemas.feeds.base import Count, Date, FeedModel, Number, Text, Time, field


class JobLog(FeedModel):
    """A job started on a line; it ends the one before it."""

    started_at: Time = field("started_at")
    line: Text = field("line")
    job: Text = field("job")
    item: Text = field("item", optional=True)
    ordered_units: Count = field("ordered_units", optional=True)
    due: Date = field("due", optional=True)
    speed_per_min: Number = field("speed_per_min", optional=True)

    class Config:
        metadata = {
            "feed": "job_log",
            "key": ("started_at", "line"),
            "when": "started_at",
            "where": "line",
            "grain": "one start of a job",
        }
