"""Feed counter_reads."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Text, Time, field


class CounterReads(FeedModel):
    """Running totals of a station that gives nothing else.

    Totals roll over at the station's `counter_modulus` and can be reset to zero at any time (a job change, a power
    cut).
    """

    read_at: Time = field("read_at")
    line: Text = field("line")
    station: Text = field("station")
    counter: Text = field("counter")
    mould: Text = field("mould", optional=True)
    defect: Text = field("defect", optional=True)
    total: Count = field("total")

    class Config:
        metadata = {
            "feed": "counter_reads",
            "key": ("read_at", "line", "station", "counter", "mould", "defect"),
            "when": "read_at",
            "where": "line",
            "grain": "one reading of one running total",
        }
