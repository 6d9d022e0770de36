"""Frames of a line as stations with longer windows would have sent them."""

from __future__ import annotations

import polars as pl

Frames = tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]


def coarser(frames: Frames, window_s: int, stations: tuple[str, ...] | None = None) -> Frames:
    """Calls and ware summed into windows of `window_s`, of these stations or of all; mould stays and jobs as they
    were.
    """
    calls, ware, spans, jobs = frames
    return (
        _summed(calls, window_s, stations, ["station", "mould", "defect"], ["calls"]),
        _summed(ware, window_s, stations, ["station", "mould"], ["inspected", "rejected"]),
        spans,
        jobs,
    )


def _summed(
    frame: pl.DataFrame, window_s: int, stations: tuple[str, ...] | None, keys: list[str], sums: list[str]
) -> pl.DataFrame:
    chosen = pl.lit(True) if stations is None else pl.col("station").is_in(stations)
    at = pl.col("window_start").dt.truncate(f"{window_s}s")
    mine = frame.filter(chosen).group_by(at, *keys).agg(pl.col(sums).sum())
    names = ["window_start", *keys, *sums, "window_s"]
    window = pl.lit(window_s).cast(pl.Int64).alias("window_s")
    rest = frame.filter(~chosen).with_columns(pl.col("window_s").cast(pl.Int64)).select(names)
    return pl.concat([mine.with_columns(window).select(names), rest]).sort("window_start", *keys)
