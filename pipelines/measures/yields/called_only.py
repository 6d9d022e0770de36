"""Stations that send calls and no counts: what they rejected, from their calls."""

from __future__ import annotations

import polars as pl

from pipelines.measures.pareto.kinds_of_call import uncounted
from pipelines.words import numeral, say


def rejected_by_calls(ware: pl.DataFrame, calls: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, float], list[str]]:
    """The counts with the rejects of stations that only made calls; by station the standard uncertainty of its sum;
    what has to be said.

    ware: part, station, inspected, rejected, refed. calls: part, station, defect, calls. A container can be called for
    several defects: at least the commonest defect's calls were rejected in each part, at most all calls. The middle
    stands, with (most - least) / sqrt 12, the standard deviation of an even distribution between (JCGM 100:2008,
    4.3.7).
    """
    names = uncounted(calls, ware)
    if not names:
        return ware, {}, []
    mine = calls.filter(pl.col("station").is_in(names)).group_by("part", "station")
    each = mine.agg(most=pl.col("calls").sum(), least=pl.col("calls").max()).sort("part", "station")
    middle = (pl.col("most") + pl.col("least")) / 2
    rows = each.select("part", "station", inspected=pl.lit(0.0), rejected=middle.cast(pl.Float64), refed=pl.lit(0.0))
    sums = each.group_by("station").agg(pl.col("most", "least").sum()).sort("station")
    sure = {name: float(most - least) / 12**0.5 for name, most, least in sums.iter_rows()}
    notes = [
        say(
            "{station}: sends calls and no counts; by its calls it rejected {units} containers. What it inspected is "
            "worked out from its neighbours",
            station=name,
            units=_between(least, most),
        )
        for name, most, least in sums.iter_rows()
    ]
    floats = ware.with_columns(pl.col("inspected", "rejected", "refed").cast(pl.Float64))
    return pl.concat([floats, rows.cast({"part": ware.schema["part"]})], how="diagonal"), sure, notes


def _between(least: float, most: float) -> str:
    low, high = numeral(least, ",.0f"), numeral(most, ",.0f")
    return say("{low} to {high}", low=low, high=high) if most > least else low
