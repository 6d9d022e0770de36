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
from pipelines.words import joined, numeral, say
from schemas.answers.meters import BalanceRow, MeterReading
from schemas.answers.yields import FlowStep, FurnaceYield


def furnace_yield(
    plant: Plant, balanced: Balanced, melt: Melt, usual: Mapping[str, ExpectedLosses], lines: Sequence[LineTold]
) -> FurnaceYield:
    """One furnace's day: melted, pull, packed, and what leaves unseen between furnace and shears."""
    name, value = balanced.reading.furnace, _furnace_share(balanced, melt, lines)
    unheard = all(line.day.silent for line in lines)
    cut = _over_cut(balanced, lines)
    silent = any(line.reading.packed is None for line in lines if line.reading.ware > 0)
    packed = None if silent or unheard else sum(line.packed.units * line.reading.packed_g * KG for line in lines)
    melted = melt.melted if melt.cover > 0.5 else None
    can_be = all(packed_can_be(balanced, line.reading) for line in lines if line.reading.ware > 0)
    lost = (
        balanced.derived(lambda x: float(x[balanced.at(f"{name}, furnace to shears")]))
        if balanced.network.formed and melt.whole and not balanced.misfit
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
        cut_kg=balanced.cut_kg(balanced.reconciled.values)[0] if balanced.network.formed else None,
        unaccounted_kg=_above(lost.value) if lost else None,
        unaccounted_low=_above(lost.low) if lost else None,
        unaccounted_high=_above(lost.high) if lost else None,
        raw=ratio(packed, melt.melted) if melt.whole and can_be and packed is not None else None,
        basis="melt log" if melt.whole else "gobs",
        chi_square=balanced.first.statistic,
        freedom=balanced.first.freedom,
        p=balanced.first.p if balanced.first.freedom else None,
        usual_days=usual[f"{name}, furnace to shears"].days,
        notes=tuple(_furnace_notes(balanced, melt, lines)),
        flow=_flow(balanced, lines) if value.low is not None and not balanced.misfit else (),
    )


def _above(value: float | None) -> float | None:
    return None if value is None else max(0.0, value)


def _furnace_share(balanced: Balanced, melt: Melt, lines: Sequence[LineTold]) -> Estimate:
    """Pack-to-melt of a furnace, or why there is none: no quotient without its denominator, none of impossible
    readings.
    """
    if all(line.day.silent for line in lines):
        return Estimate(None, None, None, SILENT)
    if not balanced.network.formed:
        return Estimate(None, None, None, say("the furnace stood for its lines: nothing was cut"))
    if not melt.whole:
        why = say(
            "{melt_log}: nothing to divide by; packed over cut stands instead",
            melt_log=_covered(melt) if melt.cover else say("no melt log came"),
        )
        return Estimate(None, None, None, why)
    found = _impossible(balanced, lines) or balanced.pack_to_melt()
    return found or Estimate(None, None, None, say("nothing was melted"))


def _covered(melt: Melt) -> str:
    return say("the melt log covers {share} % of the day", share=f"{100 * melt.cover:.0f}")


def _over_cut(balanced: Balanced, lines: Sequence[LineTold]) -> Estimate:
    blind = [line.reading.line for line in lines if line.reading.cut is None and line.reading.ware > 0]
    if blind:
        why = say("no forming counts of {lines}: nothing to divide by", lines=joined(", ", blind))
        return Estimate(None, None, None, why)
    found = _impossible(balanced, lines) or balanced.packed_over_cut()
    return found or Estimate(None, None, None, say("nothing was cut"))


def _impossible(balanced: Balanced, lines: Sequence[LineTold]) -> Estimate | None:
    found = [(line.reading.line, why) for line in lines if (why := refused(balanced, line.reading))]
    reasons = joined("; ", (say("{line}: {why}", line=line, why=each.why) for line, each in found))
    return Estimate(None, None, None, reasons) if found else None


def _flow(balanced: Balanced, lines: Sequence[LineTold]) -> tuple[FlowStep, ...]:
    """The way of the day's glass from melt to pack, reconciled. What the counted losses leave open on the lines is
    unaccounted; it holds what breaks unseen, and what the mass of rejects of several items is not known to be.
    """
    x, name = balanced.reconciled.values, balanced.reading.furnace
    melted, (cut, then) = balanced.melted_kg(x), balanced.cut_kg(x)
    unseen = float(x[balanced.at(f"{name}, furnace to shears")]) * cut / then
    lost = dict.fromkeys((HOT, STATION, *WORDS.values(), STARTING, PALLETS), 0.0)
    for line in lines:
        for this_lost in line.machine.lost:
            if this_lost.kind in lost:
                lost[this_lost.kind] += this_lost.units * line.machine.mass_g[this_lost.part] * KG
    packed = sum(balanced.packed_kg(x, line) for line in balanced.network.formed) - lost[PALLETS]
    steps = [
        (say("melted"), melted, "stock"),
        (say("held back by the level"), melted - cut - unseen, "kept"),
        (say("unaccounted before the shears"), unseen, "unaccounted"),
        (say("cut by the shears"), cut, "stock"),
        (say("rejected hot"), lost[HOT], "counted"),
        (say("rejected at stations"), lost[STATION], "counted"),
        *((name, lost[name], "counted") for name in WORDS.values() if lost[name]),
        (say("start-up of jobs"), lost[STARTING], "counted"),
        (say("re-sort and scrapped pallets"), lost[PALLETS], "counted"),
        (say("unaccounted on the lines"), cut - sum(lost.values()) - packed, "unaccounted"),
        (say("packed good"), packed, "stock"),
    ]
    return tuple(FlowStep(name=step, kg=kg, kind=kind) for step, kg, kind in steps)


def _furnace_notes(balanced: Balanced, melt: Melt, lines: Sequence[LineTold]) -> list[str]:
    notes = []
    if all(line.day.silent for line in lines):
        melted = _melted(melt) if melt.cover else say("no melt log came")
        return [say("no line sent anything; {melted}", melted=melted)]
    if not balanced.network.formed:
        return [say("the furnace stood for its lines: nothing was cut; {melted}", melted=_melted(melt))]
    if not melt.whole:
        melt_log = _covered(melt) if melt.cover else say("no melt log")
        notes.append(say("{melt_log}: no pack-to-melt; packed over cut instead", melt_log=melt_log))
    elif melt.level_unknown:
        notes.append(say("no glass level in some windows: taken as unchanged there"))
    notes += off_sentences(balanced.misfit) if balanced.misfit else []
    if balanced.days == 1:
        notes.append(say("a first day: what is usually lost is a guess, and no meter can be told apart by its past"))
    blind = [line.reading.line for line in lines if line.reading.cut is None and line.reading.ware]
    if blind:
        notes.append(
            say("no forming counts of {lines}: their gobs are worked out from the stations", lines=joined(", ", blind))
        )
    return notes


def _melted(melt: Melt) -> str:
    return say("{kg} kg melted by the log", kg=numeral(melt.melted, ",.0f"))


def meters_of(balanced: Balanced) -> list[MeterReading]:
    """Every meter of a furnace and its lines, the one whose lying would explain most first."""
    values, nodes = in_whole(balanced), balanced.network.nodes
    ranked = [
        balanced.places[name]
        for name in balanced.ranked
        if name in balanced.places and nodes[balanced.places[name]].is_meter
    ]
    order = ranked + [n for n, node in enumerate(nodes) if node.is_meter and n not in ranked]
    return [
        MeterReading(
            furnace=balanced.reading.furnace,
            of=nodes[n].of,
            meter=nodes[n].name,
            unit=nodes[n].unit,
            reading=nodes[n].reading if nodes[n].believed else None,
            uncertainty=nodes[n].sd if nodes[n].believed else None,
            reconciled=float(values[n]),
            low=_known(balanced.reconciled.low[n]),
            high=_known(balanced.reconciled.high[n]),
            z=float(balanced.first.z[n]) if np.isfinite(balanced.first.z[n]) else None,
        )
        for n in order
    ]


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def balances_of(balanced: Balanced) -> list[BalanceRow]:
    """Every balance before and after; after it, containers close to the last one."""
    network, values = balanced.network, in_whole(balanced)
    readings = np.array([node.reading for node in network.nodes])
    rows = []
    for number, balance in enumerate(network.balances):
        before = network.open(readings, number, with_losses=False)
        after = network.open(values, number, with_losses=True)
        into = float(values[list(balance.into)].sum())
        lost = float(values[list(balance.loss)].sum())
        rows.append(
            BalanceRow(
                furnace=balanced.reading.furnace,
                of=balance.of,
                balance=balance.name,
                unit=balance.unit,
                into=into,
                out=into - lost - after,
                before=before,
                unaccounted=lost,
                after=after,
            )
        )
    return rows


def in_whole(balanced: Balanced) -> np.ndarray:
    """The reconciled values with containers rounded to whole ones so that every balance still closes; glass takes what
    rounding leaves.
    """
    nodes, network = balanced.network.nodes, balanced.network
    values = balanced.reconciled.values.copy()
    counted = [n for n, node in enumerate(nodes) if node.unit == "containers" and node.is_meter]
    values[counted] = np.round(values[counted])
    for number, balance in enumerate(network.balances):
        if number == network.furnace:
            continue
        left = network.open(values, number, with_losses=False)
        if left < 0:  # rounding alone: one container less out
            values[balance.out[-1]] += left
        values[balance.loss[0]] = max(left, 0.0)
    if network.furnace is not None:
        values[network.balances[network.furnace].loss[0]] = network.open(values, network.furnace, with_losses=False)
    return values
