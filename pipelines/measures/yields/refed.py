"""Ware that goes through stations again: what a day's meters say of new ware only.

A container that a station rejected and that was put on again is not lost, and where it is inspected again it is not
new.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import polars as pl

from pipelines.words import numeral, say

DAY_BEFORE = 0.25  # of a day's rejects: so much may have been put on again of what was rejected the day before; a guess


def of_new_ware(ware: pl.DataFrame, orders: Mapping[str, int]) -> tuple[pl.DataFrame, list[str]]:
    """A day's counts by part and station for new ware alone, and what has to be said of them.

    ware: part, station, inspected (new ware), rejected (of all ware), refed (null where a station does not tell it).
    orders: the order of each station, lanes alike. A works that tells of no re-fed ware gets its counts back as they
    are.

    With f new and r re-fed containers at one order and R rejected there, f + r - R go on. Of them are new what the next
    order says, so R - max(0, r - r of the next) new ones left for good: the sum over all orders is all rejects less
    what was put on again. What an order tells beyond all that the line rejected in the day, and `DAY_BEFORE` of it,
    cannot have been put on again: it counts as new ware.
    """
    if "refed" not in ware.columns or not ware["refed"].sum():
        return ware.with_columns(refed=pl.lit(0)), []
    ware, doubts = _what_can_be(ware, orders)
    sums = ware.group_by("station").agg(
        pl.col("inspected", "rejected").sum(), pl.col("refed").sum(), told=pl.col("refed").is_not_null().any()
    )
    station = {row["station"]: row for row in sums.iter_rows(named=True)}
    again, guessed = _by_order(station, orders)
    notes = doubts + [
        say(
            "{station}: {refed} containers went through it again and are not counted as new ware",
            station=name,
            refed=numeral(station[name]["refed"], ",.0f"),
        )
        for name in sorted(station)
        if station[name]["refed"]
    ]
    notes += [
        say("{station} does not tell what went through again: taken from the station before it, a guess", station=name)
        for name in guessed
    ]
    known = sorted(again)
    back = {
        order: max(0.0, again[order] - then)
        for order, then in zip(known, [*(again[o] for o in known[1:]), 0.0], strict=True)
    }
    share, over = _kept_share(station, orders, back)
    notes += _from_elsewhere(over)
    new = {name: 1 - guessed.get(name, 0.0) / max(row["inspected"], 1) for name, row in station.items()}
    return ware.with_columns(
        inspected=pl.col("inspected") * pl.col("station").replace_strict(new, return_dtype=pl.Float64),
        rejected=pl.col("rejected") * pl.col("station").replace_strict(share, return_dtype=pl.Float64),
        refed=pl.col("refed").fill_null(0),
    ), notes


def _from_elsewhere(over: float) -> list[str]:
    if over < 1:
        return []
    return [
        say(
            "{over} more containers were put on again than were rejected there: they came from elsewhere, such as the "
            "day before",
            over=numeral(over, ",.0f"),
        )
    ]


def _what_can_be(ware: pl.DataFrame, orders: Mapping[str, int]) -> tuple[pl.DataFrame, list[str]]:
    """The counts without re-fed ware that nothing was rejected for, and the stations that tell of it by name."""
    rejected = float(ware["rejected"].sum())
    most = rejected * (1 + DAY_BEFORE)
    values = {row[0]: float(row[1] or 0) for row in ware.group_by("station").agg(pl.col("refed").sum()).iter_rows()}
    sums: dict[int, float] = {}
    for name, units in values.items():
        sums[orders[name]] = sums.get(orders[name], 0.0) + units
    kept = {name: min(1.0, most / sums[orders[name]]) if sums[orders[name]] else 1.0 for name in values}
    doubts = [
        say(
            "{station}: says that {refed} containers went through it again, where the whole line rejected {rejected}: "
            "that cannot be. At most {kept} are taken for it, the rest as new ware; have its count of them checked",
            station=name,
            refed=numeral(values[name], ",.0f"),
            rejected=numeral(rejected, ",.0f"),
            kept=numeral(values[name] * kept[name], ",.0f"),
        )
        for name in sorted(values)
        if kept[name] < 1
    ]
    if not doubts:
        return ware, []
    again = pl.col("refed") * pl.col("station").replace_strict(kept, return_dtype=pl.Float64)
    more = (pl.col("refed") - again).fill_null(0.0)
    return ware.with_columns(inspected=pl.col("inspected") + more, refed=again), doubts


def _by_order(
    station: Mapping[str, dict[str, float]], orders: Mapping[str, int]
) -> tuple[dict[int, float], dict[str, float]]:
    """Re-fed containers by order; and by station those that are worked out because it tells nothing: what passed the
    order before it, at that order's share of all ware.
    """
    again: dict[int, float] = {}
    guessed: dict[str, float] = {}
    went_on = 0.0
    for order in sorted({orders[name] for name in station}):
        lanes = [name for name in station if orders[name] == order]
        seen = sum(station[name]["inspected"] + station[name]["refed"] for name in lanes)
        if any(station[name]["told"] for name in lanes) or not went_on:
            again[order] = sum(station[name]["refed"] for name in lanes)
        else:
            again[order] = min(went_on, seen)
            guessed |= {name: again[order] * station[name]["inspected"] / max(seen, 1) for name in lanes}
        passed = 1 - sum(station[name]["rejected"] for name in lanes) / max(seen, 1)
        went_on = again[order] * max(0.0, passed)
    return again, guessed


def _kept_share(
    station: Mapping[str, dict[str, float]], orders: Mapping[str, int], back: Mapping[int, float]
) -> tuple[dict[str, float], float]:
    """The share of each station's rejects that was not put on again; and how many were put on beyond all rejects of an
    order.
    """
    share: dict[str, float] = {}
    over = 0.0
    for order, units in back.items():
        lanes = [name for name in station if orders[name] == order]
        rejected = sum(station[name]["rejected"] for name in lanes)
        over += max(0.0, units - rejected)
        share |= dict.fromkeys(lanes, max(0.0, 1 - units / rejected) if rejected else 1.0)
    return share, over


def more_than_came(stages: list[tuple[str, float, float]], sure_pct: float, refed: bool) -> list[str]:
    """A guess where an order of stations inspected more than passed the one before it by more than the meters allow (4
    standard uncertainties).

    stages: name, inspected and rejected of each order. sure_pct: standard uncertainty of a station's
    total [%]; refed: ware is told to have gone through again, which explains it.
    """
    if refed:
        return []
    said = []
    for (_, seen, away), (name, here, _) in pairwise(stages):
        passed = seen - away
        more = here - passed
        if passed > 0 and more > 4 * sure_pct / 100 * (passed**2 + here**2) ** 0.5:
            said.append(
                say(
                    "{station}: {more} containers more than passed before it; ware put on again would look like this: "
                    "a guess",
                    station=name,
                    more=numeral(more, ",.0f"),
                )
            )
    return said
