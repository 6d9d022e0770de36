"""Feed density_checks."""

from __future__ import annotations

import pandera.polars as pa
import polars as pl

from schemas.feeds.base import FeedModel, Number, Text, Time, field


class DensityChecks(FeedModel):
    """One reading of a furnace's glass density: the density itself, or the sink-float comparison with a standard.

    Density = standard + (standard_settles_c - sample_settles_c) x the works' own coefficient: denser glass settles at a
    lower temperature.
    """

    sampled_at: Time = field("sampled_at")
    furnace: Text = field("furnace")
    density_g_cm3: Number = field("density_g_cm3", optional=True)
    standard_g_cm3: Number = field("standard_g_cm3", optional=True)
    standard_settles_c: Number = field("standard_settles_c", optional=True)
    sample_settles_c: Number = field("sample_settles_c", optional=True)
    by: Text = field("by", optional=True)

    @pa.dataframe_check(name="density_incomplete")
    def tells_a_density(cls, data: pa.PolarsData) -> pl.LazyFrame:
        parts = ("standard_g_cm3", "standard_settles_c", "sample_settles_c")
        compared = pl.all_horizontal(pl.col(name).is_not_null() for name in parts)
        return data.lazyframe.select(pl.col("density_g_cm3").is_not_null() | compared)

    class Config:
        metadata = {
            "feed": "density_checks",
            "key": ("sampled_at", "furnace"),
            "when": "sampled_at",
            "where": "furnace",
            "grain": "one reading of a furnace's glass",
        }
