"""Weighings in rounds: each mould once, or several samples of it, then the moulds again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

GAP_SHARE = 0.25  # of the usual time between two weighings of a mould: a longer pause ends a round
NOWHERE = -1


@dataclass(frozen=True)
class Rounds:
    """Weighings of one item at one point by round and mould.

    seconds: begin of each round since 1970, UTC [rounds].  mean, sd [g], n: of the samples of a mould in a round
    [rounds, moulds]; NaN and 0 where it was not weighed, sd NaN under two samples.  gob: number of the gob position in
    `gobs` [rounds, moulds], NOWHERE where no log tells.
    """

    seconds: np.ndarray
    moulds: tuple[str, ...]
    gobs: tuple[str, ...]
    mean: np.ndarray
    sd: np.ndarray
    n: np.ndarray
    gob: np.ndarray

    def between(self, start_s: float, end_s: float) -> Rounds:
        """The rounds that began in [start_s, end_s)."""
        here = (self.seconds >= start_s) & (self.seconds < end_s)
        parts = (part[here] for part in (self.mean, self.sd, self.n, self.gob))
        return Rounds(self.seconds[here], self.moulds, self.gobs, *parts)

    @property
    def every_s(self) -> float:
        """The usual time between two rounds [s]; half an hour where there are not two."""
        return float(np.median(np.diff(self.seconds))) if len(self.seconds) > 1 else 1800.0


def rounds_of(weighings: pl.DataFrame) -> Rounds:
    """Weighings (sampled_at, mould, weight_g, gob) as rounds. A round ends where a mould comes again, or at a longer
    pause than usual within one.
    """
    rows = weighings.sort("sampled_at").with_columns(second=pl.col("sampled_at").dt.epoch("ms") / 1000)
    number = _numbers(rows)
    rows = rows.with_columns(round=pl.Series(number))
    cells = rows.group_by("round", "mould").agg(
        pl.col("weight_g").mean().alias("mean"),
        pl.col("weight_g").std().alias("sd"),
        pl.len().alias("n"),
        pl.col("gob").first(),
    )
    moulds = tuple(sorted(rows["mould"].unique().to_list(), key=mould_order))
    gobs = tuple(sorted(g for g in rows["gob"].unique().to_list() if g is not None))
    starts = rows.group_by("round").agg(pl.col("second").min()).sort("round")["second"].to_numpy()
    shape = (len(starts), len(moulds))
    row = cells["round"].to_numpy()
    column = cells["mould"].replace_strict({m: i for i, m in enumerate(moulds)}, return_dtype=pl.Int64).to_numpy()
    place = cells["gob"].replace_strict({g: i for i, g in enumerate(gobs)}, default=NOWHERE, return_dtype=pl.Int64)
    mean, sd, n, gob = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape), np.full(shape, NOWHERE)
    mean[row, column], n[row, column] = cells["mean"].to_numpy(), cells["n"].to_numpy()
    sd[row, column], gob[row, column] = cells["sd"].cast(pl.Float64).to_numpy(), place.to_numpy()
    return Rounds(starts, moulds, gobs, mean, sd, n, gob)


def mould_order(mould: str) -> tuple[int, Any]:
    """Numbers by size, before other names."""
    return (0, int(mould)) if mould.isdecimal() else (1, mould)


def _numbers(rows: pl.DataFrame) -> np.ndarray:
    """The number of each row's round, from 0."""
    if rows.is_empty():
        return np.zeros(0, np.int64)
    times = rows.select("second", "mould").unique(maintain_order=True)
    apart = times.select(pl.col("second").diff().over("mould")).to_series().drop_nulls()
    pause = max(60.0, GAP_SHARE * float(apart.median())) if apart.len() else 900.0  # type: ignore[arg-type]
    second = rows["second"].to_numpy()
    block = np.concatenate([[0], np.cumsum(np.diff(second) > pause)])
    frame = rows.select("second", "mould").with_columns(block=pl.Series(block))
    again = frame.unique().group_by("block", "mould").len()
    if again["len"].max() == 1:
        return block
    number, now, seen = np.zeros(len(block), np.int64), 0, dict[str, float]()
    for at, (when, mould, blk) in enumerate(zip(second, rows["mould"], block, strict=True)):
        if (at and blk != block[at - 1]) or seen.get(mould, when) != when:
            now, seen = now + 1, {}
        seen[mould] = when
        number[at] = now
    return number
