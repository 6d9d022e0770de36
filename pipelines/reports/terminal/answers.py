"""Paretos and yields on the terminal, with their denominators; JSON and CSV for machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import typer

from pipelines.measures.pareto.kinds_of_call import apart_words
from pipelines.measures.pareto.words import doubt_words
from pipelines.measures.yields.meter_sentences import meter_sentences
from pipelines.plant.works import Plant
from pipelines.reports.day.tables import furnaces_sheet, machines_sheet
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.pareto import pareto_sheet
from pipelines.reports.terminal.formats import Format, print_as, print_csv, print_json
from pipelines.reports.yields.losses import every_cause, greatest_causes, steps_sheet
from schemas.answers.pareto import Pareto
from schemas.answers.yields import Yield


def percent(value: float | None, digits: int = 2) -> str:
    return "-" if value is None else f"{100 * value:.{digits}f} %"


def show_pareto(plant: Plant, pareto: Pareto, format: Format) -> None:
    if format is Format.json:
        return print_json(pareto.told())
    clock = plant.clock
    title = f"Rejects of {pareto.line} by {pareto.by}, {clock.show(pareto.from_)} to {clock.show(pareto.to)}"
    sheet = pareto_sheet(pareto, "pareto", title)
    if format is Format.csv:
        if pareto.why:
            typer.echo(pareto.why, err=True)
        return print_csv(replace(sheet, rows=[*sheet.rows, *(row.model_dump() for row in pareto.apart)]))
    return print_sheet(replace(sheet, caption=_pareto_caption(plant, pareto)))


def _pareto_caption(plant: Plant, pareto: Pareto) -> str:
    """Both denominators, and what has to be said of them; or that nothing came."""
    if pareto.why:
        return pareto.why
    caption = (
        f"{pareto.ware:,} containers at the first station; {pareto.rejected:,} rejected at the stations that send "
        f"counts; {pareto.calls:,} calls."
    )
    caption += doubt_words(pareto)
    if pareto.refed:
        caption += f" {pareto.refed:,} more went through it again and are no new ware."
    if pareto.apart:
        caption += f" For no fault of theirs: {apart_words(pareto.apart)}; in no share and no rate above."
    if pareto.baseline_from:
        caption += f" Expected: pooled rate of the same job since {plant.clock.show(pareto.baseline_from)}."
    return caption


MOST_CAUSES = 10
RECONCILED = (
    "* reconciled: what all meters together make it. Without *: read, as its own meter says it or follows from such "
    "readings."
)


def show_yield(plant: Plant, day_yield: Yield, format: Format) -> None:
    if format is Format.json:
        return print_json(day_yield.told())
    if format is Format.csv:
        return print_csv(every_cause(plant, day_yield))
    if day_yield.known_at is not None:
        which = "no close had been made: worked out from the rows known then"
        if day_yield.revision is not None and day_yield.closed_at is not None:
            which = f"revision {day_yield.revision}, closed {plant.clock.show(day_yield.closed_at)}"
        typer.echo(f"As known at {plant.clock.show(day_yield.known_at)}: {which}.")
    title = f"Pack-to-melt of {day_yield.day}"
    print_sheet(replace(furnaces_sheet(day_yield), title=title, caption=RECONCILED))
    print_sheet(replace(machines_sheet(day_yield), title="Lines, in containers", caption=RECONCILED))
    print_sheet(steps_sheet(day_yield))
    causes = greatest_causes(plant, day_yield, MOST_CAUSES)
    print_sheet(replace(causes, caption="every cause, by shift and job: --format csv"))
    for note in _notes(day_yield):
        typer.echo(note)
    return None


def _notes(day_yield: Yield) -> Sequence[str]:
    """What no table holds, each sentence once."""
    notes = meter_sentences(day_yield)
    notes += [f"{furnace.furnace}: {furnace.why}" for furnace in day_yield.furnaces if furnace.why]
    notes += [f"{line.line}: {line.why}" for line in day_yield.lines if line.why]
    notes += [f"{line.line}: {note}" for line in day_yield.lines for note in line.notes]
    notes += [f"{furnace.furnace}: {note}" for furnace in day_yield.furnaces for note in furnace.notes]
    return list(dict.fromkeys(notes))


def show_rows(title: str, rows: list[dict[str, Any]], format: Format) -> None:
    """Rows as they lie in the ledger, under the names that they have there."""
    names = list(rows[0]) if rows else []
    print_as(Sheet("rows", title, tuple(Column(name, name) for name in names), rows), format, rows)
