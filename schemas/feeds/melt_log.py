"""Feed melt_log."""

from __future__ import annotations

from schemas.feeds.base import Count, FeedModel, Number, Text, Time, field


class MeltLog(FeedModel):
    """What a furnace was charged with in one window.

    Melted mass = batch_kg x (1 - moisture_pct/100) x (1 - loss_pct/100) + cullet_kg.
    """

    window_start: Time = field("window_start")
    furnace: Text = field("furnace")
    window_s: Count = field("window_s")
    batch_kg: Number = field("batch_kg")
    moisture_pct: Number = field("moisture_pct")
    loss_pct: Number = field("loss_pct")
    cullet_kg: Number = field("cullet_kg")
    level_change_mm: Number = field("level_change_mm", optional=True)
    energy_kwh: Number = field("energy_kwh", optional=True)

    class Config:
        metadata = {
            "feed": "melt_log",
            "key": ("window_start", "furnace"),
            "when": "window_start",
            "where": "furnace",
            "grain": "window x furnace",
            "example": {"window_s": "3600"},
        }
