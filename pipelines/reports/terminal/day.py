"""A production day's sheet, and a day beside another, on the terminal; JSON and CSV for machines."""

from __future__ import annotations

from dataclasses import replace

import typer

from pipelines.plant.works import Plant
from pipelines.reports.day.compared import defects_sheet, figures_sheet
from pipelines.reports.day.sheet_tables import (
    actions_sheet,
    checks_sheet,
    lines_sheet,
    losses_sheet,
    open_signals_sheet,
)
from pipelines.reports.day.so_far import so_far_words
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from schemas.answers.day import DayCompared, DaySheet

LOSSES = 10


def of_line(sheet: DaySheet, line: str | None) -> DaySheet:
    """The sheet of one line only: its row and its shifts."""
    if line is None:
        return sheet
    return sheet.model_copy(
        update={
            "lines": tuple(each for each in sheet.lines if each.line == line),
            "shifts": tuple(each for each in sheet.shifts if each.line == line),
        }
    )


def show_day(plant: Plant, sheet: DaySheet, format: Format) -> None:
    if format is Format.json:
        return print_json(sheet.told())
    lines = lines_sheet(plant, sheet)
    if format is Format.csv:
        return print_csv(lines)
    state = "" if sheet.closed else f", {so_far_words(plant, sheet.as_of, sheet.to)}"
    print_sheet(replace(lines, title=f"Production day {sheet.day}{state}"))
    if sheet.losses:
        print_sheet(losses_sheet(plant, sheet.losses[:LOSSES]))
    if sheet.signals:
        print_sheet(open_signals_sheet(plant, sheet))
    if sheet.actions:
        print_sheet(actions_sheet(plant, sheet))
    for doubt in sheet.doubts:
        typer.echo(doubt)
    if sheet.checks:
        print_sheet(checks_sheet(sheet))
    return None


def show_compared(compared: DayCompared, format: Format) -> None:
    if format is Format.json:
        return print_json(compared.told())
    if compared.why:
        typer.echo(compared.why, err=format is Format.csv)
        if format is Format.table:
            return None
    if format is Format.csv:
        return print_csv(figures_sheet(compared))
    print_sheet(replace(figures_sheet(compared), title=f"{compared.day} against {compared.against}"))
    if compared.defects:
        print_sheet(defects_sheet(compared))
    return None
