"""The yield of one line's day: what was cut, lost and packed, with every loss and what is not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.measures.statistics.shares import quality_ratio, scrap_ratio, share
from pipelines.measures.yields.balance import Balanced, Estimate
from pipelines.measures.yields.line_flows import ItemMass, LineDay, Packed
from pipelines.measures.yields.line_work import availability_of, causes_of, why_no_efficiency, worked_by
from pipelines.measures.yields.losses import MachineLosses, giveaway
from pipelines.measures.yields.network import KG, WHOLE, LineReading, steps_of
from pipelines.measures.yields.overpacked import NONE_DOUBTED, Overpacked
from pipelines.measures.yields.refed import more_than_came
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say
from schemas.answers.yields import (
    LineYield,
    Loss,
    StationFlow,
)

SILENT = say("nothing came: whether it stood is not known")


IMPOSSIBLE = 0.02  # of what was cut: so much more on pallets is no matter of the day's limits


@dataclass(frozen=True)
class LineTold:
    """All that is known of one line's day before it is put into words."""

    day: LineDay
    packed: Packed
    masses: ItemMass
    reading: LineReading
    machine: MachineLosses
    doubted: Overpacked = NONE_DOUBTED


def factors_of(balanced: Balanced, line: LineReading) -> dict[str, float]:
    """Reconciled over read, for the meters of a line whose losses are told by cause; 1 where a meter read nothing."""
    names = {"cut": f"{line.line} gobs cut", "hot": f"{line.line} hot rejects", "packed": f"{line.line} packed"}
    names |= {station.station: f"{station.station} rejected" for station in line.stations}
    known = {node.name: node.reading for node in balanced.network.nodes}
    return {key: balanced.value(name) / known[name] if known.get(name) else 1.0 for key, name in names.items()}


def unseen_of(balanced: Balanced, line: LineReading) -> dict[str, float]:
    """Reconciled losses of a line that no meter sees, by step [containers]."""
    if line.line not in balanced.network.formed:
        return {}
    return {step: max(0.0, balanced.value(f"{line.line}, {step}")) for step, _ in steps_of(line)}


def line_yield(plant: Plant, line: LineTold, balanced: Balanced) -> LineYield:
    """One line's day in containers and kilograms, with every loss."""
    day, reading, machine = line.day, line.reading, line.machine
    flows = _station_flows(day, reading)
    rejected = sum(flow.rejected for flow in flows)
    cut, hot = reading.cut, reading.hot
    value = Estimate(None, None, None, SILENT) if day.silent else line_share(balanced, reading)
    lost = balanced.unseen(reading) if cut is not None and not balanced.unexplained(reading.line) else None
    known = reading.packed is not None and not day.silent
    no_efficiency = why_no_efficiency(reading, value)
    return LineYield(
        line=reading.line,
        **_formed(reading),
        inspected=sum(f.inspected for f in flows if f.station in plant.first_stations(reading.line)),
        rejected=rejected,
        packed_units=line.packed.units if known else None,
        packed_kg=line.packed.units * reading.packed_g * KG if known else None,
        **_estimated(value, "pack_to_melt", "low", "high"),
        why=value.why,
        **_estimated(lost, "unaccounted_units", "unaccounted_low", "unaccounted_high"),
        stations=flows,
        quality_ratio=quality_ratio(line.packed.units, cut) if packed_can_be(balanced, reading) else None,
        scrap_ratio=scrap_ratio(rejected + (hot or 0), cut),
        availability=availability_of(plant, day),
        losses=_steps(reading),
        weights=line.masses.mean_g,
        notes=tuple(_line_notes(plant, line)),
        **_not_packed_yet(line),
        states=line.packed.states,
        could=machine.potential if cut is not None else None,
        packed_good=machine.packed_good if known else None,
        efficiency=None if no_efficiency else share(machine.packed_good, machine.potential),
        efficiency_why=no_efficiency,
        **_given_away(plant, line, known),
        silent=day.silent,
        doubtful_units=line.doubted.units,
        doubtful_pallets=line.doubted.pallets,
        rejected_apart=round(sum(this_lost.units for this_lost in machine.lost if this_lost.kind in WORDS.values())),
        causes=causes_of(day, machine),
        by_shift=worked_by(day, machine, "shift", known, not no_efficiency),
        by_job=worked_by(day, machine, "job", known, not no_efficiency),
    )


def _station_flows(day: LineDay, reading: LineReading) -> tuple[StationFlow, ...]:
    again = _refed(day)
    return tuple(
        StationFlow(
            station=s.station, inspected=round(s.inspected), rejected=round(s.rejected), refed=again.get(s.station, 0)
        )
        for s in reading.stations
    )


def _formed(reading: LineReading) -> dict[str, Any]:
    cut, hot = reading.cut, reading.hot
    return {
        "gobs_cut": cut,
        "formed_kg": cut * reading.gob_g * KG if cut is not None else None,
        "hot_rejected": hot,
        "to_lehr": cut - hot if cut is not None and hot is not None else None,
    }


def _estimated(estimate: Estimate | None, value: str, low: str, high: str) -> dict[str, Any]:
    """An estimate and its interval under the names of an answer's fields."""
    if estimate is None:
        return dict.fromkeys((value, low, high))
    return {value: estimate.value, low: estimate.low, high: estimate.high}


def _given_away(plant: Plant, line: LineTold, known: bool) -> dict[str, Any]:
    given = giveaway(plant, line.packed.items, line.masses) if known else None
    if given is None:
        return {"giveaway_why": _why_no_giveaway(line)}
    half = 1.96 * given.sd
    return {"giveaway_kg": given.kg, "giveaway_low": given.kg - half, "giveaway_high": given.kg + half}


def _not_packed_yet(line: LineTold) -> dict[str, Any]:
    return {
        "open_units": sum(line.packed.open.values()),
        "carried_units": sum(line.packed.carried.values()),
        "in_lehr_start": line.day.in_lehr[0],
        "in_lehr_end": line.day.in_lehr[1],
    }


def _why_no_giveaway(line: LineTold) -> str:
    if line.reading.packed is None or line.day.silent:
        return say("no pallet was reported")
    bare = [item for item, units in line.packed.items.items() if units and item not in line.masses.weighed]
    return say("no weighing of {items}", items=joined(", ", bare))


def line_share(balanced: Balanced, reading: LineReading) -> Estimate:
    """Packed over cut of a line, or why there is none."""
    if reading.ware == 0:
        return Estimate(None, None, None, say("the line stood"))
    if reading.cut is None:
        return Estimate(None, None, None, say("no forming counts came: nothing to divide by"))
    estimate = refused(balanced, reading) or balanced.line_pack_to_melt(reading.line)
    return estimate or Estimate(None, None, None, say("nothing was cut"))


def refused(balanced: Balanced, reading: LineReading) -> Estimate | None:
    """An impossible quotient of a line's readings, before anything is reconciled: more on pallets than was cut or
    passed the last station, by more than three standard uncertainties of both; None where it is possible.
    """
    nodes = {node.name: node for node in balanced.network.nodes}
    packed = nodes.get(f"{reading.line} packed")
    if packed is None or reading.packed is None:
        return None
    last = [station for station in reading.stations if station.order == reading.stations[-1].order]
    passed = sum(station.inspected - station.rejected for station in last)
    whole = bool(last) and all(station.cover >= WHOLE for station in last)
    against: list[tuple[str, float, float]] = []
    if reading.cut is not None:
        against.append((say("was cut"), reading.cut - (reading.hot or 0.0), nodes[f"{reading.line} gobs cut"].sd))
    if whole and reading.cut is None:
        against.append((say("passed the last station"), passed, 0.003 * passed))
    for what, there, sd in against:
        if reading.packed - there > max(3 * float(np.hypot(packed.sd, sd)), IMPOSSIBLE * there):
            said = say(
                "{packed} containers on pallets, {there} {what}: {share} %, which cannot be",
                packed=numeral(reading.packed, ",.0f"),
                there=numeral(there, ",.0f"),
                what=what,
                share=numeral(100 * reading.packed / max(there, 1), ".1f"),
            )
            return Estimate(None, None, None, said)
    return None


def packed_can_be(balanced: Balanced, reading: LineReading) -> bool:
    """Whether what was packed may be divided by anything: pallets were told, and hold no more than there can have
    been.
    """
    return reading.packed is not None and refused(balanced, reading) is None


def _refed(day: LineDay) -> dict[str, int]:
    """Containers that went through each station again."""
    if "refed" not in day.ware.columns:
        return {}
    return {row[0]: round(row[1]) for row in day.ware.group_by("station").agg(pl.col("refed").sum()).iter_rows()}


def _steps(line: LineReading) -> tuple[Loss, ...]:
    """Each step's loss by the readings. What no meter names is `unaccounted`; it can be negative: see the balances."""
    losses: list[tuple[str, float, bool]] = []
    arriving: float | None = None
    if line.cut is not None and line.hot is not None:
        losses.append(("hot end rejects", line.hot, True))
        arriving = line.cut - line.hot
    for step, lanes in steps_of(line):
        if any(lane.cover == 0 for lane in lanes) or (not lanes and line.packed is None):
            losses.extend(
                (f"rejects of {lane.station}", lane.rejected, True)
                for lane in lanes
                if lane.cover > 0 or lane.called is not None
            )
            arriving = None  # what was not told is no zero: no difference to it, and none after it
            continue
        counted = sum(lane.inspected for lane in lanes) if lanes else (line.packed or 0.0)
        if arriving is not None:
            losses.append((f"unaccounted, {step}", arriving - counted, False))
        losses.extend((f"rejects of {lane.station}", lane.rejected, True) for lane in lanes)
        arriving = counted - sum(lane.rejected for lane in lanes)
    return tuple(Loss(step=step, units=n, kg=n * line.gob_g * KG, measured=counted) for step, n, counted in losses)


def _more_than_came(plant: Plant, line: LineTold) -> list[str]:
    stages = [lanes for _, lanes in steps_of(line.reading) if lanes and all(lane.cover >= WHOLE for lane in lanes)]
    if len(stages) < len({station.order for station in line.reading.stations}):
        return []
    sums = [
        (
            joined(say(" and "), (lane.station for lane in lanes)),
            sum(lane.inspected for lane in lanes),
            sum(lane.rejected for lane in lanes),
        )
        for lanes in stages
    ]
    return more_than_came(sums, plant.uncertainty.station_counts, refed=any(_refed(line.day).values()))


def _line_notes(plant: Plant, line: LineTold) -> list[str]:
    day, reading = line.day, line.reading
    if day.silent:
        return [SILENT]
    lehr = say("lehr time: {minutes} min, {source}", minutes=f"{day.lehr.minutes:.0f}", source=day.lehr.source)
    notes = [lehr, *line.masses.notes]
    if reading.cut is None:
        notes.append(say("no forming counts: nothing can be said of the hot end and the lehr"))
    if reading.ware == 0:
        notes.append(say("the line stood: nothing was cut, inspected or packed"))
        return notes
    if day.gobs.filter(pl.col("item").is_null()).height:
        notes.append(say("some gobs have no item in mould_log or job_log: the mean weight was used"))
    for station in reading.stations:
        if station.cover < 0.99 and not any(note.startswith(station.station) for note in day.notes):
            notes.append(
                say(
                    "{station}: counts for {share} % of the day; worked out from its neighbours",
                    station=station.station,
                    share=f"{100 * station.cover:.0f}",
                )
            )
    notes += _doubted(plant, line)
    if reading.packed is None:
        notes.append(say("no pallet was reported: what was packed is worked out from the last station, a guess"))
    notes += _more_than_came(plant, line)
    if line.packed.carried:
        notes.append(
            say(
                "ware waited for its pallets at the day's start or end; counted to the day that it was inspected on: "
                "{waits}",
                waits=_by_item(line.packed.carried, "+,.0f"),
            )
        )
    if line.packed.open:
        items = _by_item(line.packed.open, ",.0f")
        notes.append(say("on pallets not reported yet, estimated from the last station: {items}", items=items))
    return [*notes, *day.notes]


def _by_item(units: Mapping[str, float], spec: str) -> str:
    return joined(", ", (say("{units} {item}", units=numeral(n, spec), item=item) for item, n in units.items()))


def _doubted(plant: Plant, line: LineTold) -> list[str]:
    """Pallets that no ware was there for, by name."""
    doubt = line.doubted
    if doubt.start is None or doubt.end is None:
        more = say(
            "pallets hold {above} more than passed the last station at some times; no single pallet explains it",
            above=numeral(doubt.above, ",.0f"),
        )
        return [more] if doubt.above else []
    return [
        say(
            "more on pallets than passed the last station, {start} to {end}: {above} containers. Left out until "
            "somebody has looked: {pallets}, with {units}",
            start=plant.clock.show(doubt.start),
            end=plant.clock.show(doubt.end),
            above=numeral(doubt.above, ",.0f"),
            pallets=joined(", ", doubt.pallets),
            units=numeral(doubt.units, ",.0f"),
        )
    ]
