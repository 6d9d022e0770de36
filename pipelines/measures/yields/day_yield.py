"""The yield of a day, put together: readings, reconciled values, losses by cause, what is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.measures.statistics.shares import quality_ratio, ratio, scrap_ratio, share
from pipelines.measures.yields.balance import Balanced, Estimate
from pipelines.measures.yields.line_flows import ItemMass, LineDay, Melt, Packed
from pipelines.measures.yields.line_work import availability_of, causes_of, why_no_efficiency, worked_by
from pipelines.measures.yields.losses import HOT, PALLETS, STARTING, STATION, MachineLosses, giveaway
from pipelines.measures.yields.misfit import off_sentences
from pipelines.measures.yields.network import KG, WHOLE, LineReading, steps_of
from pipelines.measures.yields.overpacked import NONE_DOUBTED, Overpacked
from pipelines.measures.yields.refed import more_than_came
from pipelines.measures.yields.usual_losses import ExpectedLosses
from pipelines.plant.works import Plant
from schemas.results import (
    BalanceRow,
    FlowStep,
    FurnaceYield,
    LineYield,
    Loss,
    MeterReading,
    StationFlow,
)

SILENT = "nothing came: whether it stood is not known"
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
    again = _refed(day)
    flows = tuple(
        StationFlow(station=s.station, inspected=round(s.inspected), rejected=round(s.rejected), refed=again.get(s.station, 0))
        for s in reading.stations
    )  # fmt: skip
    rejected = sum(flow.rejected for flow in flows)
    cut, hot = reading.cut, reading.hot
    value = Estimate(None, None, None, SILENT) if day.silent else line_share(balanced, reading)
    lost = balanced.unseen(reading) if cut is not None and not balanced.unexplained(reading.line) else None
    known = reading.packed is not None and not day.silent
    given = giveaway(plant, told.packed.items, told.masses) if known else None
    no_efficiency = why_no_efficiency(reading, value)
    can_be = _packed_can_be(balanced, reading)
    return LineYield(
        line=reading.line, gobs_cut=cut, formed_kg=cut * reading.gob_g * KG if cut is not None else None, hot_rejected=hot,
        to_lehr=cut - hot if cut is not None and hot is not None else None,
        inspected=sum(f.inspected for f in flows if f.station in plant.first_stations(reading.line)), rejected=rejected,
        packed_units=told.packed.units if known else None, packed_kg=told.packed.units * reading.packed_g * KG if known else None,
        pack_to_melt=value.value, low=value.low, high=value.high, why=value.why,
        unaccounted_units=lost.value if lost else None, unaccounted_low=lost.low if lost else None, unaccounted_high=lost.high if lost else None, stations=flows,
        quality_ratio=quality_ratio(told.packed.units, cut) if can_be else None, scrap_ratio=scrap_ratio(rejected + (hot or 0), cut),
        availability=availability_of(plant, day), losses=_steps(reading), weights=told.masses.mean_g,
        notes=tuple(_line_notes(plant, told)), open_units=sum(told.packed.open.values()), carried_units=sum(told.packed.carried.values()), states=told.packed.states,
        in_lehr_start=day.in_lehr[0], in_lehr_end=day.in_lehr[1], could=machine.potential if cut is not None else None,
        packed_good=machine.packed_good if known else None, efficiency=None if no_efficiency else share(machine.packed_good, machine.potential),
        efficiency_why=no_efficiency, giveaway_kg=given.kg if given else None, giveaway_low=given.kg - 1.96 * given.sd if given else None,
        giveaway_high=given.kg + 1.96 * given.sd if given else None, giveaway_why="" if given else _why_no_giveaway(told), silent=day.silent,
        doubtful_units=told.doubted.units, doubtful_pallets=told.doubted.pallets,
        rejected_apart=round(sum(one.units for one in machine.lost if one.kind in WORDS.values())), causes=causes_of(day, machine),
        by_shift=worked_by(day, machine, "shift", known, not no_efficiency), by_job=worked_by(day, machine, "job", known, not no_efficiency),
    )  # fmt: skip


def _why_no_giveaway(told: LineTold) -> str:
    if told.reading.packed is None or told.day.silent:
        return "no pallet was reported"
    bare = [item for item, units in told.packed.items.items() if units and item not in told.masses.weighed]
    return f"no weighing of {', '.join(bare)}"


def line_share(balanced: Balanced, reading: LineReading) -> Estimate:
    """Packed over cut of a line, or why there is none."""
    if reading.ware == 0:
        return Estimate(None, None, None, "the line stood")
    if reading.cut is None:
        return Estimate(None, None, None, "no forming counts came: nothing to divide by")
    told = refused(balanced, reading) or balanced.line_pack_to_melt(reading.line)
    return told or Estimate(None, None, None, "nothing was cut")


def refused(balanced: Balanced, reading: LineReading) -> Estimate | None:
    """An impossible quotient of a line's readings, before anything is reconciled: more on pallets than was cut or passed the last
    station, by more than three standard uncertainties of both; None where it is possible."""
    nodes = {node.name: node for node in balanced.network.nodes}
    packed = nodes.get(f"{reading.line} packed")
    if packed is None or reading.packed is None:
        return None
    last = [one for one in reading.stations if one.order == reading.stations[-1].order]
    passed = sum(one.inspected - one.rejected for one in last)
    whole = bool(last) and all(one.cover >= WHOLE for one in last)
    against: list[tuple[str, float, float]] = []
    if reading.cut is not None:
        against.append(("was cut", reading.cut - (reading.hot or 0.0), nodes[f"{reading.line} gobs cut"].sd))
    if whole and reading.cut is None:
        against.append(("passed the last station", passed, 0.003 * passed))
    for what, there, sd in against:
        if reading.packed - there > max(3 * float(np.hypot(packed.sd, sd)), IMPOSSIBLE * there):
            said = f"{reading.packed:,.0f} containers on pallets, {there:,.0f} {what}: {100 * reading.packed / max(there, 1):.1f} %, which cannot be"
            return Estimate(None, None, None, said)
    return None


def _packed_can_be(balanced: Balanced, reading: LineReading) -> bool:
    """Whether what was packed may be divided by anything: pallets were told, and hold no more than there can have been."""
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
        if any(one.cover == 0 for one in lanes) or (not lanes and line.packed is None):
            losses.extend(
                (f"rejects of {one.station}", one.rejected, True)
                for one in lanes
                if one.cover > 0 or one.called is not None
            )
            arriving = None  # what was not told is no zero: no difference to it, and none after it
            continue
        counted = sum(one.inspected for one in lanes) if lanes else (line.packed or 0.0)
        if arriving is not None:
            losses.append((f"unaccounted, {step}", arriving - counted, False))
        losses.extend((f"rejects of {one.station}", one.rejected, True) for one in lanes)
        arriving = counted - sum(one.rejected for one in lanes)
    return tuple(Loss(step=step, units=n, kg=n * line.gob_g * KG, measured=counted) for step, n, counted in losses)


def _more_than_came(plant: Plant, told: LineTold) -> list[str]:
    stages = [lanes for _, lanes in steps_of(told.reading) if lanes and all(one.cover >= WHOLE for one in lanes)]
    if len(stages) < len({one.order for one in told.reading.stations}):
        return []
    sums = [
        (" and ".join(one.station for one in lanes), sum(one.inspected for one in lanes), sum(one.rejected for one in lanes))
        for lanes in stages
    ]  # fmt: skip
    return more_than_came(sums, plant.uncertainty.station_counts, told=any(_refed(told.day).values()))


def _line_notes(plant: Plant, told: LineTold) -> list[str]:
    day, reading = told.day, told.reading
    if day.silent:
        return [SILENT]
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
    notes += _doubted(plant, told)
    if reading.packed is None:
        notes.append("no pallet was reported: what was packed is worked out from the last station, a guess")
    notes += _more_than_came(plant, told)
    if told.packed.carried:
        waits = ", ".join(f"{units:+,.0f} {item}" for item, units in told.packed.carried.items())
        notes.append(
            f"ware waited for its pallets at the day's start or end; counted to the day that it was inspected on: {waits}"
        )
    if told.packed.open:
        told_items = ", ".join(f"{units:,.0f} {item}" for item, units in told.packed.open.items())
        notes.append(f"on pallets not reported yet, estimated from the last station: {told_items}")
    return [*notes, *day.notes]


def _doubted(plant: Plant, told: LineTold) -> list[str]:
    """Pallets that no ware was there for, by name."""
    doubt = told.doubted
    if doubt.start is None or doubt.end is None:
        more = f"pallets hold {doubt.above:,.0f} more than passed the last station at some times; no single pallet explains it"
        return [more] if doubt.above else []
    between = f"{plant.clock.show(doubt.start)} to {plant.clock.show(doubt.end)}"
    return [
        f"more on pallets than passed the last station, {between}: {doubt.above:,.0f} containers. Left out until somebody has looked: "
        f"{', '.join(doubt.pallets)}, with {doubt.units:,.0f}"
    ]


def furnace_yield(
    plant: Plant, told: Balanced, melt: Melt, usual: Mapping[str, ExpectedLosses], lines: Sequence[LineTold]
) -> FurnaceYield:
    """One furnace's day: melted, pull, packed, and what leaves unseen between furnace and shears."""
    name, value = told.reading.furnace, _furnace_share(told, melt, lines)
    unheard = all(one.day.silent for one in lines)
    cut = _over_cut(told, lines)
    silent = any(one.reading.packed is None for one in lines if one.reading.ware > 0)
    packed = None if silent or unheard else sum(one.packed.units * one.reading.packed_g * KG for one in lines)
    melted = melt.melted if melt.cover > 0.5 else None
    can_be = all(_packed_can_be(told, one.reading) for one in lines if one.reading.ware > 0)
    lost = (
        told.derived(lambda x: float(x[told.at(f"{name}, furnace to shears")]))
        if told.network.formed and melt.whole and not told.misfit
        else None
    )
    return FurnaceYield(
        furnace=name, melted_kg=melted, pull_kg=melted - melt.held_back if melted is not None else None, packed_kg=packed,
        pack_to_melt=value.value, low=value.low, high=value.high, why=value.why,
        packed_over_cut=cut.value, packed_over_cut_low=cut.low, packed_over_cut_high=cut.high, packed_over_cut_why=cut.why,
        cut_kg=told.cut_kg(told.told.values)[0] if told.network.formed else None,
        unaccounted_kg=_above(lost.value) if lost else None, unaccounted_low=_above(lost.low) if lost else None,
        unaccounted_high=_above(lost.high) if lost else None, raw=ratio(packed, melt.melted) if melt.whole and can_be and packed is not None else None,
        basis="melt log" if melt.whole else "gobs", chi_square=told.first.statistic, freedom=told.first.freedom,
        p=told.first.p if told.first.freedom else None, usual_days=usual[f"{name}, furnace to shears"].days,
        notes=tuple(_furnace_notes(told, melt, lines)), flow=_flow(told, lines) if value.low is not None and not told.misfit else (),
    )  # fmt: skip


def _above(value: float | None) -> float | None:
    return None if value is None else max(0.0, value)


def _furnace_share(told: Balanced, melt: Melt, lines: Sequence[LineTold]) -> Estimate:
    """Pack-to-melt of a furnace, or why there is none: no quotient without its denominator, none of impossible readings."""
    if all(one.day.silent for one in lines):
        return Estimate(None, None, None, SILENT)
    if not told.network.formed:
        return Estimate(None, None, None, "the furnace stood for its lines: nothing was cut")
    if not melt.whole:
        said = f"the melt log covers {100 * melt.cover:.0f} % of the day" if melt.cover else "no melt log came"
        return Estimate(None, None, None, f"{said}: nothing to divide by; packed over cut stands instead")
    return _impossible(told, lines) or told.pack_to_melt() or Estimate(None, None, None, "nothing was melted")


def _over_cut(told: Balanced, lines: Sequence[LineTold]) -> Estimate:
    blind = [one.reading.line for one in lines if one.reading.cut is None and one.reading.ware > 0]
    if blind:
        return Estimate(None, None, None, f"no forming counts of {', '.join(blind)}: nothing to divide by")
    return _impossible(told, lines) or told.packed_over_cut() or Estimate(None, None, None, "nothing was cut")


def _impossible(told: Balanced, lines: Sequence[LineTold]) -> Estimate | None:
    found = [(one.reading.line, why) for one in lines if (why := refused(told, one.reading))]
    return Estimate(None, None, None, "; ".join(f"{line}: {one.why}" for line, one in found)) if found else None


def _flow(told: Balanced, lines: Sequence[LineTold]) -> tuple[FlowStep, ...]:
    """The way of the day's glass from melt to pack, reconciled. What the counted losses leave open on the lines is unaccounted; it
    holds what breaks unseen, and what the mass of rejects of several items is not known to be."""
    x, name = told.told.values, told.reading.furnace
    melted, (cut, then) = told.melted_kg(x), told.cut_kg(x)
    unseen = float(x[told.at(f"{name}, furnace to shears")]) * cut / then
    lost = dict.fromkeys((HOT, STATION, *WORDS.values(), STARTING, PALLETS), 0.0)
    for line in lines:
        for one in line.machine.lost:
            if one.kind in lost:
                lost[one.kind] += one.units * line.machine.mass_g[one.part] * KG
    packed = sum(told.packed_kg(x, line) for line in told.network.formed) - lost[PALLETS]
    steps = [
        ("melted", melted, "stock"), ("held back by the level", melted - cut - unseen, "kept"), ("unaccounted before the shears", unseen, "unaccounted"),
        ("cut by the shears", cut, "stock"), ("rejected hot", lost[HOT], "counted"), ("rejected at stations", lost[STATION], "counted"),
        *((name, lost[name], "counted") for name in WORDS.values() if lost[name]),
        ("start-up of jobs", lost[STARTING], "counted"), ("re-sort and scrapped pallets", lost[PALLETS], "counted"),
        ("unaccounted on the lines", cut - sum(lost.values()) - packed, "unaccounted"), ("packed good", packed, "stock"),
    ]  # fmt: skip
    return tuple(FlowStep(name=step, kg=kg, kind=kind) for step, kg, kind in steps)


def _furnace_notes(told: Balanced, melt: Melt, lines: Sequence[LineTold]) -> list[str]:
    notes = []
    if all(one.day.silent for one in lines):
        return [
            f"no line sent anything; {f'{melt.melted:,.0f} kg melted by the log' if melt.cover else 'no melt log came'}"
        ]
    if not told.network.formed:
        return [f"the furnace stood for its lines: nothing was cut; {melt.melted:,.0f} kg melted by the log"]
    if not melt.whole:
        share = f"the melt log covers {100 * melt.cover:.0f} % of the day" if melt.cover else "no melt log"
        notes.append(f"{share}: no pack-to-melt; packed over cut instead")
    elif melt.level_unknown:
        notes.append("no glass level in some windows: taken as unchanged there")
    notes += off_sentences(told.misfit) if told.misfit else []
    if told.days == 1:
        notes.append("a first day: what is usually lost is a guess, and no meter can be told apart by its past")
    blind = [one.reading.line for one in lines if one.reading.cut is None and one.reading.ware]
    if blind:
        notes.append(f"no forming counts of {', '.join(blind)}: their gobs are worked out from the stations")
    return notes


def meters_of(told: Balanced) -> list[MeterReading]:
    """Every meter of a furnace and its lines, the one whose lying would explain most first."""
    values, nodes = in_whole(told), told.network.nodes
    ranked = [told.places[name] for name in told.ranked if name in told.places and nodes[told.places[name]].is_meter]
    order = ranked + [n for n, node in enumerate(nodes) if node.is_meter and n not in ranked]
    return [
        MeterReading(
            furnace=told.reading.furnace, of=nodes[n].of, meter=nodes[n].name, unit=nodes[n].unit,
            reading=nodes[n].reading if nodes[n].believed else None, uncertainty=nodes[n].sd if nodes[n].believed else None,
            reconciled=float(values[n]), low=_known(told.told.low[n]), high=_known(told.told.high[n]),
            z=float(told.first.z[n]) if np.isfinite(told.first.z[n]) else None,
        )
        for n in order
    ]  # fmt: skip


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def balances_of(told: Balanced) -> list[BalanceRow]:
    """Every balance before and after; after it, containers close to the last one."""
    network, values = told.network, in_whole(told)
    readings = np.array([node.reading for node in network.nodes])
    rows = []
    for number, one in enumerate(network.balances):
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
        if number == network.furnace:
            continue
        left = network.open(values, number, with_losses=False)
        if left < 0:  # rounding alone: one container less out
            values[one.out[-1]] += left
        values[one.loss[0]] = max(left, 0.0)
    if network.furnace is not None:
        values[network.balances[network.furnace].loss[0]] = network.open(values, network.furnace, with_losses=False)
    return values
