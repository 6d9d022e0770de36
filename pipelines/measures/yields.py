"""Pack-to-melt of a day: the same ware from the furnace to the pallet, and what was lost at each step.

The day is the production day at the first station. The gobs of that ware were cut one lehr time earlier, its glass was
melted then, the later stations and the packing met it `after_minutes` later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from pipelines.clock import Span
from pipelines.measures.lehr import LehrTime
from pipelines.measures.shares import availability, quality_ratio, quotient_interval, ratio, scrap_ratio
from pipelines.plant import Furnace, Plant
from schemas.results import FurnaceYield, LineYield, Loss, StationFlow, Yield

KG = 1 / 1000


@dataclass(frozen=True)
class LineDay:
    """The frames of one line's day.

    gobs: item, gobs_cut, hot_rejected (the formed window). ware: station, inspected, rejected (each station's own window).
    pallets: item, units, packed_from, packed_to. weights: item, weight_g of cold weighings.
    stoppages: section, stopped_at, restarted_at. counter_notes: what running totals leave open.
    """

    line: str
    span: Span
    gobs: pl.DataFrame
    ware: pl.DataFrame
    pallets: pl.DataFrame
    weights: pl.DataFrame
    stoppages: pl.DataFrame
    lehr: LehrTime
    counter_notes: tuple[str, ...] = ()


def station_span(plant: Plant, station: str, span: Span) -> Span:
    """When the ware that meets the first station in `span` meets this one."""
    return span.shifted(timedelta(minutes=plant.stations[station].after_minutes))


def pack_span(plant: Plant, line: str, span: Span) -> Span:
    """When the ware that meets the first station in `span` is packed: after the last station."""
    return station_span(plant, plant.stations_of(line)[-1].id, span)


def formed_span(lehr: LehrTime, span: Span) -> Span:
    """When the ware that meets the first station in `span` was formed."""
    return span.shifted(-timedelta(minutes=lehr.minutes))


def melted_kg(batch_kg: float, moisture_pct: float, loss_pct: float, cullet_kg: float) -> float:
    """Mass melted [kg] = batch (1 - moisture) (1 - fusion loss) + cullet, by the feed contract."""
    return batch_kg * (1 - moisture_pct / 100) * (1 - loss_pct / 100) + cullet_kg


def held_back_kg(level_change_mm: float, surface_m2: float, density_g_cm3: float) -> float:
    """Glass [kg] that a rise of the level keeps in the furnace: height x surface x density."""
    return level_change_mm / 1000 * surface_m2 * density_g_cm3 * 1000


def packed_units(pallets: pl.DataFrame, span: Span) -> dict[str, float]:
    """Containers packed in `span` by item. A pallet that the limits cut through counts by the time inside them."""
    told: dict[str, float] = {}
    for row in pallets.iter_rows(named=True):
        start, end = row["packed_from"], row["packed_to"]
        length = (end - start).total_seconds()
        inside = (min(end, span.end) - max(start, span.start)).total_seconds()
        part = inside / length if length > 0 else float(span.start <= start < span.end)
        if part > 0:
            told[row["item"]] = told.get(row["item"], 0.0) + row["units"] * min(1.0, part)
    return told


def item_weights(plant: Plant, weights: pl.DataFrame, items: Sequence[str]) -> tuple[dict[str, float], list[str]]:
    """Mean weight [g] of each item from its cold weighings; the nominal weight where there are none, with a note."""
    means = {row[0]: row[1] for row in weights.group_by("item").agg(pl.col("weight_g").mean()).iter_rows() if row[0]}
    notes = [f"no weighing of {item}: its nominal weight was used" for item in items if item not in means]
    return {item: means.get(item, plant.items[item].weight_g) for item in items}, notes


def line_yield(plant: Plant, told: LineDay) -> LineYield:
    """One line's day in containers and kilograms, with the loss at each step."""
    gobs = {row["item"]: row for row in told.gobs.iter_rows(named=True)}
    packed = packed_units(told.pallets, pack_span(plant, told.line, told.span))
    items = sorted({item for item in (*gobs, *packed) if item in plant.items})
    weights, notes = item_weights(plant, told.weights, items)
    notes += [*_line_notes(gobs, told.lehr), *told.counter_notes]
    mean_g = _mean_weight(plant, gobs, packed, weights)
    cut, hot = (sum(row[name] for row in gobs.values()) if gobs else None for name in ("gobs_cut", "hot_rejected"))
    formed_kg = sum(row["gobs_cut"] * weights.get(item, mean_g) for item, row in gobs.items()) * KG if gobs else None
    packed_kg = sum(units * weights.get(item, mean_g) for item, units in packed.items()) * KG
    value = ratio(packed_kg, formed_kg)
    low, high = quotient_interval(value, plant.uncertainty.gobs_cut, plant.uncertainty.packed)
    flows = _flows(plant, told)
    rejected = sum(flow.rejected for flow in flows)
    to_lehr = cut - hot if cut is not None and hot is not None else None
    total = sum(packed.values())
    return LineYield(
        line=told.line,
        gobs_cut=cut,
        formed_kg=formed_kg,
        hot_rejected=hot,
        to_lehr=to_lehr,
        inspected=sum(flow.inspected for flow in flows if flow.station in plant.first_stations(told.line)),
        rejected=rejected,
        packed_units=total,
        packed_kg=packed_kg,
        pack_to_melt=value,
        low=low,
        high=high,
        unaccounted_units=to_lehr - rejected - total if to_lehr is not None else None,
        stations=flows,
        quality_ratio=quality_ratio(total, cut),
        scrap_ratio=scrap_ratio(rejected + (hot or 0), cut),
        availability=_availability(plant, told),
        losses=_losses(plant, told, flows, cut, hot, total, mean_g),
        weights=weights,
        notes=tuple(notes),
    )


def _line_notes(gobs: dict[str | None, dict[str, float]], lehr: LehrTime) -> list[str]:
    notes = [f"lehr time: {lehr.minutes:.0f} min, {lehr.source}"]
    if not gobs:
        notes.append("no forming counts: nothing can be said of the hot end and the lehr")
    if None in gobs:
        notes.append("some gobs have no item in mould_log or job_log: the mean weight was used")
    return notes


def _mean_weight(
    plant: Plant, gobs: dict[str, dict[str, float]], packed: dict[str, float], weights: dict[str, float]
) -> float:
    counts = {item: row["gobs_cut"] for item, row in gobs.items() if item in weights} or packed
    total = sum(counts.get(item, 0.0) for item in weights)
    if total:
        return sum(weights[item] * counts.get(item, 0.0) for item in weights) / total
    return sum(weights.values()) / len(weights) if weights else plant.item[0].weight_g


def _flows(plant: Plant, told: LineDay) -> tuple[StationFlow, ...]:
    counts = {row["station"]: row for row in told.ware.iter_rows(named=True)}
    empty = {"inspected": 0, "rejected": 0}
    return tuple(
        StationFlow(
            station=s.id,
            inspected=counts.get(s.id, empty)["inspected"],
            rejected=counts.get(s.id, empty)["rejected"],
        )
        for s in plant.stations_of(told.line)
    )


def _losses(
    plant: Plant,
    told: LineDay,
    flows: Sequence[StationFlow],
    cut: float | None,
    hot: float | None,
    packed: float,
    mean_g: float,
) -> tuple[Loss, ...]:
    """Each step's loss. What no counter names is `unaccounted`, on a line of its own, and can be negative."""
    losses: list[tuple[str, float, bool]] = []
    orders = {s.id: s.order for s in plant.stations_of(told.line)}
    arriving: float | None = None
    if cut is not None and hot is not None:
        losses.append(("hot end rejects", hot, True))
        arriving = cut - hot
    names = {order: [flow for flow in flows if orders[flow.station] == order] for order in sorted(set(orders.values()))}
    for number, members in enumerate(names.values()):
        inspected = float(sum(flow.inspected for flow in members))
        if arriving is not None:
            where = "lehr" if number == 0 else f"before {members[0].station}"
            losses.append((f"unaccounted, {where}", arriving - inspected, False))
        losses.extend((f"rejects of {flow.station}", float(flow.rejected), True) for flow in members)
        arriving = inspected - sum(flow.rejected for flow in members)
    if arriving is not None:
        losses.append(("unaccounted, packing", arriving - packed, False))
    return tuple(
        Loss(step=step, units=units, kg=units * mean_g * KG, measured=measured) for step, units, measured in losses
    )


def _availability(plant: Plant, told: LineDay) -> float | None:
    """Running section-minutes over all section-minutes of the formed window, from the stoppage log."""
    span = formed_span(told.lehr, told.span)
    sections = plant.lines[told.line].sections
    stopped = _stopped_minutes(told.stoppages, span, sections)
    return availability(span.seconds / 60 * sections - stopped, span.seconds / 60 * sections)


def _stopped_minutes(stoppages: pl.DataFrame, span: Span, sections: int) -> float:
    """Stopped section-minutes in `span`; overlapping stops of one section count once."""
    by_section: dict[int, list[tuple[float, float]]] = {}
    for row in stoppages.iter_rows(named=True):
        start = max(row["stopped_at"], span.start)
        end = min(row["restarted_at"] or span.end, span.end)
        piece = ((start - span.start).total_seconds() / 60, (end - span.start).total_seconds() / 60)
        for section in [row["section"]] if row["section"] else range(1, sections + 1):
            by_section.setdefault(section, []).append(piece)
    total = 0.0
    for pieces in by_section.values():
        reached = 0.0
        for start, end in sorted(pieces):
            total += max(0.0, end - max(start, reached))
            reached = max(reached, end)
    return total


def furnace_span(plant: Plant, furnace: str, lines: Sequence[LineYield], days: dict[str, LineDay]) -> timedelta:
    """How long before the day the furnace's glass was cut: the lehr times of its lines, weighted by the glass each took."""
    mine = [line for line in lines if plant.lines[line.line].furnace == furnace]
    mass = {line.line: line.formed_kg or line.packed_kg for line in mine}
    total = sum(mass.values())
    if not total:
        return timedelta(minutes=sum(days[line.line].lehr.minutes for line in mine) / len(mine) if mine else 0.0)
    return timedelta(minutes=sum(days[line].lehr.minutes * kg for line, kg in mass.items()) / total)


def furnace_yield(
    plant: Plant, furnace: Furnace, melt: pl.DataFrame, span: Span, lines: Sequence[LineYield]
) -> FurnaceYield:
    """One furnace's day: melted, pull, packed, and what no counter saw between pull and gobs."""
    mine = [line for line in lines if plant.lines[line.line].furnace == furnace.id]
    packed = sum(line.packed_kg for line in mine)
    formed = [line.formed_kg for line in mine if line.formed_kg is not None]
    rows = list(melt.iter_rows(named=True))
    covered = sum(row["part"] * row["window_s"] for row in rows)
    notes = []
    if covered < 0.98 * span.seconds:
        notes.append(f"the melt log covers {covered / 3600:.1f} of {span.seconds / 3600:.0f} hours")
    if not rows or covered < 0.5 * span.seconds:
        notes.append("without a melt log the yield stands on gob counts alone: see the lines")
        return FurnaceYield(
            furnace=furnace.id, melted_kg=None, pull_kg=None, packed_kg=packed, pack_to_melt=None, low=None, high=None,
            unaccounted_kg=None, notes=tuple(notes),
        )  # fmt: skip
    melted = sum(r["part"] * melted_kg(r["batch_kg"], r["moisture_pct"], r["loss_pct"], r["cullet_kg"]) for r in rows)
    kept = sum(
        r["part"] * held_back_kg(r["level_change_mm"] or 0.0, furnace.surface_m2, furnace.density_g_cm3) for r in rows
    )
    if any(row["level_change_mm"] is None for row in rows):
        notes.append("no glass level in some windows: taken as unchanged there")
    value = ratio(packed, melted)
    low, high = quotient_interval(value, plant.uncertainty.melt, plant.uncertainty.packed, plant.uncertainty.weight)
    return FurnaceYield(
        furnace=furnace.id,
        melted_kg=melted,
        pull_kg=melted - kept,
        packed_kg=packed,
        pack_to_melt=value,
        low=low,
        high=high,
        unaccounted_kg=melted - kept - sum(formed) if len(formed) == len(mine) else None,
        notes=tuple(notes),
    )


def day_yield(day: date, furnaces: Sequence[FurnaceYield], lines: Sequence[LineYield]) -> Yield:
    return Yield(day=day, furnaces=tuple(furnaces), lines=tuple(lines))
