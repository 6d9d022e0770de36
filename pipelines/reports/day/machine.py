"""The sheet of one machine in the day report: what it made and lost, its shifts and jobs, Pareto, weights, hours."""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.answers.day import Day
from pipelines.measures.laboratory.words import signed_whole
from pipelines.measures.statistics.shares import ratio, share
from pipelines.measures.yields.meter_sentences import yield_words
from pipelines.measures.yields.names import state_name
from pipelines.numbers import count, decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import hour_address
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.pareto import pareto_chart, pareto_sheet
from pipelines.reports.yields.losses import causes_sheet, machine_picture, worked_sheet
from pipelines.words import joined, say, say_n, worded
from schemas.answers.weights import Weights
from schemas.answers.yields import LineYield


def machine_sections(plant: Plant, day: Day, line_yield: LineYield) -> list[Section]:
    """The sheet of a machine; its first section begins a sheet of paper."""
    line = line_yield.line
    return [
        Section(
            say("Machine {line}", line=line),
            _head(day, line_yield),
            sheet=_stations(plant, day, line_yield),
            wide=True,
            sheet_of_paper=True,
        ),
        machine_picture(line_yield),
        _pareto_section(plant, day, line),
        Section(say("{line}: losses by cause", line=line), sheet=causes_sheet(plant, line_yield), wide=True),
        Section(say("{line}: shifts and jobs", line=line), sheet=worked_sheet(line_yield), wide=True),
        *[_weight_section(line, item) for item in day.weights[line]],
        Section(say("{line}: hours", line=line), sheet=_hours(plant, day, line)),
        Section(
            say("{line}: Pareto of the day", line=line),
            sheet=pareto_sheet(day.paretos[line], f"pareto-{line}", say("{line} Pareto", line=line)),
            wide=True,
        ),
    ]


def _head(day: Day, line: LineYield) -> tuple[str, ...]:
    """The machine in three sentences."""
    return (_made(line), _ware(line), _glass(line))


def _made(line: LineYield) -> str:
    why = say(", {why}", why=line.efficiency_why) if line.efficiency is None and line.efficiency_why else ""
    return say(
        "Efficiency {efficiency}{no_efficiency} (packed good {good} of {could} that its cycle rate could have made); "
        "packed / cut {share} of the mass{why}.",
        efficiency=percent(line.efficiency, 1),
        no_efficiency=why,
        good=count(line.packed_good),
        could=count(line.could),
        share=yield_words(line.pack_to_melt, line.low, line.high),
        why=say(": {why}", why=line.why) if line.why else "",
    )


def _ware(line: LineYield) -> str:
    return say(
        "{cut} gobs cut, {hot} rejected hot, {inspected} met the first station, {rejected} rejected there and after, "
        "{packed} packed{no_pallet}, {unaccounted} unaccounted (95 %: {low} to {high}). In the lehr when the day began "
        "{start}, when it ended {end}.{states}",
        cut=count(line.gobs_cut),
        hot=count(line.hot_rejected),
        inspected=count(line.inspected),
        rejected=count(line.rejected),
        packed=count(line.packed_units),
        no_pallet=say(" (no pallet was reported)") if line.packed_units is None else "",
        unaccounted=count(line.unaccounted_units),
        low=count(line.unaccounted_low),
        high=count(line.unaccounted_high),
        start=count(line.in_lehr_start),
        end=count(line.in_lehr_end),
        states=_states(line),
    )


def _states(line: LineYield) -> str:
    if not line.states:
        return ""
    states = (
        say("{state} {units}", state=state_name(state), units=count(units))
        for state, units in sorted(line.states.items())
    )
    return say(
        " On pallets, by their state: {states}{open}.",
        states=joined(", ", states),
        open=say("; not reported yet, estimated {units}", units=count(line.open_units)) if line.open_units else "",
    )


def _glass(line: LineYield) -> str:
    glass = say(
        "Giveaway {giveaway} kg above nominal weights (95 %: {low} to {high} kg).",
        giveaway=signed_whole(line.giveaway_kg),
        low=signed_whole(line.giveaway_low),
        high=signed_whole(line.giveaway_high),
    )
    if line.giveaway_kg is None:
        glass = (
            say("Giveaway not known: {why}.", why=line.giveaway_why)
            if line.giveaway_why
            else say("Giveaway not known.")
        )
    items = joined(
        ", ",
        (say("{item} {grams} g", item=item, grams=decimals(grams, 1)) for item, grams in line.weights.items()),
    )
    return say("{glass} Mean weights: {items}.", glass=glass, items=items) if items else glass


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
        say("{line} stations", line=line.line),
        columns,
        rows,
        say("Counts as the stations sent them; lanes side by side share an order."),
    )


def _pareto_section(plant: Plant, day: Day, line: str) -> Section:
    pareto = day.paretos[line]
    calls = (say("{name} {calls}", name=row.name, calls=row.calls) for row in pareto.rows[:8])
    words = say("{line}, calls by defect: {calls}", line=line, calls=joined("; ", calls))
    note = say(
        "{calls} calls in {ware} containers. Ticks: expected from the line's own past in the job, where there is any.",
        calls=count(pareto.calls),
        ware=count(pareto.ware),
    )
    return Section(say("{line}: what was thrown away", line=line), chart=pareto_chart(pareto, words), chart_words=note)


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
        say("{line} hours", line=line),
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
    words = say(
        "Weights of {item} on {line}, mean by mould from {low} to {high} g",
        item=item,
        line=line,
        low=decimals(moulds[-1].mean_g, 1),
        high=decimals(moulds[0].mean_g, 1),
    )
    note = say_n(
        "{n} weighing {point}, mean {mean} g; dots are means, bars reach from the least to the greatest; dashed: "
        "limits.",
        "{n} weighings {point}, mean {mean} g; dots are means, bars reach from the least to the greatest; dashed: "
        "limits.",
        weights.n,
        point=worded(weights.point),
        mean=decimals(weights.mean_g, 1),
    )
    return Section(
        say("{line}: weights of {item}", line=line, item=item),
        chart=charts.svg(charts.weight_dots, words, rows, "g", limits=limits),
        chart_words=note,
    )
