"""Pallets that hold more than passed the last station while they were packed: named before anything is balanced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.clock import Span

BIN_S = 300
BEFORE = timedelta(hours=12)  # of the day's start: what was on its way to the pallets then
WAYS = range(13)  # from the last station to the pallet: 0 to 60 min
HALF = 0.5  # of a pallet: fewer units above what passed are a matter of clocks and of the table
STOCK_BINS = 12  # ware waits at most an hour on its way
MORE = 0.3  # of that: enough for a further pallet, once one is doubted
REST = 0.1  # of an ordinary pallet: what the day's limits leave of one is not looked at
EARLIER = 6  # bins before the surplus shows, in which its pallets may have begun
MOST = 12  # pallets
CHAIN_S = 180  # between the end of a pallet and the begin of the next
CHAINED = 0.5  # a pallet between two others is so much less to be doubted


@dataclass(frozen=True)
class Overpacked:
    """The pallets that no ware was there for. rows: their places in the frame; pallets: their names; units: on them;
    above: units on all pallets beyond what was there; start, end: when.
    """

    rows: tuple[int, ...] = ()
    pallets: tuple[str, ...] = ()
    units: float = 0.0
    above: float = 0.0
    start: datetime | None = None
    end: datetime | None = None


NONE_DOUBTED = Overpacked()


def above_what_passed(pallets: pl.DataFrame, passed: pl.DataFrame, span: Span) -> Overpacked:
    """pallets: pallet, packed_from, packed_to, units; passed: window_start, window_s, passed; span: when the day's ware
    is packed.

    Ware that passed waits until it is packed; what is packed while none waits is above what passed. How long the way
    is, and by what share pallets and counters differ all day, is taken from the day itself, so that a long table, a
    stop or a counter that reads low name no pallet. Of the pallets about a surplus those are named, one after another,
    without which packed and passed agree best.
    Common practice, no source: a count of stock that cannot fall below nothing. The constants were set on simulated
    works, tidy and rough (tables, two palletisers with stops): on 26 honest line-days no pallet was named and two
    surpluses told; of 13 pairs of doubtful pallets both were named on 11, one on 2.
    """
    if not pallets.height or not passed.height or "pallet" not in pallets.columns:
        return Overpacked()
    edges = np.arange((span.start - BEFORE).timestamp(), span.end.timestamp() + BIN_S, BIN_S, dtype=float)
    ware, known = by_bin(passed, edges)
    known &= edges[1:] > pallets["packed_from"].min().timestamp()  # type: ignore[union-attr]  # earlier pallets were not asked for
    units = packed_by_bin(pallets, edges, np.where(known, ware, ware[known].mean() if known.any() else 0.0))
    way, ratio = _way(units.sum(axis=0), ware, known)
    ware, known = _later(ware * ratio, way), _later(known, way)
    least = HALF * float(pallets["units"].median() or 0.0)  # type: ignore[arg-type]
    named: list[int] = []
    chained = _chained(pallets)
    first = above = _above(units.sum(axis=0), ware, known)
    while above.sum() > (least * MORE if named else least) and len(named) < MOST:
        best = _worst(units, ware, known, above, named, chained)
        if best is None:
            break
        named.append(best)
        above = _above(np.delete(units, named, axis=0).sum(axis=0), ware, known)
    if not named:
        return Overpacked(above=float(first.sum()) if first.sum() > least else 0.0)
    rows = [pallets.row(n, named=True) for n in named]
    return Overpacked(
        tuple(named),
        tuple(row["pallet"] for row in rows),
        float(units[named].sum()),
        float(first.sum()),
        min(row["packed_from"] for row in rows),
        max(row["packed_to"] for row in rows),
    )


def by_bin(passed: pl.DataFrame, edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Containers past the last station in each bin, and whether counts cover it."""
    frame = passed.group_by("window_start", "window_s").agg(pl.col("passed").sum()).sort("window_start")
    starts = frame["window_start"].dt.epoch("us").to_numpy() / 1e6
    wide = frame["window_s"].to_numpy().astype(float)
    counts = frame["passed"].to_numpy().astype(float)
    ware, covered = np.zeros(len(edges) - 1), np.zeros(len(edges) - 1)
    for start, seconds, count in zip(starts, wide, counts, strict=True):
        inside = np.clip(np.minimum(edges[1:], start + seconds) - np.maximum(edges[:-1], start), 0.0, None)
        ware += count * inside / seconds
        covered += inside
    return ware, covered > BIN_S * 0.5


def packed_by_bin(pallets: pl.DataFrame, edges: np.ndarray, ware: np.ndarray) -> np.ndarray:
    """[pallets, bins]: units of each pallet, spread as the ware passed while it was packed; where no counts came,
    evenly.
    """
    through = np.concatenate([[0.0], np.cumsum(ware + 1e-6)])
    rows = []
    for start, end, units in zip(pallets["packed_from"], pallets["packed_to"], pallets["units"], strict=True):
        low, high = start.timestamp(), max(end.timestamp(), start.timestamp() + 1.0)
        at = np.interp(np.clip(edges, low, high), edges, through)
        whole = float(at[-1] - at[0])
        inside = (min(high, edges[-1]) - max(low, edges[0])) / (high - low)
        rows.append(np.diff(at) / whole * units * max(inside, 0.0) if whole > 0 else np.zeros(len(ware)))
    return np.array(rows)


def _way(packed: np.ndarray, ware: np.ndarray, known: np.ndarray) -> tuple[int, float]:
    """Bins from the last station to the pallet, and packed over passed of an ordinary bin."""
    found = []
    for way in WAYS:
        there, seen = _later(ware, way), _later(known, way)
        usual = seen & (there > 0.2 * there.max()) & (packed > 0)
        ratio = float(np.median(packed[usual] / there[usual])) if usual.any() else 1.0
        ratio = min(max(ratio, 0.8), 1.25)
        found.append((float(np.abs(packed - ratio * there)[seen].sum()), way, ratio))
    return min(found)[1:]


def _later(values: np.ndarray, bins: int) -> np.ndarray:
    """Values by the clock so many bins later; nothing is known of the first ones."""
    return np.concatenate([np.zeros(bins, values.dtype), values[: len(values) - bins]])


def _above(packed: np.ndarray, ware: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Units packed in each bin while no ware waited."""
    above, waits = np.zeros(len(packed)), 0.0
    recent = np.convolve(ware, np.ones(STOCK_BINS))[: len(ware)]
    waits = float(ware[known][:2].sum())  # a table holds a few minutes of ware
    for n in range(len(packed)):
        if not known[n]:
            continue
        waits += ware[n] - packed[n]
        if waits < 0:
            above[n], waits = -waits, 0.0
        waits = min(waits, float(recent[n]))
    return above


def _worst(
    units: np.ndarray, ware: np.ndarray, known: np.ndarray, above: np.ndarray, named: Sequence[int], chained: np.ndarray
) -> int | None:
    """The pallet without which packed and passed agree best, among those about a surplus."""
    about = np.zeros(len(above), dtype=bool)
    for n in map(int, np.flatnonzero(above > 0)):
        about[max(0, n - EARLIER) : n + 1] = True
    left = np.delete(units, list(named), axis=0).sum(axis=0) - ware
    off = float(np.abs(left[known]).sum())
    best: tuple[float, int] | None = None
    usual = float(np.median(units.sum(axis=1)))
    for n, mine in enumerate(units):
        whole = float(mine.sum())
        if n in named or whole < REST * usual or float(mine[about].sum()) < HALF * whole:
            continue
        better = off - float(np.abs(left - mine)[known].sum())
        score = (2 * better - whole) * (CHAINED if chained[n] else 1.0)
        if better > HALF * whole and (best is None or score > best[0]):
            best = (score, n)
    return best[1] if best else None


def _chained(pallets: pl.DataFrame) -> np.ndarray:
    """Whether a pallet begins where another ended, and ends where one begins: palletisers go on from one to the
    next.
    """
    starts, ends = (pallets[name].dt.epoch("s").to_numpy() for name in ("packed_from", "packed_to"))
    near = np.abs(starts[:, None] - ends[None, :]) <= CHAIN_S
    values: np.ndarray = near.any(axis=1) & near.any(axis=0)
    return values
