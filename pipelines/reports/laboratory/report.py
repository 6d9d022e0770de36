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
from pipelines.reports.clock_words import span_words
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
from pipelines.words import dated, say, say_n
from schemas.answers.laboratory import Capacity, Density, FurnaceLaboratory

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
        title=say("Laboratory, furnace {furnace}, production day {day}", furnace=furnace, day=day.isoformat()),
        when=span_words(plant, span),
        figures=tuple(_figures(laboratory)),
        sections=tuple(_sections(plant, laboratory, chart)),
        links=(
            (say("← day before"), f"../../{laboratory_address(day - timedelta(days=1), furnace)}"),
            (say("day after →"), f"../../{laboratory_address(day + timedelta(days=1), furnace)}"),
            *((each, f"{each}.html") for each in plant.furnaces if each != furnace),
            *(
                (say("weights {line}", line=line.id), f"../../{weights_address(day, line.id)}")
                for line in plant.lines_of(furnace)
            ),
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
    numbers = sum(line.temper.n for line in furnace.lines)
    strained = sum(len(line.temper.beyond) for line in furnace.lines)
    due = all_due(furnace)
    missed = sum(checks.missed for checks in due)
    return [
        _density_figure(furnace.density),
        _capacity_figure(furnace),
        Figure(
            str(strained),
            say("temper numbers beyond the limit"),
            say("of {every}", every=numbers),
            "critical" if strained else "",
        ),
        _samples_figure(furnace),
        Figure(
            str(missed),
            say("checks missed"),
            say("of {due} due", due=sum(each.due for each in due)),
            "critical" if missed else "",
        ),
    ]


def _capacity_figure(furnace: FurnaceLaboratory) -> Figure:
    capacities = [capacity for line in furnace.lines for capacity in line.capacity]
    outside, alarms = sum(each.outside for each in capacities), sum(len(each.alarms) for each in capacities)
    under = say_n(
        "of {checked}; {n} mould called by its weight",
        "of {checked}; {n} moulds called by their weight",
        alarms,
        checked=sum(each.n for each in capacities),
    )
    what = say("capacity checks outside limits")
    return Figure(str(outside), what, under, "critical" if outside or alarms else "")


def _samples_figure(furnace: FurnaceLaboratory) -> Figure:
    refused = [sample for line in furnace.lines for sample in line.visual.samples if sample.accepted is False]
    under = say_n(
        "{n} container with a critical defect in them",
        "{n} containers with a critical defect in them",
        sum(sample.found for sample in refused if sample.severity == "critical"),
    )
    return Figure(str(len(refused)), say("samples not accepted"), under, "critical" if refused else "")


def _density_figure(density: Density) -> Figure:
    """The last reading, and what changed."""
    last = decimals(density.readings[-1].density_g_cm3, 4) if density.readings else "–"
    change = density.change
    if density.lone_by_g_cm3 is not None:
        under = say("the last reading alone is off: no step, no slip yet")
    elif change is not None:
        sign = "+" if change.by_g_cm3 >= 0 else ""
        under = say(
            "changed: {by} since {since}", by=f"{sign}{decimals(change.by_g_cm3, 4)}", since=dated(change.since)
        )
    else:
        under = say_n(
            "{n} earlier reading, no change beyond noise",
            "{n} earlier readings, no change beyond noise",
            density.earlier,
        )
    return Figure(last, say("g/cm³, density"), under, "critical" if change is not None or density.beyond else "")


def _measuring(furnace: FurnaceLaboratory) -> list[Section]:
    if not _verdicts(furnace):
        return []
    return [Section(say("Measuring containers"), sheet=measuring_sheet(furnace), warn=_refused(furnace), wide=True)]


def _sections(plant: Plant, furnace: FurnaceLaboratory, chart: DensityChart | None) -> list[Section]:
    warnings = [text for line in furnace.lines for text in line_warnings(plant, line)]
    warnings = density_warnings(plant, furnace.furnace, furnace.density) + warnings
    missed = missed_sentences(plant, all_due(furnace))
    warnings += missed
    notes = [say("{line}: {note}.", line=line.line, note=note) for line in furnace.lines for note in line.notes]
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
            items=() if missed else (say("No check that was due is missing."),),
            sheet=due_sheet(plant, furnace),
            warn=bool(missed),
        ),
        Section(
            say("Samples"),
            notes=_visuals(plant, furnace),
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
    """What is not said at the head of the page already."""
    calm = (line for line in furnace.lines if not line.temper.beyond)
    return tuple(text for line in calm for text in temper_sentences(plant, line.line, line.temper))


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
    words = say("Glass density, {sentence}", sentence=[*said, *warned[:1]][-1])
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
    title = (
        say("{line}: capacity of an unknown item", line=line)
        if capacity.item is None
        else say("{line}: capacity of {item}", line=line, item=f"{capacity.item} {capacity.name}".strip())
    )
    return Section(
        title, said, *_picture(line, capacity), warn=bool(capacity.outside or capacity.alarms), wide=True, broad=True
    )


def _behind(plant: Plant, line: str, capacity: Capacity) -> list[Section]:
    """The tables behind: every container checked, every mould by its weight."""
    item = capacity.item or say("unknown item")
    sections = []
    if capacity.checks:
        title = say("{line} {item}: capacity checks", line=line, item=item)
        folded = say_n("{n} check", "{n} checks", len(capacity.checks))
        sections.append(Section(title, sheet=capacity_sheet(plant, line, capacity), folded=folded))
    if capacity.inferred:
        title = say("{line} {item}: capacity by weight", line=line, item=item)
        folded = say_n("{n} mould, at the end of the day", "{n} moulds, at the end of the day", len(capacity.inferred))
        sections.append(Section(title, sheet=inferred_sheet(line, capacity), folded=folded))
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
    words = say_n(
        "Capacity of {item} on {line} by mould, {n} check; {beyond}",
        "Capacity of {item} on {line} by mould, {n} checks; {beyond}",
        capacity.n,
        item=capacity.item or say("an unknown item"),
        line=line,
        beyond=say("beyond a limit by weight: {moulds}", moulds=", ".join(called))
        if called
        else say("no mould is beyond a limit by its weight"),
    )
    note = say(
        "Ticks: containers checked; dots with bars: mean by weight at the end of the day with its 95 % "
        "interval; dashed: limits."
    )
    return charts.svg(charts_laboratory.capacities, words, rows, say("capacity, ml"), limits=limits), note
