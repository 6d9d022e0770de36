"""Which packing a breakage can have reached: fragments lie in the ware beside it."""

from __future__ import annotations

from datetime import datetime, timedelta

from pipelines.clock import Span

HOT_END, LEHR = "hot_end", "lehr"


def endangered(
    place: str, broke_at: datetime, cleared_at: datetime | None, minutes: float, lehr_minutes: float, until: datetime
) -> Span:
    """When ware was packed that can have been beside a breakage: from `minutes` before it to `minutes` after the place
    was cleared; where nobody told that it was, up to `until`.

    place: a station or `packing`, where ware is packed shortly after; `lehr`: ware beside it comes out up to
    lehr_minutes later; `hot_end`: ware beside it has the whole lehr before it. lehr_minutes, minutes [min].
    """
    margin, way = timedelta(minutes=minutes), timedelta(minutes=lehr_minutes)
    first = broke_at - margin + (way if place == HOT_END else timedelta())
    if cleared_at is None:
        return Span(first, max(first, until))
    return Span(first, cleared_at + margin + (way if place in (HOT_END, LEHR) else timedelta()))
