"""The day page: every machine's results over the production day, the yield and its losses, Paretos, weights."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import polars as pl

from pipelines.answers.day import Day, answer_day
from pipelines.ledger.store import Reader
from pipelines.measures.shares import ratio
from pipelines.measures.weights import ItemWeights
from pipelines.plant import Plant
from pipelines.reports import charts
from pipelines.reports.common import (
    count,
    day_address,
    hour_address,
    missing_section,
    pareto_chart,
    pareto_sheet,
    percent,
    sources,
    uncalled_sentence,
)
from pipelines.reports.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.sheet import Column, Sheet
from pipelines.reports.signals import signals_sheet
from schemas.results import FurnaceYield, LineYield, Loss

QUERIES = (
    "calls", "ware", "gobs_by_item", "pallets_of_line", "melt_of_furnace", "weights_of_line", "stoppages_of_line", "hours_of_day", "coverage",
    "signals_at", "expected_of_line", "lehr_hours_of_line",
)  # fmt: skip


def day_page(reader: Reader, plant: Plant, day: date, revision: str = "") -> Page:
    """The page of one production day. `revision` says which close wrote it."""
    return page_of(plant, answer_day(reader, plant, day), revision)


def page_of(plant: Plant, told: Day, revision: str = "") -> Page:
    """The page of a day already answered."""
    hours = told.span.seconds / 3600
    return Page(
        works=plant.works.name,
        title=f"Production day {told.day.isoformat()}",
        when=f"{plant.clock.show(told.span.start)} to {plant.clock.show(told.span.end)}, {hours:g} hours{'; ' + revision if revision else ''}",
        figures=tuple(_furnace_figure(f) for f in told.told.furnaces),
        sections=tuple(_sections(plant, told)),
        links=(
            ("← day before", f"../{day_address(told.day - timedelta(days=1))}"),
            ("day after →", f"../{day_address(told.day + timedelta(days=1))}"),
            ("all pages", "../index.html"),
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(QUERIES, told.files),
        made="The yield follows the same ware from the gob to the pallet, each step in its own time-aligned window.",
        workbook=f"{told.day.isoformat()}.xlsx",
    )


def _furnace_figure(told: FurnaceYield) -> Figure:
    if told.pack_to_melt is None:
        return Figure("–", f"pack-to-melt, furnace {told.furnace}", "no melt log for most of the day; see the lines")
    under = f"95 %: {percent(told.low, 1)} to {percent(told.high, 1)}; {count(told.packed_kg)} kg packed of {count(told.melted_kg)} kg melted"
    return Figure(percent(told.pack_to_melt, 1), f"pack-to-melt, furnace {told.furnace}", under)


def _sections(plant: Plant, told: Day) -> list[Section]:
    return [
        Section("Every machine's results", sheet=_machines(told), wide=True),
        _signals(plant, told),
        *[_loss_section(line) for line in told.told.lines],
        Section("Furnaces", sheet=_furnaces(told), wide=True),
        *[_pareto_section(plant, told, line) for line in told.paretos],
        Section("Critical calls", sheet=_critical(plant, told), warn=_any_critical(told), wide=True),
        Section("By shift", sheet=_shifts(told)),
        Section("Hours", sheet=_hours(plant, told), wide=True),
        *[_weight_section(line, one) for line, many in told.weights.items() for one in many],
        Section("Weights against limits", sheet=_weights(told), wide=True),
        Section("Losses, step by step", sheet=_losses(told), wide=True),
        *[
            Section(
                f"{line}: Pareto of the day",
                sheet=pareto_sheet(p, f"pareto-{line}", f"{line} Pareto"),
                wide=True,
            )
            for line, p in told.paretos.items()
        ],
        missing_section(_missing(plant, told)),
    ]


def _machines(told: Day) -> Sheet:
    rows = [
        {
            "line": y.line, "cut": y.gobs_cut, "hot": y.hot_rejected, "lehr": y.to_lehr, "inspected": y.inspected, "rejected": y.rejected,
            "rate": ratio(y.rejected, y.inspected), "packed": y.packed_units, "value": y.pack_to_melt, "low": y.low, "high": y.high,
            "quality": y.quality_ratio, "scrap": y.scrap_ratio, "running": y.availability, "lost": y.unaccounted_units,
        }
        for y in told.told.lines
    ]  # fmt: skip
    columns = (
        Column("line", "Line"), Column("cut", "Gobs cut", "count"), Column("hot", "Hot rejects", "count"), Column("lehr", "To the lehr", "count"),
        Column("inspected", "Inspected", "count"), Column("rejected", "Rejected", "count"), Column("rate", "Rejected / inspected", "percent"),
        Column("packed", "Packed", "count"), Column("value", "Packed / formed, kg", "percent1"), Column("low", "95 % from", "percent1"), Column("high", "to", "percent1"),
        Column("quality", "Quality ratio", "percent1"), Column("scrap", "Scrap ratio", "percent1"), Column("running", "Availability", "percent1"),
        Column("lost", "Unaccounted", "count"),
    )  # fmt: skip
    caption = (
        "Containers of the same ware. Quality ratio = packed / gobs cut, scrap ratio = rejected hot and cold / gobs cut, availability = running / "
        "all section-minutes by the stoppage log (ISO 22400-2). Unaccounted is to-the-lehr less rejected less packed; it is shown, not spread."
    )
    return Sheet("machines", "Machines", columns, rows, caption)


def _signals(plant: Plant, told: Day) -> Section:
    """What was not chance, the whole day."""
    still = sum(one.ended is None for one in told.signals)
    head = (
        f"{len(told.signals)} signals were open in this day, {still} of them still at its end." if told.signals else ""
    )
    if not head:
        return Section(
            "What was not chance", ("No excess that chance does not explain was found in this day.",), wide=True
        )
    sheet = signals_sheet(plant, told.signals, told.span.start, "signals")
    return Section("What was not chance", (head,), sheet=sheet, wide=True, warn=still > 0)


def _furnaces(told: Day) -> Sheet:
    rows = [
        {
            "furnace": f.furnace, "melted": f.melted_kg, "pull": f.pull_kg, "packed": f.packed_kg, "value": f.pack_to_melt,
            "low": f.low, "high": f.high, "lost": f.unaccounted_kg, "notes": "; ".join(f.notes),
        }
        for f in told.told.furnaces
    ]  # fmt: skip
    columns = (
        Column("furnace", "Furnace"), Column("melted", "Melted, kg", "count"), Column("pull", "Pull, kg", "count"), Column("packed", "Packed, kg", "count"),
        Column("value", "Pack-to-melt", "percent"), Column("low", "95 % from", "percent1"), Column("high", "to", "percent1"), Column("lost", "Pull less gobs, kg", "count"), Column("notes", "Notes"),
    )  # fmt: skip
    return Sheet(
        "furnaces",
        "Furnaces",
        columns,
        rows,
        "Melted in the window in which the day's ware was formed. Pull = melted less what a rise of the level held back.",
    )


def _loss_section(told: LineYield) -> Section:
    """The losses of a line as a picture: filled bars were counted, outlined ones are what no counter names."""
    merged = _merged(told.losses)
    top = max((abs(loss.kg) for loss in merged), default=0.0)
    rows = [
        {
            "label": loss.step,
            "value": loss.kg,
            "shown": f"{loss.kg:,.0f} kg",
            "measured": loss.measured,
            "top": max(loss.kg, 0.0) + top * 0.01,
        }
        for loss in merged
    ]
    words = f"Losses of {told.line} in kg: " + "; ".join(f"{row['label']} {row['shown']}" for row in rows)
    chart = charts.svg(charts.loss_bars, words, rows, "kg of glass") if rows else ""
    head = f"{percent(told.pack_to_melt, 1)} of {count(told.formed_kg)} kg cut was packed. Filled: counted. Outlined, dashed: unaccounted."
    return Section(f"{told.line}: where the glass went", (head,), chart)


def _merged(losses: tuple[Loss, ...]) -> list[Loss]:
    """Lanes apart, but unaccounted steps that are nothing left out."""
    return [loss for loss in losses if loss.measured or abs(loss.units) >= 0.5]


def _losses(told: Day) -> Sheet:
    rows: list[dict[str, Any]] = [
        {
            "line": y.line,
            "step": loss.step,
            "units": loss.units,
            "kg": loss.kg,
            "share": ratio(loss.units, y.gobs_cut),
            "kind": "counted" if loss.measured else "unaccounted",
        }
        for y in told.told.lines
        for loss in y.losses
    ]
    columns = (
        Column("line", "Line"), Column("step", "Step"), Column("units", "Containers", "count"), Column("kg", "kg", "number"),
        Column("share", "Of gobs cut", "percent"), Column("kind", ""),
    )  # fmt: skip
    return Sheet(
        "losses",
        "Losses",
        columns,
        rows,
        "kg at the line's mean weight. Negative: the counters found more than came in.",
    )


def _pareto_section(plant: Plant, told: Day, line: str) -> Section:
    pareto = told.paretos[line]
    words = f"{line}, calls by defect: " + "; ".join(f"{row.name} {row.calls}" for row in pareto.rows[:8])
    note = f"{count(pareto.calls)} calls in {count(pareto.ware)} containers. Ticks: expected from the line's own past in the job, where there is any."
    return Section(f"{line}: what was thrown away", chart=pareto_chart(pareto, words), chart_words=note)


def _any_critical(told: Day) -> bool:
    return any(row.critical_calls for pareto in told.paretos.values() for row in pareto.rows)


def _critical(plant: Plant, told: Day) -> Sheet:
    rows = [
        {
            "line": line,
            "code": row.key,
            "name": row.name,
            "calls": row.calls,
            "ware": row.own_ware,
            "rate": row.own_rate,
        }
        for line, pareto in told.paretos.items()
        for row in pareto.rows
        if row.critical_calls
    ]
    columns = (
        Column("line", "Line"), Column("code", "Code"), Column("name", "Critical defect"), Column("calls", "Calls", "count"),
        Column("ware", "Inspected for it", "count"), Column("rate", "Rate", "percent"),
    )  # fmt: skip
    return Sheet("critical", "Critical", columns, rows, "Every critical call of the day.")


def _shifts(told: Day) -> Sheet:
    rows = [
        {
            "line": line,
            "shift": name,
            "ware": p.ware,
            "rejected": p.rejected,
            "rate": ratio(p.rejected, p.ware),
            "critical": sum(r.critical_calls for r in p.rows),
        }
        for line, shifts in told.shifts.items()
        for name, p in shifts
    ]
    columns = (
        Column("line", "Line"), Column("shift", "Shift from"), Column("ware", "Ware", "count"), Column("rejected", "Rejected", "count"),
        Column("rate", "Rejected", "percent"), Column("critical", "Critical calls", "count"),
    )  # fmt: skip
    return Sheet(
        "shifts",
        "Shifts",
        columns,
        rows,
        "By the cold-end clock: what a shift saw was partly formed in the one before.",
    )


def _hours(plant: Plant, told: Day) -> Sheet:
    """Rejected share by hour and line, each a link to the hour's page."""
    spans = plant.clock.hours_of(told.day)
    rows: list[dict[str, Any]] = []
    links: dict[tuple[int, str], str] = {}
    for number, span in enumerate(spans):
        row: dict[str, Any] = {"hour": f"{plant.clock.local(span.start):%H:%M}"}
        for line in told.hours:
            row[line] = percent(_hour_rate(plant, told, line, number))
            links[number, line] = f"../{hour_address(plant, line, span)}"
        rows.append(row)
    columns = (Column("hour", "From"), *(Column(line, f"{line} rejected") for line in told.hours))
    return Sheet(
        "hours",
        "Hours",
        columns,
        rows,
        "Rejected at any station / containers at the first station. Each figure opens its hour.",
        links=links,
    )


def _hour_rate(plant: Plant, told: Day, line: str, hour: int) -> float | None:
    here = told.hours[line].filter(pl.col("hour") == hour)
    ware = int(here.filter(pl.col("station").is_in(plant.first_stations(line)))["inspected"].sum())
    return ratio(int(here["rejected"].sum()), ware)


def _weight_section(line: str, told: ItemWeights) -> Section:
    rows = [
        {"label": r["mould"], "mean": r["mean_g"], "low": r["low_g"], "high": r["high_g"]}
        for r in told.moulds.iter_rows(named=True)
    ]
    means = told.moulds["mean_g"].to_list()
    limits = [{"at": limit} for limit in (told.item.weight_min_g, told.item.weight_max_g) if limit is not None]
    words = f"Weights of {told.item.id} on {line}, mean by mould from {means[-1]:.1f} to {means[0]:.1f} g"
    note = f"{told.n} cold weighings, mean {told.mean_g:.1f} g; dots are means, bars reach from the least to the greatest; dashed: limits."
    return Section(
        f"{line}: weights of {told.item.id}",
        chart=charts.svg(charts.weight_dots, words, rows, "g", limits=limits),
        chart_words=note,
    )


def _weights(told: Day) -> Sheet:
    rows = [
        {
            "line": line, "item": w.item.id, "n": w.n, "mean": w.mean_g, "sd": w.sd_g, "low": w.item.weight_min_g, "nominal": w.item.weight_g,
            "high": w.item.weight_max_g, "outside": w.outside,
        }
        for line, many in told.weights.items()
        for w in many
    ]  # fmt: skip
    columns = (
        Column("line", "Line"), Column("item", "Item"), Column("n", "Weighings", "count"), Column("mean", "Mean, g", "number"), Column("sd", "SD, g", "number2"),
        Column("low", "Least allowed, g", "number"), Column("nominal", "Nominal, g", "number"), Column("high", "Greatest allowed, g", "number"),
        Column("outside", "Outside limits", "count"),
    )  # fmt: skip
    return Sheet(
        "weights",
        "Weights",
        columns,
        rows,
        "Cold weighings of the day. SD holds mould to mould, time and scale together.",
    )


def _missing(plant: Plant, told: Day) -> list[str]:
    said = [f"{line}, from {plant.clock.local(hour):%H:%M}: {doubt}" for line, hour, doubt in told.doubts]
    for line, cover in told.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        for station in plant.stations_of(line):
            share = covered.get(station.id, 0) / told.span.seconds
            if share < 0.99:
                said.append(f"{station.id}: counts for {100 * share:.1f} % of the day.")
        said.extend(uncalled_sentence(row) for row in told.uncalled[line].iter_rows(named=True))
        if not told.weights[line]:
            said.append(f"{line}: no cold weighing; nominal weights were used.")
    notes = [f"{y.line}: {note}" for y in told.told.lines for note in y.notes if not note.startswith("lehr time")]
    if any(told.waiting):
        said.append(
            f"{told.waiting[0]} rows and {told.waiting[1]} files of all feeds wait in quarantine/; `coldledger feeds` says why."
        )
    return said + notes + [f"{f.furnace}: {note}" for f in told.told.furnaces for note in f.notes]
