"""The sheet of one machine in the day report: what it made and lost, its shifts and jobs, Pareto, weights, hours."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.answers.day import Day
from pipelines.measures.statistics.shares import ratio, share
from pipelines.measures.yields.meter_sentences import yield_words
from pipelines.numbers import count, decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import hour_address
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.pareto import pareto_chart, pareto_sheet
from pipelines.reports.yields.losses import causes_sheet, machine_picture, worked_sheet
from pipelines.words import say
from schemas.answers.weights import Weights
from schemas.answers.yields import LineYield


def machine_sections(plant: Plant, day: Day, line_yield: LineYield) -> list[Section]:
    """The sheet of a machine; its first section begins a sheet of paper."""
    line = line_yield.line
    return [
        Section(
            f"Machine {line}",
            _head(day, line_yield),
            sheet=_stations(plant, day, line_yield),
            wide=True,
            sheet_of_paper=True,
        ),
        machine_picture(line_yield),
        _pareto_section(plant, day, line),
        Section(f"{line}: losses by cause", sheet=causes_sheet(plant, line_yield), wide=True),
        Section(f"{line}: shifts and jobs", sheet=worked_sheet(line_yield), wide=True),
        *[_weight_section(line, item) for item in day.weights[line]],
        Section(f"{line}: hours", sheet=_hours(plant, day, line)),
        Section(
            f"{line}: Pareto of the day",
            sheet=pareto_sheet(day.paretos[line], f"pareto-{line}", f"{line} Pareto"),
            wide=True,
        ),
    ]


def _head(day: Day, line: LineYield) -> tuple[str, ...]:
    """The machine in three sentences."""
    no_efficiency = f", {line.efficiency_why}" if line.efficiency is None and line.efficiency_why else ""
    made = (
        f"Efficiency {percent(line.efficiency, 1)}{no_efficiency} (packed good {count(line.packed_good)} of "
        f"{count(line.could)} that its cycle rate could have made); packed / cut "
        f"{yield_words(line.pack_to_melt, line.low, line.high)} of the mass{f': {line.why}' if line.why else ''}."
    )
    ware = (
        f"{count(line.gobs_cut)} gobs cut, {count(line.hot_rejected)} rejected hot, {count(line.inspected)} met the "
        f"first station, {count(line.rejected)} rejected there and after, {count(line.packed_units)} "
        f"packed{' (no pallet was reported)' if line.packed_units is None else ''}, {count(line.unaccounted_units)} "
        f"unaccounted (95 %: {count(line.unaccounted_low)} to {count(line.unaccounted_high)}). In the lehr when the "
        f"day began {count(line.in_lehr_start)}, when it ended {count(line.in_lehr_end)}."
    )
    glass = (
        f"Giveaway {_signed(line.giveaway_kg)} kg above nominal weights (95 %: {_signed(line.giveaway_low)} to "
        f"{_signed(line.giveaway_high)} kg)."
    )
    if line.giveaway_kg is None:
        glass = f"Giveaway not known: {line.giveaway_why}." if line.giveaway_why else say("Giveaway not known.")
    items = ", ".join(f"{item} {decimals(grams, 1)} g" for item, grams in line.weights.items())
    states = ", ".join(
        f"{'to be re-sorted' if state == 'resort' else state} {count(units)}"
        for state, units in sorted(line.states.items())
    )
    if states:
        ware += (
            " On pallets, by their state: "
            f"{states}{f'; not reported yet, estimated {count(line.open_units)}' if line.open_units else ''}."
        )
    return (made, ware, f"{glass} Mean weights: {items}." if items else glass)


def _signed(value: float | None) -> str:
    return "–" if value is None else f"{value:+,.0f}".replace(",", " ").replace("-", "−")


def _stations(plant: Plant, day: Day, line: LineYield) -> Sheet:
    """The line's stations in the order in which ware meets them."""
    reconciled = {meter.meter: meter.reconciled for meter in day.yields.meters}
    rows = [
        {
            "station": flow.station,
            "order": plant.stations[flow.station].order,
            "inspected": flow.inspected,
            "rejected": flow.rejected,
            "rate": ratio(flow.rejected, flow.inspected),
            "settled": reconciled.get(f"{flow.station} inspected"),
        }
        for flow in line.stations
    ]
    columns = (
        Column("station", say("Station")),
        Column("order", say("Order"), "count"),
        Column("inspected", say("Inspected"), "count"),
        Column("rejected", say("Rejected"), "count"),
        Column("rate", say("Rejected / inspected"), "percent"),
        Column("settled", say("Inspected, reconciled"), "count"),
    )
    return Sheet(
        f"stations-{line.line}",
        f"{line.line} stations",
        columns,
        rows,
        say("Counts as the stations sent them; lanes side by side share an order."),
    )


def _pareto_section(plant: Plant, day: Day, line: str) -> Section:
    pareto = day.paretos[line]
    words = f"{line}, calls by defect: " + "; ".join(f"{row.name} {row.calls}" for row in pareto.rows[:8])
    note = (
        f"{count(pareto.calls)} calls in {count(pareto.ware)} containers. Ticks: expected from the line's own past "
        "in the job, where there is any."
    )
    return Section(f"{line}: what was thrown away", chart=pareto_chart(pareto, words), chart_words=note)


def _hours(plant: Plant, day: Day, line: str) -> Sheet:
    """Rejected share by hour, each a link to the hour's page."""
    spans = plant.clock.hours_of(day.day)
    rows: list[dict[str, Any]] = []
    links: dict[tuple[int, str], str] = {}
    for number, span in enumerate(spans):
        ware, rejected = _hour_counts(plant, day, line, number)
        rows.append(
            {
                "hour": f"{plant.clock.local(span.start):%H:%M}",
                "ware": ware,
                "rejected": rejected,
                "rate": percent(share(rejected, ware)),
            }
        )
        links[number, "rate"] = f"../{hour_address(plant, line, span)}"
    columns = (
        Column("hour", say("From")),
        Column("ware", say("Ware"), "count"),
        Column("rejected", say("Rejected"), "count"),
        Column("rate", say("Rejected / ware")),
    )
    return Sheet(
        f"hours-{line}",
        f"{line} hours",
        columns,
        rows,
        say(
            "Rejected at the stations that send counts / containers at the first station; none where more was"
            " rejected than counted in. Each figure opens its hour."
        ),
        links=links,
    )


def _hour_counts(plant: Plant, day: Day, line: str, hour: int) -> tuple[int, int]:
    here = day.hours[line].filter(pl.col("hour") == hour)
    ware = int(here.filter(pl.col("station").is_in(plant.first_stations(line)))["inspected"].sum())
    return ware, int(here["rejected"].sum())


def _weight_section(line: str, weights: Weights) -> Section:
    moulds = sorted(weights.moulds, key=lambda mould: -mould.mean_g)
    rows = [{"label": m.mould, "mean": m.mean_g, "low": m.least_g, "high": m.greatest_g} for m in moulds]
    limits = [{"at": limit} for limit in (weights.weight_min_g, weights.weight_max_g) if limit is not None]
    item = weights.item or say("an unknown item")
    words = (
        f"Weights of {item} on {line}, mean by mould from {decimals(moulds[-1].mean_g, 1)} to "
        f"{decimals(moulds[0].mean_g, 1)} g"
    )
    note = (
        f"{weights.n} weighings {weights.point}, mean {decimals(weights.mean_g, 1)} g; dots are means, bars reach "
        "from the least to the greatest; dashed: limits."
    )
    return Section(
        f"{line}: weights of {item}",
        chart=charts.svg(charts.weight_dots, words, rows, "g", limits=limits),
        chart_words=note,
    )
