"""The page of one machine on a production day: what it made and lost, its shifts and jobs, Pareto, weights, hours."""

from __future__ import annotations

from datetime import timedelta

from pipelines.answers.day import Day
from pipelines.answers.day_sheet import shifts_of
from pipelines.measures.statistics.shares import ratio, share
from pipelines.numbers import count, decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, machine_address, weights_address
from pipelines.reports.day.hours import hours_sheet
from pipelines.reports.day.machine_tables import made_section, pareto_section, shift_sheet
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.pareto import pareto_sheet
from pipelines.reports.signals import LISTED, signals_sheet
from pipelines.reports.yields.losses import causes_sheet, machine_picture, worked_sheet
from pipelines.words import day_named, say, say_n, worded
from schemas.answers.weights import Weights
from schemas.answers.yields import LineYield


def machine_page(plant: Plant, day: Day, line: LineYield, words: str = "") -> Page:
    """The page of a machine. words: which close wrote it."""
    clock, on = plant.clock, day.day
    others = tuple((other, f"{other}.html") for other in plant.lines if other != line.line)
    return Page(
        title=say("{line}, {day}", line=line.line, day=day_named(on)),
        when=say(
            "{start} to {end}, cold-end clock{words}",
            start=f"{clock.local(day.span.start):%H:%M}",
            end=f"{clock.local(day.span.end):%H:%M}",
            words=say("; {words}", words=words) if words else "",
        ),
        figures=tuple(_figures(day, line)),
        sections=tuple(_sections(plant, day, line)),
        links=(
            (say("← day before"), f"../../{machine_address(on - timedelta(days=1), line.line)}"),
            (say("day after →"), f"../../{machine_address(on + timedelta(days=1), line.line)}"),
            (say("the day"), f"../../{day_address(on)}"),
            (say("weights"), f"../../{weights_address(on, line.line)}"),
            *others,
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(day.asked, day.files),
        made=say(
            "The yield follows the same ware from the melt to the pallet, each step in its own time-aligned window."
        ),
        workbook=f"{line.line}.xlsx",
        paper="sheets",
    )


def _figures(day: Day, line: LineYield) -> list[Figure]:
    """The machine at a glance, each figure with what it is of."""
    rejected = line.rejected - line.rejected_apart
    seen = "–" if line.silent else percent(share(rejected, line.inspected), 1)
    return [
        _packed(line),
        Figure(
            percent(line.efficiency, 1),
            say("efficiency"),
            line.efficiency_why
            or say("{good} of {could} containers it could make", good=count(line.packed_good), could=count(line.could)),
        ),
        Figure(
            seen,
            say("rejected at the cold end"),
            say("no count came")
            if line.silent
            else say("{rejected} of {ware} containers", rejected=count(rejected), ware=count(line.inspected)),
        ),
        Figure(
            count(sum(row.critical_calls for row in day.paretos[line.line].rows)),
            say("critical calls"),
            say("containers caught"),
        ),
    ]


def _packed(line: LineYield) -> Figure:
    """Packed of cut mass; a range where the meters allow no number."""
    what, limits = say("packed of cut mass"), {"low": percent(line.low, 1), "high": percent(line.high, 1)}
    if line.low is None:
        return Figure("–", what, say("not known: {why}", why=line.why) if line.why else say("not known"))
    if line.pack_to_melt is None:
        return Figure(say("{low} to {high}", **limits), what, line.why)
    return Figure(percent(line.pack_to_melt, 1), what, say("95 %: {low} to {high}", **limits))


def _sections(plant: Plant, day: Day, line: LineYield) -> list[Section]:
    """Shift by shift, where the containers went, what was thrown away; the whole tables behind."""
    name, pareto = line.line, day.paretos[line.line]
    mine = [signal for signal in day.signals if name == signal.line or name in signal.members]
    signals = signals_sheet(plant, mine, day.span.start, "signals", LISTED)
    return [
        Section(say("Shift by shift"), sheet=shift_sheet(shifts_of(day.shifts[name], line)), wide=True),
        made_section(line),
        Section(say("Hours"), sheet=hours_sheet(plant, day.day, name, day.hours[name]), tall=True),
        machine_picture(line),
        pareto_section(pareto),
        *[_weight_section(name, item) for item in day.weights[name]],
        Section(say("Signals of the day"), sheet=signals, wide=True)
        if mine
        else Section(say("Signals of the day"), (say("No signal was open on this line."),), wide=True),
        Section(say("Losses by cause"), sheet=causes_sheet(plant, line), wide=True),
        Section(say("Stations"), sheet=_stations(plant, day, line), wide=True, on_screen=True),
        Section(say("Shifts and jobs"), sheet=worked_sheet(line), wide=True, on_screen=True),
        Section(
            say("Pareto of the day"),
            sheet=pareto_sheet(pareto, f"pareto-{name}", say("{line} Pareto", line=name)),
            wide=True,
            on_screen=True,
        ),
    ]


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
        say("Weights of {item}", item=item),
        chart=charts.svg(charts.weight_dots, words, rows, "g", limits=limits),
        chart_words=note,
    )
