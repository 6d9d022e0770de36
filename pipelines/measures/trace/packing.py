"""From the last station to the pallet: how long ware takes, and which part of each minute's ware went onto which
pallet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.words import say

LONGEST_MIN = 30.0
STEP_MIN = 0.25
ASSUMED_MIN, ASSUMED_SD_MIN = 5.0, 2.9  # anything from 0 to 10 min: an assumption
LEAST_PALLETS = 6
TEMPER = 3.0  # the likelihood is divided by this: neighbouring pallets share their errors
INSTANT = timedelta(minutes=1)  # no pallet is filled within: its times are those of its label
NEAR_ENOUGH = (0.5, 1.5)  # of the units: so much ware between two labels is the pallet's own
ALLOWED = 1.25  # times the units, where no label before it tells when a pallet was begun
FILLED_MIN = 60.0  # where neither labels nor counts tell how long one takes: an assumption
TOLD, BY_LABEL, BY_FLOW = "told", "label before", "units and flow"
EMPTY_WITHIN_MIN = 180  # before and after a moment the table was empty once: counts and units drift apart
LEAST_WAIT_MIN, LONGEST_WAIT_MIN = 4.0, 60.0  # less is the unevenness of filling; no table holds more


@dataclass(frozen=True)
class PackingTime:
    """Minutes from the last station to the pallet, with a standard deviation; source says where they come from."""

    minutes: float
    sd: float
    source: str


ASSUMED = PackingTime(ASSUMED_MIN, ASSUMED_SD_MIN, say("assumed: 0 to 10 min, the pallets show nothing nearer"))


def packing_time(passed: Mapping[str, np.ndarray], start: datetime, pallets: pl.DataFrame) -> PackingTime:
    """The time to the pallet at which the units of the pallets agree best with the ware that passed while each was
    packed.

    passed: by item, containers that passed the last station a minute, from `start` by its clock.
    pallets: item, packed_from, packed_to, units. A common factor between units and counts is allowed for: meters err.
    Pallets whose begin was worked out from the flow (`begun`) are left out: they would agree with any time. Where the
    flow is even nothing shows the time, and the answer is ASSUMED.
    """
    if "begin" in pallets.columns:
        pallets = pallets.filter(pl.col("begin") != BY_FLOW)
    grid = np.arange(0.0, LONGEST_MIN + STEP_MIN / 2, STEP_MIN)
    off = [
        part
        for item, counts in passed.items()
        if (part := _misfit(counts, start, pallets.filter(pl.col("item") == item), grid)) is not None
    ]
    if not off:
        return ASSUMED
    misfit = np.concatenate(off)
    if len(misfit) < LEAST_PALLETS:
        return ASSUMED
    best = misfit[:, np.argmin(np.median(np.abs(misfit), axis=0))]
    noise = max(1.4826 * float(np.median(np.abs(best))), 2.0)
    loss = np.minimum((misfit / noise) ** 2, 9.0).sum(axis=0) / 2 / TEMPER
    weight = np.exp(loss.min() - loss)
    weight /= weight.sum()
    mean = float(weight @ grid)
    sd = max(float(np.sqrt(weight @ (grid - mean) ** 2)), STEP_MIN)
    if sd > ASSUMED_SD_MIN:
        return ASSUMED
    return PackingTime(
        mean,
        sd,
        say(
            "estimated from the containers of {pallets} pallets against what passed the last station",
            pallets=len(misfit),
        ),
    )


def _misfit(counts: np.ndarray, start: datetime, pallets: pl.DataFrame, grid: np.ndarray) -> np.ndarray | None:
    """Units less what passed in the pallet's time, [pallets, grid], the common factor taken out."""
    begins, ends = (_minutes(pallets[name], start) for name in ("packed_from", "packed_to"))
    inside = (begins - LONGEST_MIN >= 0) & (ends < len(counts)) & (ends > begins)
    if not inside.any():
        return None
    units = pallets["units"].to_numpy()[inside].astype(float)[:, None]
    whole = np.concatenate([[0.0], np.cumsum(counts)])
    at = np.arange(len(whole))
    answer = np.interp(ends[inside][:, None] - grid, at, whole) - np.interp(begins[inside][:, None] - grid, at, whole)
    factor = np.median(units / np.maximum(answer, 1.0), axis=0, keepdims=True)
    misfit: np.ndarray = units - np.clip(factor, 0.9, 1.1) * answer
    return misfit


def _minutes(moments: pl.Series, start: datetime) -> np.ndarray:
    return (moments - start).dt.total_microseconds().to_numpy() / 60e6


def waits(passed: np.ndarray, start: datetime, pallets: pl.DataFrame, way_min: float) -> np.ndarray:
    """Minutes that what is packed in each minute from `start` had waited on the table, beyond the way to the pallet.

    passed: containers past the last station a minute, of all items. pallets: packed_from, packed_to, units; filled
    evenly. What passed and is not packed waits; the table is taken as empty where least waits within EMPTY_WITHIN_MIN.
    First come, first packed. Common practice, no source.
    """
    from scipy.ndimage import minimum_filter1d

    begins, ends = (_minutes(pallets[name], start) for name in ("packed_from", "packed_to"))
    some = ends > begins
    at = np.arange(len(passed) + 1.0)
    if not some.any():
        return np.zeros(len(passed) + 1)
    speed = pallets["units"].to_numpy()[some] / (ends - begins)[some]
    when, change = np.concatenate([begins[some], ends[some]]), np.concatenate([speed, -speed])
    order = np.argsort(when, kind="stable")
    when, rate = when[order], np.cumsum(change[order])[:-1]
    packed = np.interp(at, when, np.concatenate([[0.0], np.cumsum(rate * np.diff(when))]))
    came = np.interp(at - way_min, at, np.concatenate([[0.0], np.cumsum(passed)]))
    inside = (at > max(when[0], way_min)) & (at < when[-1])
    whole = came[inside][-1] - came[inside][0] if inside.any() else 0.0
    if whole <= 0:
        return np.zeros(len(passed) + 1)
    came = came * min(max((packed[inside][-1] - packed[inside][0]) / whole, 0.9), 1.1)
    stock = np.where(inside, came - packed, (came - packed)[inside].max())
    waiting = np.where(inside, stock - minimum_filter1d(stock, 2 * EMPTY_WITHIN_MIN + 1, mode="nearest"), 0.0)
    answer = (at - np.interp(came - waiting, came + 1e-6 * at, at)) * _side_by_side(begins[some], ends[some])
    return np.where(~inside | (answer < LEAST_WAIT_MIN), 0.0, np.minimum(answer, LONGEST_WAIT_MIN))


def _side_by_side(begins: np.ndarray, ends: np.ndarray) -> float:
    """How many pallets are filled at once, on average over the time in which any is: so much longer waits what one
    palletiser alone keeps back.
    """
    order = np.argsort(begins, kind="stable")
    first, last = begins[order], np.maximum.accumulate(ends[order])
    covered = float(np.maximum(last - np.maximum(first, np.concatenate([[first[0]], last[:-1]])), 0.0).sum())
    return max(1.0, float((ends - begins).sum()) / max(covered, 1e-9))


def instant() -> pl.Expr:
    """Whether a pallet's times are those of its label alone."""
    return pl.col("packed_to") - pl.col("packed_from") <= INSTANT


def begun(pallets: pl.DataFrame, passed: pl.DataFrame) -> pl.DataFrame:
    """One line's pallets with `packed_from` of those stamped at one instant inferred; `begin` says how: TOLD, BY_LABEL
    or BY_FLOW.

    pallets: item, packed_from, packed_to, units. passed: window_start, window_s [s], passed: containers past the last
    station.
    Such a pallet was filled from the label of the one of its item before it to its own label. Where the ware of that
    time is far from its units (NEAR_ENOUGH: pallets were not reported, another job lay between, two were filled side by
    side), or where there is no label before it, it was filled from the moment since which ALLOWED times its units
    passed. Labels of one instant share their time. Without counts an even flow is taken, as fast as the pallets tell;
    without that, FILLED_MIN. Common practice, no source.
    """
    rows = pallets.with_columns(begin=pl.lit(TOLD))
    if not rows.height or not rows.select(instant().any()).item():
        return rows
    ends = rows["packed_to"].dt.epoch("us").to_numpy() / 1e6
    starts, ways = rows["packed_from"].dt.epoch("us").to_numpy() / 1e6, rows["begin"].to_list()
    items, units = rows["item"].to_numpy(), rows["units"].to_numpy().astype(float)
    flow = _flow(passed, rows, ends)
    for n in np.flatnonzero(rows.select(instant()).to_series().to_numpy()):
        mine = items == items[n]
        before = ends[mine & (ends < ends[n])].max(initial=-np.inf)
        starts[n], ways[n] = _begin(ends[n], before, float(units[mine & (ends == ends[n])].sum()), flow)
    values = pl.Series((starts * 1e6).round().astype(np.int64)).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")
    values = values.dt.cast_time_unit(rows["packed_from"].dtype.time_unit)  # type: ignore[attr-defined]
    moment = pl.when(pl.Series(ways) == TOLD).then(pl.col("packed_from")).otherwise(values)
    return rows.with_columns(packed_from=moment, begin=pl.Series(ways))


def _begin(label: float, before: float, units: float, flow: tuple[np.ndarray, np.ndarray] | None) -> tuple[float, str]:
    """When the pallets of a label were begun [s], and by what that is known. before: the label before it; -inf where
    there is none.
    """
    if flow is None:
        assumed = label - FILLED_MIN * 60
        return (before, BY_LABEL) if before > assumed else (assumed, BY_FLOW)
    at, whole = flow
    upto = float(np.interp(label, at, whole))
    between = upto - float(np.interp(before, at, whole)) if before >= at[0] else np.inf
    low, high = NEAR_ENOUGH
    if low * units <= between <= high * units:
        return before, BY_LABEL
    return float(np.interp(upto - ALLOWED * units, whole, at)), BY_FLOW


def _flow(passed: pl.DataFrame, pallets: pl.DataFrame, ends: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """Containers past the last station, added up, at moments [s]; where no counts came, at the rate that is usual.
    None: no rate is known.
    """
    starts = passed["window_start"].dt.epoch("us").to_numpy() / 1e6
    long = np.maximum(passed["window_s"].to_numpy().astype(float), 1.0)
    speed = passed["passed"].to_numpy().astype(float) / long
    usual = float(np.median(speed[speed > 0])) if (speed > 0).any() else _pace(pallets)
    if usual is None:
        return None
    reach = ALLOWED * float(pallets["units"].sum()) / usual + 86400
    far = np.array(
        [min(ends.min(), starts.min(initial=np.inf)) - reach, max(ends.max(), (starts + long).max(initial=0)) + 1]
    )
    when = np.concatenate([starts, starts + long, far])
    order, idle = np.argsort(when, kind="stable"), np.zeros(2)
    rate, cover = (np.cumsum(np.concatenate([x, -x, idle])[order])[:-1] for x in (speed, np.ones(len(speed))))
    rate = np.where(cover > 0.5, np.maximum(rate, usual * 1e-6), usual)
    return when[order], np.concatenate([[0.0], np.cumsum(rate * np.diff(when[order]))])


def _pace(pallets: pl.DataFrame) -> float | None:
    """Containers a second by the pallets: what those that were told took, and what lies between one label and the next
    of its item.
    """
    ended = pallets.sort("packed_to").with_columns(gap=pl.col("packed_to").diff().over("item"))
    took = pl.when(instant()).then(pl.col("gap")).otherwise(pl.col("packed_to") - pl.col("packed_from"))
    frame = ended.with_columns(took=took.dt.total_seconds()).filter((pl.col("took") > 60) & (pl.col("units") > 0))
    return float((frame["units"] / frame["took"]).median()) if frame.height else None  # type: ignore[arg-type]


def on_pallets(weights: np.ndarray, begins: np.ndarray, ends: np.ndarray, sd_bins: float) -> np.ndarray:
    """What of `weights` [rows, bins] falls into each pallet's time [begins, ends) (in bins), its edges blurred by
    `sd_bins`: [rows, pallets].
    """
    from scipy.special import ndtr

    reach = int(np.ceil(4 * sd_bins)) + 1
    offsets = np.arange(-reach, reach + 1)
    kernel = ndtr((offsets + 0.5) / max(sd_bins, 1e-6)) - ndtr((offsets - 0.5) / max(sd_bins, 1e-6))
    padded = np.pad(weights, ((0, 0), (reach, reach)))
    blurred = np.apply_along_axis(lambda row: np.convolve(row, kernel, mode="same"), 1, padded)
    whole = np.concatenate([np.zeros((len(weights), 1)), np.cumsum(blurred, axis=1)], axis=1)
    at = np.arange(whole.shape[1]) - reach
    values: np.ndarray = np.stack([np.interp(ends, at, row) - np.interp(begins, at, row) for row in whole])
    return values


def shared_out(
    weights: np.ndarray, pallets: pl.DataFrame, begins: np.ndarray, ends: np.ndarray, sd_bins: float
) -> np.ndarray:
    """The same where pallets of one item were filled side by side: what came then is shared out by how fast each
    filled, and counted once.

    pallets: item, units; begins, ends: in bins.
    """
    values = np.zeros((len(weights), pallets.height))
    rate = pallets["units"].to_numpy() / np.maximum(ends - begins, 1e-6)
    at = np.arange(weights.shape[1])
    for item in pallets["item"].unique():
        mine = np.flatnonzero(pallets["item"].to_numpy() == item)
        first, last, speed = begins[mine], ends[mine], np.maximum(rate[mine], 1e-9)
        cover = np.clip(np.minimum(last[:, None], at + 1) - np.maximum(first[:, None], at), 0.0, 1.0)
        open_then = cover.sum(axis=0)
        mean = np.where(open_then > 0, speed @ cover / np.maximum(open_then, 1e-9), speed.mean())
        values[:, mine] = on_pallets(weights / (np.maximum(open_then, 1.0) * mean), first, last, sd_bins) * speed
    return values


def blurred_window(bins: int, begin: float, end: float, sd_bins: float) -> np.ndarray:
    """The share of each bin that lies in [begin, end) (in bins), its edges blurred by `sd_bins`."""
    from scipy.special import ndtr

    at, sd = np.arange(bins) + 0.5, np.hypot(sd_bins, 1 / np.sqrt(12))
    values: np.ndarray = ndtr((at - begin) / sd) - ndtr((at - end) / sd)
    return values
