"""Calls without a mould number: how many, at which stations, in words. What is told by mould is told of the others
only.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from pipelines.measures.statistics.shares import ratio
from pipelines.numbers import decimals
from pipelines.words import say

TOLD_FROM = 0.02  # share of the calls from which it is said
CALLS = say("the calls")
DIFFERS = 0.05  # between stations, from which each is named


@dataclass(frozen=True)
class Unread:
    """share: of a span's calls, those without a mould number; None without calls. stations: the same by station."""

    share: float | None = None
    stations: Mapping[str, float] = field(default_factory=dict)


def unread_calls(calls: pl.DataFrame) -> Unread:
    """calls: station, mould (null: not read), calls."""
    if not calls["calls"].sum():
        return Unread()
    none = pl.col("calls").filter(pl.col("mould").is_null()).sum()
    by = calls.group_by("station").agg(none.alias("none"), pl.col("calls").sum().alias("all")).filter(pl.col("all") > 0)
    stations = {s: float(n) / float(whole) for s, n, whole in by.sort("station").iter_rows()}
    return Unread(ratio(int(by["none"].sum()), int(by["all"].sum())), stations)


def unread_words(unread: Unread, of: str = CALLS) -> str:
    """How many calls had no number, with the stations where they differ; empty up to TOLD_FROM."""
    if unread.share is None or unread.share <= TOLD_FROM:
        return ""
    return say(
        "{share} % of {of} had no mould number{apart}",
        share=decimals(100 * unread.share, 1),
        of=of,
        apart=_apart(unread.stations),
    )


def unread_caption(unread: Unread) -> str:
    """Under a table by mould or place: how many calls had no number, and what that means for its counts."""
    shared = say("own ware shares unread ware out in proportion.")
    if words := unread_words(unread):
        return say("{words}: what is told by mould is of the others only; {shared}", words=words, shared=shared)
    return say(
        "{share} % of the calls had no mould number; {shared}",
        share=decimals(100 * (unread.share or 0.0), 1),
        shared=shared,
    )


def _apart(stations: Mapping[str, float]) -> str:
    if len(stations) < 2 or max(stations.values()) - min(stations.values()) <= DIFFERS:
        return ""
    worst = sorted(stations.items(), key=lambda answer: (-answer[1], answer[0]))
    return f" ({', '.join(f'{station} {100 * share:.0f} %' for station, share in worst)})"
