"""Where a machine's containers went, by cause: from what its cycle rate could have made to what was packed good."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

import polars as pl

from pipelines.clock import Span
from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.measures.yields.line_flows import ItemMass, LineDay, LinePart, Packed
from pipelines.measures.yields.network import KG
from pipelines.plant.works import Plant
from schemas.answers.yields import Cause

Key = TypeVar("Key", bound=Hashable)

START_UP = timedelta(
    hours=1
)  # ware formed in the first hour of a job: its rejects are start-up; a convention of this tool
CHANGE_SLACK = timedelta(minutes=15)  # a stop that holds a job's start, or ends so shortly before it, is the job change
BARE = 0.01  # of what was packed: so much may be of items that nobody weighed
AWAY = ("resort", "scrapped")  # states of pallets that were packed and are not good, or not yet again

STOPPAGE, CHANGE, STARTING, CYCLES = "stoppage", "job change", "start-up", "cycles"
HOT, STATION, PALLETS, UNSEEN = "hot end", "station", "pallets", "unaccounted"


@dataclass(frozen=True)
class Lost:
    """Containers lost to one cause in one part of the day. where: section, station or step; counted: by a meter, else a
    difference.
    """

    part: int
    kind: str
    where: str
    cause: str
    units: float
    counted: bool = True


@dataclass(frozen=True)
class MachineLosses:
    """What a machine could have made, lost and packed good, in containers, by part of the day; mass_g: of a container,
    by part.
    """

    could: Mapping[int, float]
    lost: tuple[Lost, ...]
    good: Mapping[int, float]
    mass_g: Mapping[int, float]

    @property
    def potential(self) -> float:
        return sum(self.could.values())

    @property
    def packed_good(self) -> float:
        return sum(self.good.values())


def machine_losses(
    plant: Plant,
    day: LineDay,
    packed: Sequence[Packed],
    factors: Mapping[str, float],
    unseen: Mapping[str, float],
    masses: ItemMass,
    gob_g: float,
) -> MachineLosses:
    """Every loss of a line by part of the day and cause; all of them and what was packed good make what it could have
    made.

    packed: by part. factors: reconciled over read, by meter (gobs cut, hot rejects, packed of the line; rejected of
    each station).
    unseen: reconciled losses by step [containers], shared out by the gobs of each part. masses, gob_g: mass [g] by
    item, of the line.
    """
    parts = dict(enumerate(day.parts, start=1))
    cut = _by_part(day.gobs, "gobs_cut", factors.get("cut", 1.0))
    could, stops = _potential(plant, day, parts)
    lost = list(stops)
    for number in parts:
        standing = sum(stop.units for stop in stops if stop.part == number)
        lost.append(
            Lost(
                number,
                CYCLES,
                day.line,
                "slower cycles, gobs not counted",
                could[number] - standing - cut.get(number, 0.0),
                False,
            )
        )
        lost += _of_ware(plant, day, number, parts[number], factors)
        lost += _away(number, packed[number - 1], factors)
        share = (
            cut.get(number, 0.0) / sum(cut.values())
            if sum(cut.values())
            else parts[number].span.seconds / day.span.seconds
        )
        lost += [Lost(number, UNSEEN, step, "", units * share, False) for step, units in unseen.items()]
    good = {
        number: factors.get("packed", 1.0)
        * (this_packed.units - sum(this_packed.states.get(state, 0.0) for state in AWAY))
        for number, this_packed in enumerate(packed, start=1)
    }
    mixes: dict[int, dict[str | None, float]] = {number: {} for number in parts}
    for part, item, units in day.gobs.group_by("part", "item").agg(pl.col("gobs_cut").sum()).iter_rows():
        mixes[part][item] = units
    return MachineLosses(could, tuple(lost), good, {number: masses.of(mix) or gob_g for number, mix in mixes.items()})


def _by_part(frame: pl.DataFrame, column: str, factor: float) -> dict[int, float]:
    return {row[0]: factor * row[1] for row in frame.group_by("part").agg(pl.col(column).sum()).iter_rows()}


def _potential(plant: Plant, day: LineDay, parts: Mapping[int, LinePart]) -> tuple[dict[int, float], list[Lost]]:
    """Cycle rate x time x sections of each part, and what its stops took of it."""
    sections = plant.lines[day.line].sections
    usual = max(day.rates.values(), default=0.0)
    could, lost = {}, []
    starts = [
        part.formed.start for before, part in zip(day.parts, day.parts[1:], strict=False) if before.job != part.job
    ]
    for number, part in parts.items():
        rate = day.rates.get(number, usual)
        could[number] = rate * sections * part.formed.seconds / 60
        for (kind, cause, where), minutes in stopped_minutes(day.stoppages, part.formed, sections, starts).items():
            lost.append(Lost(number, kind, where, cause, rate * minutes))
    return could, lost


def stopped_minutes(
    stoppages: pl.DataFrame, span: Span, sections: int, job_starts: Sequence[datetime] = ()
) -> dict[tuple[str, str, str], float]:
    """Stopped section-minutes in `span` by (kind, cause, section); overlapping stops of one section count once, for the
    earlier.
    """
    reached: dict[int, datetime] = {}
    values: dict[tuple[str, str, str], float] = {}
    for row in stoppages.sort("stopped_at", "section", nulls_last=False).iter_rows(named=True):
        start, end = max(row["stopped_at"], span.start), min(row["restarted_at"] or span.end, span.end)
        kind = CHANGE if any(_holds(row, at) for at in job_starts) else STOPPAGE
        for section in [row["section"]] if row["section"] else range(1, sections + 1):
            begin = max(start, reached.get(section, start))
            if end > begin:
                key = (kind, row["cause"] or "no cause given", f"section {section}" if row["section"] else "machine")
                values[key] = values.get(key, 0.0) + (end - begin).total_seconds() / 60
                reached[section] = end
    return values


def _holds(stop: Mapping[str, datetime | None], at: datetime) -> bool:
    first, last = stop["stopped_at"], stop["restarted_at"]
    return first is not None and first <= at and (last is None or at <= last + CHANGE_SLACK)


def _of_ware(plant: Plant, day: LineDay, number: int, part: LinePart, factors: Mapping[str, float]) -> Iterator[Lost]:
    """Rejects of the hot end by section and of each station by defect; all of them are start-up in the first hour of a
    job. What was thrown out for no fault of its own is a loss of its own kind, at any time.
    """
    hot = (
        day.gobs.filter(pl.col("part") == number).group_by("section").agg(pl.col("hot_rejected").sum()).sort("section")
    )
    for section, units in hot.iter_rows():
        kind, cause = (STARTING, "hot rejects") if part.starting else (HOT, "hot rejects")
        yield Lost(number, kind, f"section {section}", cause, factors.get("hot", 1.0) * units)
    ware = day.ware.filter((pl.col("part") == number) & (pl.col("rejected") > 0))
    for row in ware.sort("station").iter_rows(named=True):
        units = factors.get(row["station"], 1.0) * row["rejected"]
        for defect, share in _shares(plant, day.calls, number, row["station"], row["rejected"]).items():
            kind = STARTING if part.starting else STATION
            if defect in plant.no_faults:
                kind = WORDS[plant.defects[defect].kind]
            yield Lost(number, kind, row["station"], defect, units * share)


def _shares(plant: Plant, calls: pl.DataFrame, part: int, station: str, rejected: float) -> dict[str, float]:
    """A station's rejects shared out over its calls. What is no fault is called once a container; the rest is shared
    over faults, of which one container can have several.
    """
    here = calls.filter((pl.col("part") == part) & (pl.col("station") == station))
    values: dict[str, float] = dict(here.select("defect", "calls").iter_rows())
    apart = {code: values.pop(code) / rejected for code in plant.no_faults if values.get(code)}
    scale = max(1.0, sum(apart.values()))
    apart = {code: share / scale for code, share in apart.items()}
    left, total = 1 - sum(apart.values()), sum(values.values())
    if total:
        return {**{code: left * n / total for code, n in values.items()}, **apart}
    return {"": left, **apart} if left > 1e-9 else apart


def _away(number: int, packed: Packed, factors: Mapping[str, float]) -> Iterator[Lost]:
    for state in AWAY:
        if packed.states.get(state):
            yield Lost(
                number,
                PALLETS,
                state,
                "re-sorted" if state == "resort" else "scrapped",
                factors.get("packed", 1.0) * packed.states[state],
            )


def grouped(lost: Sequence[Lost], mass_g: Mapping[int, float], parts: Sequence[LinePart], *by: str) -> pl.DataFrame:
    """Losses summed by some of kind, where, cause, shift, job: those, units, kg, counted; the greatest mass first."""
    rows = [
        {
            "kind": this_lost.kind,
            "where": this_lost.where,
            "cause": this_lost.cause,
            "shift": parts[this_lost.part - 1].shift,
            "job": parts[this_lost.part - 1].job,
            "units": this_lost.units,
            "kg": this_lost.units * mass_g[this_lost.part] * KG,
            "counted": this_lost.counted,
        }
        for this_lost in lost
    ]
    schema = {
        **dict.fromkeys(("kind", "where", "cause", "shift", "job"), pl.String),
        "units": pl.Float64,
        "kg": pl.Float64,
        "counted": pl.Boolean,
    }
    sums = (pl.col("units").sum(), pl.col("kg").sum(), pl.col("counted").all())
    return (
        pl.DataFrame(rows, schema=schema).group_by(by).agg(*sums).sort("kg", *by, descending=[True, *[False] * len(by)])
    )


def summed(causes: Iterable[Cause], key: Callable[[Cause], Key]) -> dict[Key, tuple[float, float]]:
    """Containers and kilograms of losses by a key of each, in the order in which keys are first met."""
    sums: dict[Key, tuple[float, float]] = {}
    for cause in causes:
        units, kg = sums.get(key(cause), (0.0, 0.0))
        sums[key(cause)] = (units + cause.units, kg + cause.kg)
    return sums


@dataclass(frozen=True)
class Giveaway:
    """Glass packed above the items' nominal weights [kg a day], negative where ware was lighter, with its standard
    uncertainty.
    """

    kg: float
    sd: float


def giveaway(plant: Plant, packed: Mapping[str, float], masses: ItemMass) -> Giveaway | None:
    """(mean weight - nominal weight) x containers packed, summed over items; the scale's error is common to all of
    them. None where more than `BARE` of what was packed was never weighed: its nominal weight would make it 0.
    """
    bare = sum(units for code, units in packed.items() if code not in masses.weighed)
    if bare > BARE * sum(packed.values()):
        return None
    kg = scale = 0.0
    sampling: list[float] = []
    for code, units in packed.items():
        if code in masses.mean_g:
            kg += (masses.mean_g[code] - plant.items[code].weight_g) * units * KG
            scale += masses.mean_g[code] * units * KG * plant.uncertainty.weight / 100
            sampling.append(masses.sd_g[code] * units * KG)
    return Giveaway(kg, math.hypot(scale, *sampling))
