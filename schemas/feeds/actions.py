"""Feed actions."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class Actions(FeedModel):
    """What was done at the hot end or at a station. Fittings and stoppages are known from their own feeds and need not
    be told twice.

    `value` is in the kind's own unit: grams a gob, degrees Celsius, milliseconds. `signal` names the signal that the
    action answers, `defect` the defect against which it was done, whichever station calls it.
    """

    acted_at: Time = field("acted_at")
    line: Text = field("line")
    kind: Text = field("kind")
    section: Count = field("section", optional=True)
    gob: Text = field("gob", optional=True)
    station: Text = field("station", optional=True)
    mould: Text = field("mould", optional=True)
    part: Text = field("part", optional=True)
    defect: Text = field("defect", optional=True)
    value: Number = field("actions.value", optional=True)
    signal: Text = field("signal", optional=True)
    note: Text = field("note", optional=True)
    by: Text = field("by")

    class Config:
        metadata = {
            "feed": "actions",
            "key": ("acted_at", "line", "kind", "section", "gob", "station", "mould"),
            "when": "acted_at",
            "where": "line",
            "grain": "one action at one place",
            "example": {"station": "", "value": "", "signal": "", "note": "", "by": "hot2"},
        }
