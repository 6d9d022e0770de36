"""The yield of a day, put together: readings, reconciled values, losses by cause, what is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pipelines.measures.pareto.kinds_of_call import WORDS
from pipelines.measures.statistics.shares import ratio
from pipelines.measures.yields.balance import Balanced, Estimate
from pipelines.measures.yields.line_flows import Melt
from pipelines.measures.yields.line_yield import SILENT, LineTold, packed_can_be, refused
from pipelines.measures.yields.losses import HOT, PALLETS, STARTING, STATION
from pipelines.measures.yields.misfit import off_sentences
from pipelines.measures.yields.network import KG
from pipelines.measures.yields.usual_losses import ExpectedLosses
from pipelines.plant.works import Plant
from schemas.answers.yields import (
    BalanceRow,
    FlowStep,
    FurnaceYield,
    MeterReading,
)


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
    can_be = all(packed_can_be(told, one.reading) for one in lines if one.reading.ware > 0)
    lost = (
        told.derived(lambda x: float(x[told.at(f"{name}, furnace to shears")]))
        if told.network.formed and melt.whole and not told.misfit
        else None
    )
    return FurnaceYield(
        furnace=name,
        melted_kg=melted,
        pull_kg=melted - melt.held_back if melted is not None else None,
        packed_kg=packed,
        pack_to_melt=value.value,
        low=value.low,
        high=value.high,
        why=value.why,
        packed_over_cut=cut.value,
        packed_over_cut_low=cut.low,
        packed_over_cut_high=cut.high,
        packed_over_cut_why=cut.why,
        cut_kg=told.cut_kg(told.told.values)[0] if told.network.formed else None,
        unaccounted_kg=_above(lost.value) if lost else None,
        unaccounted_low=_above(lost.low) if lost else None,
        unaccounted_high=_above(lost.high) if lost else None,
        raw=ratio(packed, melt.melted) if melt.whole and can_be and packed is not None else None,
        basis="melt log" if melt.whole else "gobs",
        chi_square=told.first.statistic,
        freedom=told.first.freedom,
        p=told.first.p if told.first.freedom else None,
        usual_days=usual[f"{name}, furnace to shears"].days,
        notes=tuple(_furnace_notes(told, melt, lines)),
        flow=_flow(told, lines) if value.low is not None and not told.misfit else (),
    )


def _above(value: float | None) -> float | None:
    return None if value is None else max(0.0, value)


def _furnace_share(told: Balanced, melt: Melt, lines: Sequence[LineTold]) -> Estimate:
    """Pack-to-melt of a furnace, or why there is none: no quotient without its denominator, none of impossible
    readings.
    """
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
    """The way of the day's glass from melt to pack, reconciled. What the counted losses leave open on the lines is
    unaccounted; it holds what breaks unseen, and what the mass of rejects of several items is not known to be.
    """
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
        ("melted", melted, "stock"),
        ("held back by the level", melted - cut - unseen, "kept"),
        ("unaccounted before the shears", unseen, "unaccounted"),
        ("cut by the shears", cut, "stock"),
        ("rejected hot", lost[HOT], "counted"),
        ("rejected at stations", lost[STATION], "counted"),
        *((name, lost[name], "counted") for name in WORDS.values() if lost[name]),
        ("start-up of jobs", lost[STARTING], "counted"),
        ("re-sort and scrapped pallets", lost[PALLETS], "counted"),
        ("unaccounted on the lines", cut - sum(lost.values()) - packed, "unaccounted"),
        ("packed good", packed, "stock"),
    ]
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
            furnace=told.reading.furnace,
            of=nodes[n].of,
            meter=nodes[n].name,
            unit=nodes[n].unit,
            reading=nodes[n].reading if nodes[n].believed else None,
            uncertainty=nodes[n].sd if nodes[n].believed else None,
            reconciled=float(values[n]),
            low=_known(told.told.low[n]),
            high=_known(told.told.high[n]),
            z=float(told.first.z[n]) if np.isfinite(told.first.z[n]) else None,
        )
        for n in order
    ]


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
                furnace=told.reading.furnace,
                of=one.of,
                balance=one.name,
                unit=one.unit,
                into=into,
                out=into - lost - after,
                before=before,
                unaccounted=lost,
                after=after,
            )
        )
    return rows


def in_whole(told: Balanced) -> np.ndarray:
    """The reconciled values with containers rounded to whole ones so that every balance still closes; glass takes what
    rounding leaves.
    """
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
