"""What a call says: a fault of the ware, or ware thrown out for none (by its mould number, as a sample, for a setting,
diverted).

Only faults are defects. What is no fault leaves the line all the same: it is counted, under its own name, and stands in
no rate, expectation, signal or trace.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from pipelines.plant.works import Plant
from pipelines.words import joined, say
from schemas.answers.pareto import Apart

WORDS = {
    "mould_rejection": say("rejected by mould number"),
    "sample": say("samples"),
    "setting": say("rejected for a setting"),
    "diverted": say("diverted"),
}


def faults(plant: Plant, calls: pl.DataFrame) -> pl.DataFrame:
    """The rows whose `defect` is a fault; a code that works.toml does not know counts as one."""
    return calls.filter(~pl.col("defect").is_in(plant.no_faults)) if plant.no_faults else calls


def no_faults(plant: Plant, calls: pl.DataFrame) -> pl.DataFrame:
    """The rows whose `defect` is none of the ware's."""
    return calls.filter(pl.col("defect").is_in(plant.no_faults))


def rejected_for_none(plant: Plant, calls: pl.DataFrame, ware: pl.DataFrame) -> int:
    """Containers rejected for no fault: by station its calls as none, and no more than it rejected. A container called
    for a fault beside it counts here.

    calls: station, defect, calls. ware: station, rejected.
    """
    mine = no_faults(plant, calls)
    if mine.is_empty():
        return 0
    called = mine.group_by("station").agg(pl.col("calls").sum())
    rejected = ware.group_by("station").agg(pl.col("rejected").sum())
    both = called.join(rejected, on="station")
    return int(both.select(pl.min_horizontal("calls", "rejected").sum()).item())


def uncounted(calls: pl.DataFrame, ware: pl.DataFrame) -> list[str]:
    """Stations that made calls and sent no counts: what they rejected stands in no count of containers."""
    counted = ware["station"].unique().to_list()
    return calls.filter((pl.col("calls") > 0) & ~pl.col("station").is_in(counted))["station"].unique().sort().to_list()


def uncounted_words(stations: Sequence[str]) -> str:
    """What has to be said of them beside a number of rejects; empty where there is none."""
    return (
        say(" Without {stations}, which sent calls and no counts.", stations=joined(", ", stations)) if stations else ""
    )


def apart_words(apart: Sequence[Apart]) -> str:
    """What was thrown out for no fault, in words, by cause."""
    sums: dict[str, int] = {}
    for this_apart in apart:
        sums[this_apart.kind] = sums.get(this_apart.kind, 0) + this_apart.calls
    return joined(", ", (say("{count} {words}", count=f"{count:,}", words=WORDS[kind]) for kind, count in sums.items()))
