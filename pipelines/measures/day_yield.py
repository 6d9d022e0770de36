"""The yield of a day, put together: readings, reconciled values, losses by cause, what is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.balance import Balanced, Quotient
from pipelines.measures.losses import HOT, PALLETS, STARTING, STATION, Machine, giveaway, grouped, stopped_minutes
from pipelines.measures.network import KG, FurnaceReading, LineReading, steps_of
from pipelines.measures.shares import availability, quality_ratio, ratio, scrap_ratio
from pipelines.measures.since import Since, since_when
from pipelines.measures.usual import Expected
from pipelines.measures.yields import ItemMass, LineDay, Melt, Packed
from pipelines.plant import Plant
from schemas.results import (
    BalanceRow,
    Cause,
    FlowStep,
    FurnaceYield,
    LineYield,
    Loss,
    MeterReading,
    StationFlow,
    SuspectMeter,
    Worked,
)


@dataclass(frozen=True)
class LineTold:
    """All that is known of one line's day before it is put into words."""

    day: LineDay
    packed: Packed
    masses: ItemMass
    reading: LineReading
    machine: Machine


def factors_of(told: Balanced, line: LineReading) -> dict[str, float]:
    """Reconciled over read, for the meters of a line whose losses are told by cause; 1 where a meter read nothing."""
    names = {"cut": f"{line.line} gobs cut", "hot": f"{line.line} hot rejects", "packed": f"{line.line} packed"}
    names |= {one.station: f"{one.station} rejected" for one in line.stations}
    known = {node.name: node.reading for node in told.network.nodes}
    return {key: told.value(name) / known[name] if known.get(name) else 1.0 for key, name in names.items()}


def unseen_of(told: Balanced, line: LineReading) -> dict[str, float]:
    """Reconciled losses of a line that no meter sees, by step [containers]."""
    if line.line not in told.network.formed:
        return {}
    return {step: max(0.0, told.value(f"{line.line}, {step}")) for step, _ in steps_of(line)}


def line_yield(plant: Plant, told: LineTold, balanced: Balanced) -> LineYield:
    """One line's day in containers and kilograms, with every loss."""
    day, reading, machine = told.day, told.reading, told.machine
    flows = tuple(StationFlow(station=s.station, inspected=round(s.inspected), rejected=round(s.rejected)) for s in reading.stations)  # fmt: skip
    rejected = sum(flow.rejected for flow in flows)
    cut, hot = reading.cut, reading.hot
    value = balanced.line_pack_to_melt(reading.line)
    lost = balanced.unseen(reading) if cut is not None else None
    given = giveaway(plant, told.packed.items, told.masses)
    return LineYield(
        line=reading.line, gobs_cut=cut, formed_kg=cut * reading.gob_g * KG if cut is not None else None, hot_rejected=hot,
        to_lehr=cut - hot if cut is not None and hot is not None else None,
        inspected=sum(f.inspected for f in flows if f.station in plant.first_stations(reading.line)), rejected=rejected,
        packed_units=told.packed.units, packed_kg=told.packed.units * reading.packed_g * KG,
        pack_to_melt=value.value if value and cut is not None else None, low=value.low if value and cut is not None else None,
        high=value.high if value and cut is not None else None,
        unaccounted_units=lost.value if lost else None, unaccounted_low=max(0.0, lost.low) if lost else None, unaccounted_high=lost.high if lost else None, stations=flows,
        quality_ratio=quality_ratio(told.packed.units, cut), scrap_ratio=scrap_ratio(rejected + (hot or 0), cut),
        availability=_availability(plant, told), losses=_steps(reading), weights=told.masses.mean_g,
        notes=tuple(_line_notes(told)), open_units=sum(told.packed.open.values()), states=told.packed.states,
        in_lehr_start=day.in_lehr[0], in_lehr_end=day.in_lehr[1], could=machine.potential if cut is not None else None,
        packed_good=machine.packed_good, efficiency=ratio(machine.packed_good, machine.potential) if cut is not None else None,
        giveaway_kg=given.kg, giveaway_low=given.kg - 1.96 * given.sd, giveaway_high=given.kg + 1.96 * given.sd,
        causes=_causes(told), by_shift=_worked(told, "shift"), by_job=_worked(told, "job"),
    )  # fmt: skip


def _causes(told: LineTold) -> tuple[Cause, ...]:
    lost = grouped(told.machine.lost, told.machine.mass_g, told.day.parts, "kind", "where", "cause", "shift", "job")
    return tuple(Cause(**row) for row in lost.filter(pl.col("units").abs() >= 0.05).iter_rows(named=True))


def _worked(told: LineTold, by: str) -> tuple[Worked, ...]:
    parts, machine = told.day.parts, told.machine
    rejected = {row[0]: row[1] for row in told.day.ware.group_by("part").agg(pl.col("rejected").sum()).iter_rows()}
    cut = {row[0]: row[1] for row in told.day.gobs.group_by("part").agg(pl.col("gobs_cut").sum()).iter_rows()}
    found = []
    for name in dict.fromkeys(getattr(part, by) for part in parts):
        mine = [number for number, part in enumerate(parts, start=1) if getattr(part, by) == name]
        could, good = sum(machine.could[n] for n in mine), sum(machine.good[n] for n in mine)
        found.append(
            Worked(
                name=name, hours=sum(parts[n - 1].span.seconds for n in mine) / 3600, could=could, cut=sum(cut.get(n, 0.0) for n in mine),
                rejected=sum(rejected.get(n, 0.0) for n in mine), good=good, efficiency=ratio(good, could),
            )
        )  # fmt: skip
    return tuple(found)


def _availability(plant: Plant, told: LineTold) -> float | None:
    """Running section-minutes over all section-minutes of the formed window, from the stoppage log."""
    parts = told.day.parts
    sections = plant.lines[told.day.line].sections
    minutes = sum(part.formed.seconds for part in parts) / 60 * sections
    stopped = sum(sum(stopped_minutes(told.day.stoppages, part.formed, sections).values()) for part in parts)
    return availability(minutes - stopped, minutes)


def _steps(line: LineReading) -> tuple[Loss, ...]:
    """Each step's loss by the readings. What no meter names is `unaccounted`; it can be negative: see the balances."""
    losses: list[tuple[str, float, bool]] = []
    arriving: float | None = None
    if line.cut is not None and line.hot is not None:
        losses.append(("hot end rejects", line.hot, True))
        arriving = line.cut - line.hot
    for step, lanes in steps_of(line):
        counted = sum(one.inspected for one in lanes) if lanes else (line.packed or 0.0)
        if arriving is not None:
            losses.append((f"unaccounted, {step}", arriving - counted, False))
        losses.extend((f"rejects of {one.station}", one.rejected, True) for one in lanes)
        arriving = counted - sum(one.rejected for one in lanes)
    return tuple(Loss(step=step, units=n, kg=n * line.gob_g * KG, measured=counted) for step, n, counted in losses)


def _line_notes(told: LineTold) -> list[str]:
    day, reading = told.day, told.reading
    notes = [f"lehr time: {day.lehr.minutes:.0f} min, {day.lehr.source}", *told.masses.notes]
    if reading.cut is None:
        notes.append("no forming counts: nothing can be said of the hot end and the lehr")
    if reading.ware == 0:
        notes.append("the line stood: nothing was cut, inspected or packed")
        return notes
    if day.gobs.filter(pl.col("item").is_null()).height:
        notes.append("some gobs have no item in mould_log or job_log: the mean weight was used")
    for one in reading.stations:
        if one.cover < 0.99 and not any(note.startswith(one.station) for note in day.notes):
            notes.append(
                f"{one.station}: counts for {100 * one.cover:.0f} % of the day; worked out from its neighbours"
            )
    if reading.packed is None:
        notes.append("no pallet was reported: what was packed is worked out from the last station, a guess")
    if told.packed.open:
        told_items = ", ".join(f"{units:,.0f} {item}" for item, units in told.packed.open.items())
        notes.append(f"on pallets not reported yet, estimated from the last station: {told_items}")
    return [*notes, *day.notes]


def furnace_yield(
    plant: Plant, told: Balanced, melt: Melt, usual: Mapping[str, Expected], lines: Sequence[LineTold]
) -> FurnaceYield:
    """One furnace's day: melted, pull, packed, and what leaves unseen between furnace and shears."""
    name, value = told.reading.furnace, told.pack_to_melt()
    packed = sum(one.packed.units * one.reading.packed_g * KG for one in lines)
    melted = melt.melted if melt.cover > 0.5 else None
    lost = told.derived(lambda x: float(x[told.at(f"{name}, furnace to shears")])) if told.network.formed else None
    return FurnaceYield(
        furnace=name, melted_kg=melted, pull_kg=melted - melt.held_back if melted is not None else None, packed_kg=packed,
        pack_to_melt=value.value if value else None, low=value.low if value else None, high=value.high if value else None,
        unaccounted_kg=max(0.0, lost.value) if lost else None, unaccounted_low=max(0.0, lost.low) if lost else None,
        unaccounted_high=max(0.0, lost.high) if lost else None, raw=ratio(packed, melt.melted) if melt.whole else None,
        basis="melt log" if melt.whole else "gobs", chi_square=told.first.statistic, freedom=told.first.freedom,
        p=told.first.p if told.first.freedom else None, usual_days=usual[f"{name}, furnace to shears"].days,
        notes=tuple(_furnace_notes(told, melt, lines, value)), flow=_flow(told, lines) if value else (),
    )  # fmt: skip


def _flow(told: Balanced, lines: Sequence[LineTold]) -> tuple[FlowStep, ...]:
    """The way of the day's glass from melt to pack, reconciled. What the counted losses leave open on the lines is unaccounted; it
    holds what breaks unseen, and what the mass of rejects of several items is not known to be."""
    x, name = told.told.values, told.reading.furnace
    melted, (cut, then) = told.melted_kg(x), told.cut_kg(x)
    unseen = float(x[told.at(f"{name}, furnace to shears")]) * cut / then
    lost = dict.fromkeys((HOT, STATION, STARTING, PALLETS), 0.0)
    for line in lines:
        for one in line.machine.lost:
            if one.kind in lost:
                lost[one.kind] += one.units * line.machine.mass_g[one.part] * KG
    packed = sum(told.packed_kg(x, line) for line in told.network.formed) - lost[PALLETS]
    steps = [
        ("melted", melted, "stock"), ("held back by the level", melted - cut - unseen, "kept"), ("unaccounted before the shears", unseen, "unaccounted"),
        ("cut by the shears", cut, "stock"), ("rejected hot", lost[HOT], "counted"), ("rejected at stations", lost[STATION], "counted"),
        ("start-up of jobs", lost[STARTING], "counted"), ("re-sort and scrapped pallets", lost[PALLETS], "counted"),
        ("unaccounted on the lines", cut - sum(lost.values()) - packed, "unaccounted"), ("packed good", packed, "stock"),
    ]  # fmt: skip
    return tuple(FlowStep(name=step, kg=kg, kind=kind) for step, kg, kind in steps)


def _furnace_notes(told: Balanced, melt: Melt, lines: Sequence[LineTold], value: Quotient | None) -> list[str]:
    notes = []
    if value is None:
        return [f"the furnace stood for its lines: nothing was cut; {melt.melted:,.0f} kg melted by the log"]
    if not melt.whole:
        share = f"the melt log covers {100 * melt.cover:.0f} % of the day" if melt.cover else "no melt log"
        notes.append(f"{share}: the yield stands on gob counts and the usual loss before the shears")
    if melt.level_unknown:
        notes.append("no glass level in some windows: taken as unchanged there")
    blind = [one.reading.line for one in lines if one.reading.cut is None and one.reading.ware]
    if blind:
        notes.append(f"no forming counts of {', '.join(blind)}: their gobs are worked out from the stations")
    return notes


def meters_of(told: Balanced) -> list[MeterReading]:
    """Every meter of a furnace and its lines, the one whose lying would explain most first."""
    values, nodes = in_whole(told), told.network.nodes
    ranked = [n for n, _ in told.ranked]
    order = ranked + [n for n, node in enumerate(nodes) if node.is_meter and n not in ranked]
    return [
        MeterReading(
            furnace=told.reading.furnace, of=nodes[n].of, meter=nodes[n].name, unit=nodes[n].unit,
            reading=nodes[n].reading if nodes[n].believed else None, uncertainty=nodes[n].sd if nodes[n].believed else None,
            reconciled=float(values[n]), low=float(told.told.low[n]), high=float(told.told.high[n]),
            z=float(told.first.z[n]) if np.isfinite(told.first.z[n]) else None,
        )
        for n in order
    ]  # fmt: skip


def balances_of(told: Balanced) -> list[BalanceRow]:
    """Every balance before and after; after it, containers close to the last one."""
    network, values = told.network, in_whole(told)
    readings = np.array([node.reading for node in network.nodes])
    rows = []
    for number, one in enumerate(network.balances):
        if one.parts:
            continue
        before = network.open(readings, number, with_losses=False)
        after = network.open(values, number, with_losses=True)
        into = float(values[list(one.into)].sum())
        lost = float(values[list(one.loss)].sum())
        rows.append(
            BalanceRow(
                furnace=told.reading.furnace, of=one.of, balance=one.name, unit=one.unit, into=into, out=into - lost - after, before=before,
                unaccounted=lost, after=after,
            )
        )  # fmt: skip
    return rows


def in_whole(told: Balanced) -> np.ndarray:
    """The reconciled values with containers rounded to whole ones so that every balance still closes; glass takes what rounding leaves."""
    nodes, network = told.network.nodes, told.network
    values = told.told.values.copy()
    counted = [n for n, node in enumerate(nodes) if node.unit == "containers" and node.is_meter]
    values[counted] = np.round(values[counted])
    for number, one in enumerate(network.balances):
        if one.parts or number == network.furnace:
            continue
        left = network.open(values, number, with_losses=False)
        if left < 0:  # rounding alone: one container less out
            values[one.out[-1]] += left
        values[one.loss[0]] = max(left, 0.0)
    if network.furnace is not None:
        values[network.balances[network.furnace].loss[0]] = network.open(values, network.furnace, with_losses=False)
    return values


def suspects_of(
    plant: Plant,
    told: Balanced,
    day: date,
    past: Sequence[tuple[date, FurnaceReading]],
    usual: Mapping[str, Expected],
) -> tuple[list[SuspectMeter], list[SuspectMeter]]:
    """The meters most likely lying, and the losses and lanes that were out of their usual, each since when."""
    days = [*(one for one in past if one[0] >= day - timedelta(days=40)), (day, told.reading)]
    meters: list[SuspectMeter] = []
    losses: list[SuspectMeter] = []
    for one in told.suspects:
        node = told.network.nodes[one.meter]
        since = since_when(plant, node.name, days, usual) if node.is_meter else None
        (meters if node.is_meter else losses).append(
            SuspectMeter(
                meter=node.name, reading=one.reading, reconciled=one.reconciled, z=one.z, unit=node.unit, furnace=told.reading.furnace,
                rivals=tuple(told.network.nodes[n].name for n in one.rivals),
                **_dated(since),
            )
        )  # fmt: skip
    return meters, losses


def _dated(since: Since | None) -> dict[str, Any]:
    if since is None:
        return {}
    return {
        "since": since.first, "since_low": since.low, "since_high": since.high, "days": since.days, "off_pct": since.off_pct,
        "off_low": since.off_low, "off_high": since.off_high,
    }  # fmt: skip
