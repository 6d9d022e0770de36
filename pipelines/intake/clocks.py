"""Times of stations whose clock was wrong, as works.toml has it by a person's word."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from pipelines.ledger.delivery import TOLD_AT
from pipelines.plant.works import Plant
from schemas.feeds import Feed

_ANY_CODE = pl.lit(None, dtype=pl.UInt64)


def with_right_clocks(frame: pl.DataFrame, feed: Feed, plant: Plant) -> pl.DataFrame:
    """The rows of stations named in [[clock]] at the true time. Their keys are compared anew: two times can have become
    one. `told_at` keeps the time as the
    station has it: a row that is set aside after all goes back with that, and is moved when it is offered again."""
    if not plant.clock_errors or feed.when is None or "station" not in frame.columns:
        return frame
    frame = frame.with_columns(pl.col(feed.when).alias(TOLD_AT))
    when, moved = pl.col(feed.when), pl.lit(False)
    shift = pl.lit(timedelta())
    for clock_error in plant.clock_errors:
        here = (pl.col("station") == clock_error.station) & (when >= clock_error.from_)
        if clock_error.to is not None:
            here &= when < clock_error.to
        shift = pl.when(here).then(pl.lit(timedelta(minutes=-clock_error.minutes))).otherwise(shift)
        moved |= here
    if not frame.select(moved.any()).item():
        return frame
    return frame.with_columns((when + shift).alias(feed.when), _ANY_CODE.alias("key_code"))
