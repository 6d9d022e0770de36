"""The laboratory page of a furnace and day: density, capacity, annealing, samples, and the checks that were missed."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl

from pipelines.answers.laboratory.answer import answer_laboratory, density_of
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.annealing_sentences import temper_sentences
from pipelines.measures.laboratory.density import DensityChart
from pipelines.measures.laboratory.density_sentences import density_sentences, density_warnings
from pipelines.measures.laboratory.sample_sentences import visual_sentences
from pipelines.measures.laboratory.tell import all_due, capacity_sentences, line_warnings, missed_sentences
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, laboratory_address, weights_address
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sources import sources
from pipelines.reports.laboratory import charts as charts_laboratory
from pipelines.reports.laboratory.tables import (
    capacity_sheet,
    due_sheet,
    inferred_sheet,
    measuring_sheet,
    temper_sheet,
    visual_sheet,
)
from pipelines.reports.missing import missing_section
from pipelines.words import say
from schemas.answers.laboratory import Capacity, FurnaceLaboratory

MEASURING = say(
    "Verdicts by the rules for bottles as measuring containers (Directive 75/107/EEC) are a help for the "
    "laboratory; the official control is that of the authorised body under local law."
)


def laboratory_page(reader: Reader, plant: Plant, furnace: str, day: date) -> Page:
    """The laboratory page of one furnace and production day."""
    span = plant.clock.day(day)
    reader = reader.noting()
    laboratory = answer_laboratory(reader, plant, day, furnace).furnaces[0]
    chart, _ = density_of(reader, plant, furnace, span.end)
    about = {"furnace": furnace, "from_time": span.start, "to_time": span.end}
    files = [reader.ask("laboratory_files", line=line.id, **about) for line in plant.lines_of(furnace)]
    behind = pl.concat(files).unique(["batch", "rows_used"], maintain_order=True) if files else pl.DataFrame()
    return Page(
        title=f"Laboratory, furnace {furnace}, production day {day.isoformat()}",
        when=f"{plant.clock.show(span.start)} to {plant.clock.show(span.end)}",
        figures=tuple(_figures(laboratory)),
        sections=tuple(_sections(plant, laboratory, chart)),
        links=(
            (say("← day before"), f"../../{laboratory_address(day - timedelta(days=1), furnace)}"),
            (say("day after →"), f"../../{laboratory_address(day + timedelta(days=1), furnace)}"),
            *((f"laboratory {each}", f"{each}.html") for each in plant.furnaces if each != furnace),
            *((f"weights {line.id}", f"../../{weights_address(day, line.id)}") for line in plant.lines_of(furnace)),
            (say("day report"), f"../../{day_address(day)}"),
            (say("all pages"), "../../index.html"),
        ),
        cautions=(CAUTION, GLASS, MEASURING),
        sources=sources(reader.asked, behind),
        made=say("Capacity by the mass of water, its density at its temperature, and the buoyancy of air (ISO 4787)."),
        workbook=f"{furnace}.xlsx",
    )


def _figures(furnace: FurnaceLaboratory) -> list[Figure]:
    """Density, containers beyond a capacity limit, temper numbers, samples not accepted, checks missed."""
    density = furnace.density
    last = f"{decimals(density.readings[-1].density_g_cm3, 4)}" if density.readings else "–"
    moved = density.change is not None
    capacities = [capacity for line in furnace.lines for capacity in line.capacity]
    checked, outside = sum(capacity.n for capacity in capacities), sum(capacity.outside for capacity in capacities)
    alarms = sum(len(capacity.alarms) for capacity in capacities)
    numbers, strained = (
        sum(line.temper.n for line in furnace.lines),
        sum(len(line.temper.beyond) for line in furnace.lines),
    )
    refused = [sample for line in furnace.lines for sample in line.visual.samples if sample.accepted is False]
    critical = sum(visual_sample.found for visual_sample in refused if visual_sample.severity == "critical")
    due = all_due(furnace)
    missed = sum(checks.missed for checks in due)
    under = (
        f"changed: {density.change.by_g_cm3:+.4f} since {density.change.since:%d %b}"
        if density.change
        else f"{density.earlier} earlier readings, no change beyond noise"
    )
    under = under if density.lone_by_g_cm3 is None else say("the last reading alone is off: no step, no slip yet")
    return [
        Figure(last, say("g/cm³, density"), under.replace("-", "−"), "critical" if moved or density.beyond else ""),
        Figure(
            str(outside),
            say("capacity checks outside limits"),
            f"of {checked}; {alarms} moulds called by their weight",
            "critical" if outside or alarms else "",
        ),
        Figure(str(strained), say("temper numbers beyond the limit"), f"of {numbers}", "critical" if strained else ""),
        Figure(
            str(len(refused)),
            say("samples not accepted"),
            f"{critical} containers with a critical defect in them",
            "critical" if refused else "",
        ),
        Figure(
            str(missed), say("checks missed"), f"of {sum(each.due for each in due)} due", "critical" if missed else ""
        ),
    ]


def _measuring(furnace: FurnaceLaboratory) -> list[Section]:
    if not _verdicts(furnace):
        return []
    return [Section(say("Measuring containers"), sheet=measuring_sheet(furnace), warn=_refused(furnace), wide=True)]


def _sections(plant: Plant, furnace: FurnaceLaboratory, chart: DensityChart | None) -> list[Section]:
    warnings = [text for line in furnace.lines for text in line_warnings(plant, line)]
    warnings = density_warnings(plant, furnace.furnace, furnace.density) + warnings
    missed = missed_sentences(plant, all_due(furnace))
    warnings += missed
    notes = [f"{line.line}: {note}." for line in furnace.lines for note in line.notes]
    return [
        Section(
            say("What asks for somebody"),
            items=tuple(warnings or [say("Nothing beyond its limits.")]),
            warn=bool(warnings),
            wide=True,
        ),
        _density(plant, furnace, chart),
        *[_capacity(plant, line.line, capacity) for line in furnace.lines for capacity in line.capacity],
        *_measuring(furnace),
        Section(
            say("Annealing: temper numbers"),
            _tempers(plant, furnace),
            sheet=temper_sheet(furnace),
            warn=any(line.temper.beyond for line in furnace.lines),
        ),
        Section(
            say("Checks due and made"),
            items=tuple(missed or [say("No check that was due is missing.")]),
            sheet=due_sheet(plant, furnace),
            warn=bool(missed),
        ),
        Section(
            say("Samples"),
            _visuals(plant, furnace),
            sheet=visual_sheet(plant, furnace),
            warn=any(s.accepted is False for line in furnace.lines for s in line.visual.samples),
            wide=True,
        ),
        *[part for line in furnace.lines for of_item in line.capacity for part in _behind(plant, line.line, of_item)],
        missing_section(notes),
    ]


def _verdicts(furnace: FurnaceLaboratory) -> list[bool]:
    return [
        v.accepted
        for line in furnace.lines
        for capacity in line.capacity
        if capacity.measuring
        for v in capacity.measuring.verdicts
    ]


def _refused(furnace: FurnaceLaboratory) -> bool:
    return not all(_verdicts(furnace))


def _tempers(plant: Plant, furnace: FurnaceLaboratory) -> tuple[str, ...]:
    return tuple(text for line in furnace.lines for text in temper_sentences(plant, line.line, line.temper))


def _visuals(plant: Plant, furnace: FurnaceLaboratory) -> tuple[str, ...]:
    return tuple(text for line in furnace.lines for text in visual_sentences(plant, line.line, line.visual))


def _density(plant: Plant, furnace: FurnaceLaboratory, chart: DensityChart | None) -> Section:
    """Readings of sixty days with the limits of single ones, and the change."""
    said = tuple(density_sentences(plant, furnace.furnace, furnace.density))
    if chart is None:
        return Section(say("Glass density"), said, warn=True, wide=True)
    warned = density_warnings(plant, furnace.furnace, furnace.density)
    shown = tuple(text for text in said if text not in warned)
    change, limits = furnace.density.change, {"low": chart.low, "high": chart.high}
    rows = [
        {
            "at": _ms(plant, row["sampled_at"]),
            "value": row["density_g_cm3"],
            "today": any(reading.at == row["sampled_at"] for reading in furnace.density.readings),
            **(limits if change is None or row["sampled_at"] >= change.since else {"low": None, "high": None}),
        }
        for row in chart.readings.iter_rows(named=True)
    ]
    steps = [{"at": _ms(plant, change.since)}] if change else []
    words = f"Glass density of {furnace.furnace}: " + [*said, *warned[:1]][-1]
    note = say(
        "Diamonds: this day; dashed: limits of single readings by their moving range (ISO 7870-2); "
        "upright: since when it has been where it is."
    )
    picture = charts.svg(charts_laboratory.densities, words, rows, say("g/cm³"), steps=steps)
    return Section(
        say("Glass density"),
        shown,
        picture,
        note,
        warn=change is not None or furnace.density.beyond,
        wide=True,
        broad=True,
    )


def _ms(plant: Plant, at: datetime) -> float:
    return plant.clock.local(at).replace(tzinfo=at.tzinfo).timestamp() * 1000


def _capacity(plant: Plant, line: str, capacity: Capacity) -> Section:
    """Checks and what the weight says of every mould."""
    said = tuple(capacity_sentences(plant, line, capacity))
    title = f"{line}: capacity of {capacity.item or 'an unknown item'} {capacity.name}"
    return Section(
        title, said, *_picture(line, capacity), warn=bool(capacity.outside or capacity.alarms), wide=True, broad=True
    )


def _behind(plant: Plant, line: str, capacity: Capacity) -> list[Section]:
    """The tables behind: every container checked, every mould by its weight."""
    name = f"{line}-{capacity.item or 'unknown'}"
    title = f"{line} {capacity.item or 'unknown item'}"
    sections = (
        [Section(f"{title}: capacity checks", sheet=capacity_sheet(plant, capacity, name))] if capacity.checks else []
    )
    if capacity.inferred:
        sections.append(
            Section(f"{title}: capacity by weight at the end of the day", sheet=inferred_sheet(capacity, name))
        )
    return sections


def _picture(line: str, capacity: Capacity) -> tuple[str, str]:
    by_mould: dict[str, dict[str, object]] = {}
    for inferred in capacity.inferred:
        by_mould[inferred.mould] = {
            "label": inferred.mould,
            "value": None,
            "mean": inferred.capacity_ml,
            "low": inferred.low,
            "high": inferred.high,
            "kind": "called" if inferred.called else "steady",
        }
    empty = {"mean": None, "low": None, "high": None, "kind": "steady"}
    rows = list(by_mould.values())
    for check in capacity.checks:
        rows.append({**empty, "label": check.mould, "value": check.capacity_ml})
    if not rows:
        return "", ""
    limits = [{"at": at} for at in (capacity.capacity_min_ml, capacity.capacity_max_ml) if at is not None]
    called = [this_inferred.mould for this_inferred in capacity.inferred if this_inferred.called]
    words = f"Capacity of {capacity.item or 'an unknown item'} on {line} by mould, {capacity.n} checks; " + (
        f"beyond a limit by weight: {', '.join(called)}" if called else say("no mould is beyond a limit by its weight")
    )
    note = say(
        "Ticks: containers checked; dots with bars: mean by weight at the end of the day with its 95 % "
        "interval; dashed: limits."
    )
    return charts.svg(charts_laboratory.capacities, words, rows, say("capacity, ml"), limits=limits), note
