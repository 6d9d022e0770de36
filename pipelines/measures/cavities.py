"""A machine's cavities over a window: what each was called for, and how unusual that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.shares import ratio

FEW = 1.3  # a spread from a machine's few cavities comes out too small as often as not: widened so that quiet simulated machines keep to FAR and MORE
FAR, MORE = 0.01, 0.1  # adjusted probabilities below which a cavity stands out far, or stands out


@dataclass(frozen=True)
class CavityState:
    """One cavity. moulds: numbers fitted in the window, the last one last. ware: containers of it, unread ones shared out in proportion; expected:
    calls, by its mould's own past or by the other cavities; q: false-discovery-adjusted probability of so many by chance. worst: its most frequent
    defects with their calls, critical ones first. level: "far", "more", "usual", "unknown" (nothing to compare with) or "empty" (no ware)."""

    section: int
    gob: str
    moulds: tuple[str, ...]
    calls: int
    critical: int
    ware: float
    expected: float | None
    q: float | None
    worst: tuple[tuple[str, int], ...]
    level: str

    @property
    def rate(self) -> float | None:
        return ratio(self.calls, self.ware)

    @property
    def times(self) -> float | None:
        """Calls over expected calls."""
        return ratio(self.calls, self.expected)


def cavity_counts(
    calls: pl.DataFrame, ware: pl.DataFrame, critical: list[str], stations: list[str]
) -> dict[tuple[int, str], dict[str, Any]]:
    """Calls, critical calls, worst defects and ware of each (section, gob).

    calls: mould, defect, section, gob, calls; ware: station, mould, section, gob, inspected. stations: the lanes at which moulds are read first; the
    unread ware of them is shared out in proportion to the read.
    """
    told: dict[tuple[int, str], dict[str, Any]] = {}
    here = ware.filter(pl.col("station").is_in(stations))
    placed = here.filter(pl.col("section").is_not_null()).group_by("section", "gob").agg(pl.col("inspected").sum())
    known = float(here.filter(pl.col("mould").is_not_null())["inspected"].sum())
    scale = float(here["inspected"].sum()) / known if known else 0.0
    for section, gob, seen in placed.iter_rows():
        told[section, gob] = {"ware": seen * scale, "calls": 0, "critical": 0, "worst": []}
    sums = calls.filter(pl.col("section").is_not_null()).group_by("section", "gob", "defect").agg(pl.col("calls").sum())
    severe = pl.col("defect").is_in(critical)
    for section, gob, defect, count in sums.sort(
        severe, pl.col("calls"), pl.col("defect"), descending=[True, True, False]
    ).iter_rows():
        one = told.setdefault((section, gob), {"ware": 0.0, "calls": 0, "critical": 0, "worst": []})
        one["calls"] += count
        one["critical"] += count if defect in critical else 0
        one["worst"].append((defect, count))
    return told


def by_the_others(calls: np.ndarray, ware: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected calls of each cavity by the rate of all others, the variance beyond Poisson [calls squared], and the doubt of the expectation [calls].

    The spread between cavities beyond chance is that of the middle half of them, so that a bad one does not widen its own limits.
    References: [1] Laney, Quality Engineering 14 (2002) 531, sigma z; here by the median absolute deviation.
    """
    others = calls.sum() - calls
    expected = ware * others / np.maximum(ware.sum() - ware, 1e-9)
    z = (calls - expected) / np.sqrt(np.maximum(expected, 1e-9))
    live = expected > 0
    spread = FEW * 1.4826 * float(np.median(np.abs(z[live] - np.median(z[live])))) if live.any() else 1.0
    return expected, np.maximum(0.0, spread**2 - 1) * expected, expected / np.sqrt(np.maximum(others, 1.0))


def cavity_states(
    places: list[tuple[int, str]], counts: Mapping[tuple[int, str], dict[str, Any]], moulds: Mapping[tuple[int, str], tuple[str, ...]],
    past: Mapping[str, tuple[float, float, float]] | None,
) -> list[CavityState]:  # fmt: skip
    """Every place of the machine with how unusual its calls are.

    past: by mould number, calls expected, variance beyond Poisson and doubt, of moulds whose own past tells; None: each is compared with the others.
    """
    from pipelines.measures.signals.expected import excess_q

    nothing = {"ware": 0.0, "calls": 0, "critical": 0, "worst": []}
    told = [counts.get(place, nothing) for place in places]
    calls, ware = (np.array([one[name] for one in told], float) for name in ("calls", "ware"))
    if past is None:
        expected, variance, doubt = by_the_others(calls, ware)
    else:
        sums = [[past[m] for m in moulds.get(place, ()) if m in past] for place in places]
        expected, variance, doubt = (np.array([sum(one[n] for one in of) for of in sums], float) for n in range(3))
    known = (ware > 0) & (expected > 0)
    q = np.full(len(places), np.nan)
    if known.any():
        q[known] = excess_q(calls[known], expected[known], variance[known], doubt[known])
    return [
        CavityState(
            section, gob, moulds.get((section, gob), ()), one["calls"], one["critical"], one["ware"], float(expected[n]) if known[n] else None,
            float(q[n]) if known[n] else None, tuple(one["worst"][:4]), _level(one, known[n], q[n]),
        )
        for n, ((section, gob), one) in enumerate(zip(places, told, strict=True))
    ]  # fmt: skip


def _level(one: Mapping[str, Any], known: bool, q: float) -> str:
    if not one["ware"] and not one["calls"]:
        return "empty"
    if not known:
        return "unknown"
    return "far" if q < FAR else "more" if q < MORE else "usual"
