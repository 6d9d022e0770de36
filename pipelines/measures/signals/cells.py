"""What each mould should bring of each defect by the line's own past: kept by blocks of hours, shared out over any
window.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.measures.signals.track import Tracker

BLOCK_HOURS = 4
LEAST_AN_HOUR = 0.02  # of a mould and defect of which less is expected the past tells hardly more than of its line
CELLS: dict[str, pl.DataType | type[pl.DataType]] = {
    "mould": pl.String,
    "defect": pl.String,
    "expected": pl.Float64,
    "variance": pl.Float64,
    "doubt": pl.Float64,
}
_KEY = ("mould", "defect")


def cell_expectations(tracker: Tracker, hour: int) -> pl.DataFrame:
    """One row a mould and defect of which any calls are expected in the hour, as CELLS.

    variance: of such a count beyond Poisson in calls squared, so that the hours of a block add up to that of the block;
    doubt: standard deviation of the expectation itself, in calls. Empty where no past tells.
    """
    scan, expectation = tracker.scan, tracker.expectations[hour]
    per = tracker.past.per_hour
    lo, hi = hour * per - scan.first, min((hour + 1) * per, tracker.counts.bins) - scan.first
    able = (tracker.able & expectation.known).any(axis=1)
    moulds = [number for number, stream in enumerate(scan.streams) if stream.kind == "mould"]
    if not able.any() or not moulds:
        return pl.DataFrame(schema=CELLS)
    expected = (scan.base[:, moulds, hi] - scan.base[:, moulds, lo]) * able[:, None]
    variance = scan.variances(expectation, BLOCK_HOURS)[:, moulds] * expected**2 * BLOCK_HOURS
    doubt = np.sqrt(scan.spread[:, moulds]) * expected
    d, m = np.nonzero(expected > 0)
    frame = pl.DataFrame(
        {
            "mould": [scan.streams[moulds[n]].key for n in m],
            "defect": [tracker.counts.defects[n] for n in d],
            "expected": expected[d, m],
            "variance": variance[d, m],
            "doubt": doubt[d, m],
        },
        schema=CELLS,
    )
    return frame.group_by(*_KEY, maintain_order=True).agg(pl.all().sum())


def blocks_of_cells(cells: pl.DataFrame, start: datetime) -> pl.DataFrame:
    """The hours of a line's cells summed by blocks of BLOCK_HOURS counted from `start`, moulds of which little is
    expected pooled.

    cells: hour and CELLS. Comes back with `hour` the first hour of the block that has any; mould null for the pool: its
    expected is that of all its moulds, its variance and doubt relative to it as those of one of them.
    """
    number = (pl.col("hour") - start).dt.total_seconds() // (3600 * BLOCK_HOURS)
    block = cells.with_columns(block=number).with_columns(
        hours=pl.col("hour").n_unique().over("block"), hour=pl.col("hour").min().over("block")
    )
    summed = block.group_by("hour", *_KEY, maintain_order=True).agg(
        pl.col("hours").first(), pl.col("expected", "variance", "doubt").sum()
    )
    own = pl.col("expected") >= LEAST_AN_HOUR * pl.col("hours")
    relative = summed.filter(~own).with_columns(
        v=pl.col("variance") / pl.col("expected") ** 2, r=pl.col("doubt") / pl.col("expected")
    )
    pool = relative.group_by("hour", "defect", maintain_order=True).agg(
        mould=pl.lit(None, pl.String),
        expected=pl.col("expected").sum(),
        variance=pl.col("v").mean() * pl.col("expected").sum() ** 2,
        doubt=pl.col("r").mean() * pl.col("expected").sum(),
    )
    columns = ["hour", *CELLS]
    both = pl.concat([summed.filter(own).select(columns), pool.select(columns)])
    return both.sort("hour", *_KEY).with_columns(pl.col("expected", "variance", "doubt").round_sig_figs(4))


def cells_between(
    blocks: pl.DataFrame, by_hour: pl.DataFrame, ware: dict[str, float], start: datetime, end: datetime
) -> pl.DataFrame:
    """Calls expected of each mould and defect in [start, end), as CELLS; a pool is shared out over its moulds by their
    ware.

    blocks: as blocks_of_cells gives them. by_hour: hour, mould, expected: of all defects, which says how a block's
    calls lie in its hours. ware: containers of each mould. A part of a block has as much more of the variance as it is
    shorter.
    """
    begins = sorted(blocks["hour"].unique().to_list())
    if not begins or by_hour.is_empty():
        return pl.DataFrame(schema=CELLS)
    longest = timedelta(hours=BLOCK_HOURS)
    ends = [min(a + longest, b) for a, b in zip(begins, [*begins[1:], begins[-1] + longest], strict=True)]
    hour = timedelta(hours=1)
    rows = by_hour.sort("hour").join_asof(
        pl.DataFrame({"block": begins, "until": ends}).sort("block"),
        left_on="hour",
        right_on="block",
        strategy="backward",
    )
    inside = pl.min_horizontal(pl.col("hour") + hour, pl.lit(end)) - pl.max_horizontal(pl.col("hour"), pl.lit(start))
    part = (inside.dt.total_seconds() / 3600).clip(0.0, 1.0)
    hours = rows.filter(pl.col("hour") < pl.col("until")).with_columns(inside=part * pl.col("expected"))
    of_mould = hours.group_by("block", "mould").agg(share=pl.col("inside").sum() / pl.col("expected").sum())
    own = blocks.filter(pl.col("mould").is_not_null()).join(
        of_mould, left_on=["hour", "mould"], right_on=["block", "mould"]
    )
    frame = pl.concat([own, _shared_out(blocks, own, of_mould, ware)])
    share = pl.col("share")
    return (
        frame.filter(share > 0)
        .with_columns(
            expected=pl.col("expected") * share, variance=pl.col("variance") * share, doubt=pl.col("doubt") * share
        )
        .group_by(*_KEY, maintain_order=True)
        .agg(pl.col("expected", "variance", "doubt").sum())
        .sort(*_KEY)
    )


def _shared_out(
    blocks: pl.DataFrame, own: pl.DataFrame, of_mould: pl.DataFrame, ware: dict[str, float]
) -> pl.DataFrame:
    """The pools' rows, one a mould that has none of its own of that block and defect."""
    passed = pl.DataFrame(
        {"mould": list(ware), "ware": list(ware.values())}, schema={"mould": pl.String, "ware": pl.Float64}
    )
    there = of_mould.join(passed, on="mould").rename({"block": "hour"})
    pools = blocks.filter(pl.col("mould").is_null()).drop("mould")
    each = pools.join(there, on="hour").join(own.select("hour", *_KEY), on=["hour", *_KEY], how="anti")
    part = pl.col("ware") / pl.col("ware").sum().over("hour", "defect")
    scaled = each.with_columns(part=part).filter(pl.col("part") > 0)
    return scaled.with_columns(
        expected=pl.col("expected") * pl.col("part"),
        variance=pl.col("variance") * pl.col("part") ** 2,
        doubt=pl.col("doubt") * pl.col("part"),
    ).select(own.columns)
