"""The laboratory page of a furnace and day: density, capacity, annealing, samples, and the checks that were missed."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl

from pipelines.answers.laboratory.answer import answer_laboratory, density_of
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.density import DensityChart
from pipelines.measures.laboratory.tell import (
    all_due,
    capacity_sentences,
    density_sentences,
    density_warnings,
    line_warnings,
    missed_sentences,
    temper_sentences,
    visual_sentences,
)
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.shared_parts import (
    day_address,
    laboratory_address,
    missing_section,
    sources,
    weights_address,
)
from pipelines.reports.laboratory import charts as charts_laboratory
from pipelines.reports.laboratory.tables import (
    capacity_sheet,
    due_sheet,
    inferred_sheet,
    measuring_sheet,
    temper_sheet,
    visual_sheet,
)
from schemas.answers.laboratory import Capacity, FurnaceLaboratory

MEASURING = (
    "Verdicts by the rules for bottles as measuring containers (Directive 75/107/EEC) are a help for the laboratory; "
    "the official control is that of the authorised body under local law."
)


def laboratory_page(reader: Reader, plant: Plant, furnace: str, day: date) -> Page:
    """The laboratory page of one furnace and production day."""
    span = plant.clock.day(day)
    reader = reader.noting()
    told = answer_laboratory(reader, plant, day, furnace).furnaces[0]
    chart, _ = density_of(reader, plant, furnace, span.end)
    about = {"furnace": furnace, "from_time": span.start, "to_time": span.end}
    files = [reader.ask("laboratory_files", line=line.id, **about) for line in plant.lines_of(furnace)]
    behind = pl.concat(files).unique(["batch", "rows_used"], maintain_order=True) if files else pl.DataFrame()
    return Page(
        works=plant.works.name,
        title=f"Laboratory, furnace {furnace}, production day {day.isoformat()}",
        when=f"{plant.clock.show(span.start)} to {plant.clock.show(span.end)}",
        figures=tuple(_figures(told)),
        sections=tuple(_sections(plant, told, chart)),
        links=(
            ("← day before", f"../../{laboratory_address(day - timedelta(days=1), furnace)}"),
            ("day after →", f"../../{laboratory_address(day + timedelta(days=1), furnace)}"),
            *((f"laboratory {one}", f"{one}.html") for one in plant.furnaces if one != furnace),
            *((f"weights {line.id}", f"../../{weights_address(day, line.id)}") for line in plant.lines_of(furnace)),
            ("day report", f"../../{day_address(day)}"),
            ("all pages", "../../index.html"),
        ),
        cautions=(CAUTION, GLASS, MEASURING),
        sources=sources(reader.asked, behind),
        made="Capacity by the mass of water, its density at its temperature, and the buoyancy of air (ISO 4787).",
        workbook=f"{furnace}.xlsx",
    )


def _figures(told: FurnaceLaboratory) -> list[Figure]:
    """Density, containers beyond a capacity limit, temper numbers, samples not accepted, checks missed."""
    density = told.density
    last = f"{decimals(density.readings[-1].density_g_cm3, 4)}" if density.readings else "–"
    moved = density.change is not None
    capacities = [one for line in told.lines for one in line.capacity]
    checked, outside = sum(one.n for one in capacities), sum(one.outside for one in capacities)
    alarms = sum(len(one.alarms) for one in capacities)
    numbers, strained = sum(line.temper.n for line in told.lines), sum(len(line.temper.beyond) for line in told.lines)
    refused = [one for line in told.lines for one in line.visual.samples if one.accepted is False]
    critical = sum(one.found for one in refused if one.severity == "critical")
    due = all_due(told)
    missed = sum(one.missed for one in due)
    under = (
        f"changed: {density.change.by_g_cm3:+.4f} since {density.change.since:%d %b}"
        if density.change
        else f"{density.earlier} earlier readings, no change beyond noise"
    )
    under = under if density.lone_by_g_cm3 is None else "the last reading alone is off: no step, no slip yet"
    return [
        Figure(last, "g/cm³, density", under.replace("-", "−"), "critical" if moved or density.beyond else ""),
        Figure(
            str(outside),
            "capacity checks outside limits",
            f"of {checked}; {alarms} moulds called by their weight",
            "critical" if outside or alarms else "",
        ),
        Figure(str(strained), "temper numbers beyond the limit", f"of {numbers}", "critical" if strained else ""),
        Figure(
            str(len(refused)),
            "samples not accepted",
            f"{critical} containers with a critical defect in them",
            "critical" if refused else "",
        ),
        Figure(str(missed), "checks missed", f"of {sum(one.due for one in due)} due", "critical" if missed else ""),
    ]


def _measuring(told: FurnaceLaboratory) -> list[Section]:
    if not _verdicts(told):
        return []
    return [Section("Measuring containers", sheet=measuring_sheet(told), warn=_refused(told), wide=True)]


def _sections(plant: Plant, told: FurnaceLaboratory, chart: DensityChart | None) -> list[Section]:
    warnings = [text for line in told.lines for text in line_warnings(plant, line)]
    warnings = density_warnings(plant, told.furnace, told.density) + warnings
    missed = missed_sentences(plant, all_due(told))
    warnings += missed
    notes = [f"{line.line}: {note}." for line in told.lines for note in line.notes]
    return [
        Section(
            "What asks for somebody",
            items=tuple(warnings or ["Nothing beyond its limits."]),
            warn=bool(warnings),
            wide=True,
        ),
        _density(plant, told, chart),
        *[_capacity(plant, line.line, one) for line in told.lines for one in line.capacity],
        *_measuring(told),
        Section(
            "Annealing: temper numbers",
            _tempers(plant, told),
            sheet=temper_sheet(told),
            warn=any(line.temper.beyond for line in told.lines),
        ),
        Section(
            "Checks due and made",
            items=tuple(missed or ["No check that was due is missing."]),
            sheet=due_sheet(plant, told),
            warn=bool(missed),
        ),
        Section(
            "Samples",
            _visuals(plant, told),
            sheet=visual_sheet(plant, told),
            warn=any(s.accepted is False for line in told.lines for s in line.visual.samples),
            wide=True,
        ),
        *[section for line in told.lines for one in line.capacity for section in _behind(plant, line.line, one)],
        missing_section(notes),
    ]


def _verdicts(told: FurnaceLaboratory) -> list[bool]:
    return [v.accepted for line in told.lines for one in line.capacity if one.measuring for v in one.measuring.verdicts]


def _refused(told: FurnaceLaboratory) -> bool:
    return not all(_verdicts(told))


def _tempers(plant: Plant, told: FurnaceLaboratory) -> tuple[str, ...]:
    return tuple(text for line in told.lines for text in temper_sentences(plant, line.line, line.temper))


def _visuals(plant: Plant, told: FurnaceLaboratory) -> tuple[str, ...]:
    return tuple(text for line in told.lines for text in visual_sentences(plant, line.line, line.visual))


def _density(plant: Plant, told: FurnaceLaboratory, chart: DensityChart | None) -> Section:
    """Readings of sixty days with the limits of single ones, and the change."""
    said = tuple(density_sentences(plant, told.furnace, told.density))
    if chart is None:
        return Section("Glass density", said, warn=True, wide=True)
    warned = density_warnings(plant, told.furnace, told.density)
    shown = tuple(text for text in said if text not in warned)
    change, limits = told.density.change, {"low": chart.low, "high": chart.high}
    rows = [
        {
            "at": _ms(plant, row["sampled_at"]),
            "value": row["density_g_cm3"],
            "today": any(one.at == row["sampled_at"] for one in told.density.readings),
            **(limits if change is None or row["sampled_at"] >= change.since else {"low": None, "high": None}),
        }
        for row in chart.readings.iter_rows(named=True)
    ]
    steps = [{"at": _ms(plant, change.since)}] if change else []
    words = f"Glass density of {told.furnace}: " + [*said, *warned[:1]][-1]
    note = (
        "Diamonds: this day; dashed: limits of single readings by their moving range (ISO 7870-2); upright: since "
        "when it has been where it is."
    )
    picture = charts.svg(charts_laboratory.densities, words, rows, "g/cm³", steps=steps)
    return Section(
        "Glass density", shown, picture, note, warn=change is not None or told.density.beyond, wide=True, broad=True
    )


def _ms(plant: Plant, at: datetime) -> float:
    return plant.clock.local(at).replace(tzinfo=at.tzinfo).timestamp() * 1000


def _capacity(plant: Plant, line: str, told: Capacity) -> Section:
    """Checks and what the weight says of every mould."""
    said = tuple(capacity_sentences(plant, line, told))
    title = f"{line}: capacity of {told.item or 'an unknown item'} {told.name}"
    return Section(title, said, *_picture(line, told), warn=bool(told.outside or told.alarms), wide=True, broad=True)


def _behind(plant: Plant, line: str, told: Capacity) -> list[Section]:
    """The tables behind: every container checked, every mould by its weight."""
    name = f"{line}-{told.item or 'unknown'}"
    title = f"{line} {told.item or 'unknown item'}"
    sections = [Section(f"{title}: capacity checks", sheet=capacity_sheet(plant, told, name))] if told.checks else []
    if told.inferred:
        sections.append(Section(f"{title}: capacity by weight at the end of the day", sheet=inferred_sheet(told, name)))
    return sections


def _picture(line: str, told: Capacity) -> tuple[str, str]:
    by_mould: dict[str, dict[str, object]] = {}
    for one in told.inferred:
        by_mould[one.mould] = {
            "label": one.mould,
            "value": None,
            "mean": one.capacity_ml,
            "low": one.low,
            "high": one.high,
            "kind": "called" if one.called else "steady",
        }
    empty = {"mean": None, "low": None, "high": None, "kind": "steady"}
    rows = list(by_mould.values())
    for check in told.checks:
        rows.append({**empty, "label": check.mould, "value": check.capacity_ml})
    if not rows:
        return "", ""
    limits = [{"at": at} for at in (told.capacity_min_ml, told.capacity_max_ml) if at is not None]
    called = [one.mould for one in told.inferred if one.called]
    words = f"Capacity of {told.item or 'an unknown item'} on {line} by mould, {told.n} checks; " + (
        f"beyond a limit by weight: {', '.join(called)}" if called else "no mould is beyond a limit by its weight"
    )
    note = (
        "Ticks: containers checked; dots with bars: mean by weight at the end of the day with its 95 % interval; "
        "dashed: limits."
    )
    return charts.svg(charts_laboratory.capacities, words, rows, "capacity, ml", limits=limits), note
