"""What a line's signals explain in each cavity of its machine: the calls of their place since their onset, and no
others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from schemas.answers.signals import Signal

EXCESS = "excess"
SHARED = 0.05  # relative variance of a signal's factor from cavity to cavity, as where signals are followed
WEIGHT = 40.0  # that weighs as much as so many cavities of one expected call
CAPPED = 16.0  # a cavity further than 4 standard deviations from its mean widens no limits beyond that
MANY = 4  # of so many cavities a cavity is left out of the factor that it is judged by
WHOLE = ("line", "furnace", "station")
Spot = tuple[int, str]


@dataclass(frozen=True)
class Explained:
    """calls: [cavities, defects] that signals bring beyond what was expected; variance: of that, in calls squared.

    inside: [signals, cavities] whether the cavity lies in the signal's place and any of its ware passed while it
    lasted.
    """

    calls: np.ndarray
    variance: np.ndarray
    inside: np.ndarray


@dataclass(frozen=True)
class Frames:
    """A window's calls (window_start, station, defect, section, gob, calls) and ware (window_start, station, section,
    gob, inspected).
    """

    calls: pl.DataFrame
    ware: pl.DataFrame


def that_explain(signals: Sequence[Signal], line: str, start: datetime, end: datetime) -> list[Signal]:
    """The excesses of a line that were on at any time of [start, end); those that only passed explain nothing."""
    return [
        s
        for s in signals
        if s.line == line
        and s.kind == EXCESS
        and not s.passed
        and s.onset < end
        and (s.ended is None or s.ended > start)
    ]


def place_of(signal: Signal, places: Sequence[Spot]) -> np.ndarray:
    """[cavities] which cavities a signal's place holds."""
    if signal.scope in WHOLE:
        return np.ones(len(places), bool)
    return np.array([f"{section}{gob}" in signal.cavities for section, gob in places], bool)


def explained(
    signals: Sequence[Signal], places: Sequence[Spot], defects: Sequence[str], frames: Frames, expected: np.ndarray
) -> Explained:
    """What the signals explain of each cavity and defect.

    In a cavity of its place a signal brings expected x (factor - 1) of the ware that passed from its onset to its end;
    factor = calls / expected of the place in that time, in the window itself, so that a place as a whole is never more
    than its signal explains. Of two signals of a defect the wider comes first, judged by the cavities that the narrower
    leaves. A station's signal brings that station's own calls beyond its rate before, shared out as the defect is
    expected.
    expected: [cavities, defects] in the window by the past.
    """
    calls, variance = np.zeros(expected.shape), np.zeros(expected.shape)
    inside = np.zeros((len(signals), len(places)), bool)
    masks = [place_of(this_signal, places) for this_signal in signals]
    earlier: list[tuple[Signal, Frames, np.ndarray]] = []
    whole = _by_place(frames.ware, "inspected", places)
    for number in sorted(range(len(signals)), key=lambda n: -int(masks[n].sum())):
        signal, mask = signals[number], masks[number]
        if signal.defect not in defects:
            continue
        d = defects.index(signal.defect)
        here = _while_on(frames, signal)
        ware = _by_place(here.ware, "inspected", places)
        part = np.divide(ware, whole, out=np.zeros_like(ware), where=whole > 0)
        inside[number] = mask & (part > 0)
        seen = _by_place(here.calls, "calls", places)
        wanted = expected[:, d] * part + _before(earlier, signal, places)
        narrower = [m for n, m in enumerate(masks) if signals[n].defect == signal.defect and m.sum() < mask.sum()]
        free = mask & ~np.any(narrower, axis=0) if narrower else mask
        free = free if (wanted[free] > 0).any() else mask
        if signal.scope == "station":
            more = _of_station(signal, seen, ware, wanted)
        else:
            more = np.where(mask, wanted * (_factors(seen, wanted, free) - 1), 0.0)
        calls[:, d] += more
        earlier.append((signal, here, more))
        shared = _shared(seen, wanted + more, free) if signal.scope != "station" else SHARED
        variance[:, d] += (shared + 1 / (1 + seen[free].sum())) * more**2
    return Explained(calls, variance, inside)


def _before(earlier: Sequence[tuple[Signal, Frames, np.ndarray]], signal: Signal, places: Sequence[Spot]) -> np.ndarray:
    """What wider signals of the same defect bring in the time of this one: as much as of their own ware passed in
    it.
    """
    values = np.zeros(len(places))
    for other, here, more in earlier:
        if other.defect == signal.defect:
            whole = _by_place(here.ware, "inspected", places)
            both = _by_place(_while_on(here, signal).ware, "inspected", places)
            values += more * np.divide(both, whole, out=np.zeros_like(both), where=whole > 0)
    return values


def _factors(seen: np.ndarray, wanted: np.ndarray, free: np.ndarray) -> np.ndarray:
    """How many times the expected calls there were in the `free` cavities, for each cavity; at least 1."""
    calls, should = float(seen[free].sum()), float(wanted[free].sum())
    alone = free & (free.sum() > MANY)
    left = np.where(alone, calls - seen, calls), np.where(alone, should - wanted, should)
    values: np.ndarray = np.maximum(1.0, left[0] / np.maximum(left[1], 1e-3))
    return values


def _shared(seen: np.ndarray, should: np.ndarray, free: np.ndarray) -> np.ndarray:
    """Relative variance of a signal's factor from cavity to cavity, by the `free` cavities but the one judged; at least
    SHARED.

    References: [1] McCullagh and Nelder, Generalized Linear Models, 2nd ed., 6.2 (moment estimates of over-dispersion).
    """
    apart = np.where(free, np.minimum((seen - should) ** 2, CAPPED * (should + SHARED * should**2)) - should, 0.0)
    scale = np.where(free, should**2, 0.0)
    values: np.ndarray = (apart.sum() - apart + WEIGHT * SHARED) / (scale.sum() - scale + WEIGHT)
    return np.maximum(SHARED, values)


def _of_station(signal: Signal, seen: np.ndarray, ware: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """A station's calls beyond its rate before, shared out over the cavities as the defect is expected of them."""
    extra = max(0.0, float(seen.sum() - (signal.rate_before or 0.0) * ware.sum()))
    share = wanted if wanted.sum() > 0 else ware
    values: np.ndarray = extra * share / max(float(share.sum()), 1e-12)
    return values


def _while_on(frames: Frames, signal: Signal) -> Frames:
    """The rows of the signal's defect and time; of a station's signal those of the station alone."""
    end = pl.col("window_start") + pl.duration(seconds=pl.col("window_s"))
    on = end > signal.onset
    if signal.ended is not None:
        on &= pl.col("window_start") < signal.ended
    if signal.scope == "station":
        on &= pl.col("station").is_in(signal.members)
    return Frames(frames.calls.filter(on & (pl.col("defect") == signal.defect)), frames.ware.filter(on))


def _by_place(frame: pl.DataFrame, what: str, places: Sequence[Spot]) -> np.ndarray:
    sums = frame.filter(pl.col("section").is_not_null()).group_by("section", "gob").agg(pl.col(what).sum())
    row = {(section, gob): count for section, gob, count in sums.iter_rows()}
    return np.array([row.get(place, 0) for place in places], float)
