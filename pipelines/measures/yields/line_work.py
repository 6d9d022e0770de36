"""What a line's machine did with its day: its losses by cause, its shifts and jobs, how much of the time it ran, and
its efficiency.
"""

from __future__ import annotations

import polars as pl

from pipelines.measures.statistics.shares import availability, share
from pipelines.measures.yields.balance import Estimate
from pipelines.measures.yields.line_flows import LineDay
from pipelines.measures.yields.losses import MachineLosses, grouped, stopped_minutes
from pipelines.measures.yields.network import LineReading
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.yields import Cause, Worked


def causes_of(day: LineDay, machine: MachineLosses) -> tuple[Cause, ...]:
    """Losses by cause, shift and job; those of less than a twentieth of a container are left out."""
    lost = grouped(machine.lost, machine.mass_g, day.parts, "kind", "where", "cause", "shift", "job")
    return tuple(Cause(**row) for row in lost.filter(pl.col("units").abs() >= 0.05).iter_rows(named=True))


def why_no_efficiency(reading: LineReading, over_cut: Estimate) -> str:
    """Why packed good over what could have been made is not told; empty where it is.

    Its numerator is what is on pallets and its denominator the cycle rate that gobs were counted at: the two figures
    that packed over cut rests on. Where that is refused, or no one number, so is this, for the same reason.
    """
    if reading.cut is None:
        return say("no forming counts came")
    if reading.packed is None:
        return say("no pallet was reported")
    return over_cut.why if reading.ware > 0 and over_cut.value is None else ""


def worked_by(day: LineDay, machine: MachineLosses, by: str, packed: bool, efficiency: bool) -> tuple[Worked, ...]:
    """by: shift or job. packed: whether pallets were told; efficiency: whether it may be."""
    rejected = {row[0]: row[1] for row in day.ware.group_by("part").agg(pl.col("rejected").sum()).iter_rows()}
    cut = {row[0]: row[1] for row in day.gobs.group_by("part").agg(pl.col("gobs_cut").sum()).iter_rows()}
    found = []
    for name in dict.fromkeys(getattr(part, by) for part in day.parts):
        mine = [number for number, part in enumerate(day.parts, start=1) if getattr(part, by) == name]
        could, good = sum(machine.could[n] for n in mine), sum(machine.good[n] for n in mine)
        found.append(
            Worked(
                name=name,
                hours=sum(day.parts[n - 1].span.seconds for n in mine) / 3600,
                could=could,
                cut=sum(cut.get(n, 0.0) for n in mine),
                rejected=sum(rejected.get(n, 0.0) for n in mine),
                good=good if packed else None,
                efficiency=share(good, could) if efficiency else None,
            )
        )
    return tuple(found)


def availability_of(plant: Plant, day: LineDay) -> float | None:
    """Running section-minutes over all section-minutes of the formed window, from the stoppage log."""
    sections = plant.lines[day.line].sections
    minutes = sum(part.formed.seconds for part in day.parts) / 60 * sections
    stopped = sum(sum(stopped_minutes(day.stoppages, part.formed, sections).values()) for part in day.parts)
    return availability(minutes - stopped, minutes)
