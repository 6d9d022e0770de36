"""Which cavity a mould number stood in when the ware was formed."""

from __future__ import annotations

import polars as pl

from pipelines.plant.works import Plant

UNREAD = "unread"
UNPLACED = "unplaced"


def with_formed(frame: pl.DataFrame, plant: Plant, lehr_minutes: float) -> pl.DataFrame:
    """Add `formed_at`: the middle of the window less the lehr's minutes and the station's `after_minutes`."""
    after = {station.id: station.after_minutes for station in plant.station}
    behind = (pl.col("station").replace_strict(after, default=0.0, return_dtype=pl.Float64) + lehr_minutes) * 60_000_000
    middle = pl.col("window_s") * 500_000 if "window_s" in frame.columns else pl.lit(30_000_000)
    away = (behind.cast(pl.Int64) - middle.cast(pl.Int64)).cast(pl.Duration("us"))
    return frame.with_columns(formed_at=pl.col("window_start") - away)


def with_cavity(frame: pl.DataFrame, spans: pl.DataFrame) -> pl.DataFrame:
    """Add `section` and `gob` of each row's mould at `formed_at`; null where unread, not fitted then, or in two places.

    spans: section, gob, number, fitted_at, ended_at, as the mould log tells it.
    """
    keyed = spans.rename({"number": "mould"}).sort("fitted_at")
    doubled = _doubled(keyed)
    row = frame.with_row_index("row_no")
    placed = row.sort("formed_at").join_asof(
        keyed.select("mould", "section", "gob", "fitted_at", "ended_at"),
        left_on="formed_at",
        right_on="fitted_at",
        by="mould",
        strategy="backward",
        check_sortedness=False,
    )
    sits = pl.col("fitted_at").is_not_null() & (
        pl.col("ended_at").is_null() | (pl.col("formed_at") < pl.col("ended_at"))
    )
    certain = sits & ~pl.col("mould").is_in(doubled)
    answer = placed.with_columns(
        section=pl.when(certain).then(pl.col("section")), gob=pl.when(certain).then(pl.col("gob"))
    )
    return answer.sort("row_no").drop("row_no", "fitted_at", "ended_at")


def _doubled(spans: pl.DataFrame) -> list[str]:
    """Mould numbers that sat in two cavities at one time."""
    frame = spans.sort("mould", "fitted_at").with_columns(
        until=pl.col("ended_at").cum_max().shift(1).over("mould"),
        open_before=pl.col("ended_at").is_null().shift(1).over("mould"),
    )
    overlaps = frame.filter(
        pl.col("open_before").fill_null(False) | (pl.col("fitted_at") < pl.col("until")).fill_null(False)
    )
    return overlaps["mould"].unique().to_list()
