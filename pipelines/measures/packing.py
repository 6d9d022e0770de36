"""From the last station to the pallet: how long ware takes, and which part of each minute's ware went onto which pallet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

LONGEST_MIN = 30.0
STEP_MIN = 0.25
ASSUMED_MIN, ASSUMED_SD_MIN = 5.0, 2.9  # anything from 0 to 10 min: an assumption
LEAST_PALLETS = 6
TEMPER = 3.0  # the likelihood is divided by this: neighbouring pallets share their errors


@dataclass(frozen=True)
class PackingTime:
    """Minutes from the last station to the pallet, with a standard deviation; source says where they come from."""

    minutes: float
    sd: float
    source: str


ASSUMED = PackingTime(ASSUMED_MIN, ASSUMED_SD_MIN, "assumed: 0 to 10 min, the pallets show nothing nearer")


def packing_time(passed: Mapping[str, np.ndarray], start: datetime, pallets: pl.DataFrame) -> PackingTime:
    """The time to the pallet at which the units of the pallets agree best with the ware that passed while each was packed.

    passed: by item, containers that passed the last station a minute, from `start` by its clock.
    pallets: item, packed_from, packed_to, units. A common factor between units and counts is allowed for: meters err.
    Where the flow is even nothing shows the time, and the answer is ASSUMED.
    """
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
        mean, sd, f"estimated from the units of {len(misfit)} pallets against what passed the last station"
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
    told = np.interp(ends[inside][:, None] - grid, at, whole) - np.interp(begins[inside][:, None] - grid, at, whole)
    factor = np.median(units / np.maximum(told, 1.0), axis=0, keepdims=True)
    misfit: np.ndarray = units - np.clip(factor, 0.9, 1.1) * told
    return misfit


def _minutes(moments: pl.Series, start: datetime) -> np.ndarray:
    return (moments - start).dt.total_microseconds().to_numpy() / 60e6


def on_pallets(weights: np.ndarray, begins: np.ndarray, ends: np.ndarray, sd_bins: float) -> np.ndarray:
    """What of `weights` [rows, bins] falls into each pallet's time [begins, ends) (in bins), its edges blurred by `sd_bins`: [rows, pallets]."""
    from scipy.special import ndtr

    reach = int(np.ceil(4 * sd_bins)) + 1
    offsets = np.arange(-reach, reach + 1)
    kernel = ndtr((offsets + 0.5) / max(sd_bins, 1e-6)) - ndtr((offsets - 0.5) / max(sd_bins, 1e-6))
    padded = np.pad(weights, ((0, 0), (reach, reach)))
    blurred = np.apply_along_axis(lambda row: np.convolve(row, kernel, mode="same"), 1, padded)
    whole = np.concatenate([np.zeros((len(weights), 1)), np.cumsum(blurred, axis=1)], axis=1)
    at = np.arange(whole.shape[1]) - reach
    told: np.ndarray = np.stack([np.interp(ends, at, row) - np.interp(begins, at, row) for row in whole])
    return told


def shared_out(
    weights: np.ndarray, pallets: pl.DataFrame, begins: np.ndarray, ends: np.ndarray, sd_bins: float
) -> np.ndarray:
    """The same where pallets of one item were filled side by side: what came then is shared out by how fast each filled, and counted once.

    pallets: item, units; begins, ends: in bins.
    """
    told = np.zeros((len(weights), pallets.height))
    rate = pallets["units"].to_numpy() / np.maximum(ends - begins, 1e-6)
    at = np.arange(weights.shape[1])
    for item in pallets["item"].unique():
        mine = np.flatnonzero(pallets["item"].to_numpy() == item)
        first, last, speed = begins[mine], ends[mine], np.maximum(rate[mine], 1e-9)
        cover = np.clip(np.minimum(last[:, None], at + 1) - np.maximum(first[:, None], at), 0.0, 1.0)
        open_then = cover.sum(axis=0)
        mean = np.where(open_then > 0, speed @ cover / np.maximum(open_then, 1e-9), speed.mean())
        told[:, mine] = on_pallets(weights / (np.maximum(open_then, 1.0) * mean), first, last, sd_bins) * speed
    return told


def blurred_window(bins: int, begin: float, end: float, sd_bins: float) -> np.ndarray:
    """The share of each bin that lies in [begin, end) (in bins), its edges blurred by `sd_bins`."""
    from scipy.special import ndtr

    at, sd = np.arange(bins) + 0.5, np.hypot(sd_bins, 1 / np.sqrt(12))
    told: np.ndarray = ndtr((at - begin) / sd) - ndtr((at - end) / sd)
    return told
