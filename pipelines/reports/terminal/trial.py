"""The trial of a file, and what cannot be right in what came, on the terminal."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import typer

from pipelines.clock import Span
from pipelines.intake.foreign.propose import Proposal
from pipelines.intake.foreign.trial import SHOWN_REFUSALS, Tried
from pipelines.intake.foreign.try_or_propose import Trial
from pipelines.measures.trace.station_faults import StationFault
from pipelines.plant.works import Plant
from pipelines.reports.feeds import faults_sheet
from pipelines.reports.frame.sheet import CSV, Column, Sheet, in_csv
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.terminal.formats import Format, print_csv, print_json

_REFUSALS = in_csv("feed", "column", "reason", "values", "line", "value", "sentence", "place")


def told_trial(trial: Trial) -> dict[str, Any]:
    """The trial as JSON: file, feeds with counts, rows and reasons, and the proposal."""
    proposal = trial.proposal
    return {
        "file": trial.file,
        "whole": trial.whole,
        "feeds": told_tried(trial.tried),
        "proposal": None
        if proposal is None
        else {"toml": proposal.toml, "missing": proposal.missing, "guessed": proposal.guessed},
    }


def told_tried(tried: list[Tried]) -> list[dict[str, Any]]:
    """What rows would become, feed by feed, as JSON."""
    return [_told(this_trial) for this_trial in tried]


def _told(trial: Tried) -> dict[str, Any]:
    plain = {k: v for k, v in vars(trial).items() if k not in ("shown", "faults", "first", "last")}
    return {
        **plain,
        "first": _moment(trial.first),
        "last": _moment(trial.last),
        "faults": [vars(fault) for fault in trial.faults],
        "shown": [{k: _moment(v) for k, v in row.items()} for row in trial.shown.iter_rows(named=True)],
    }


def _moment(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if hasattr(value, "isoformat") else value


def show_proposal(proposal: Proposal) -> None:
    """The proposed mapping as it can be put into works.toml; what was guessed, what is missing."""
    typer.echo(
        "Nothing in works.toml is for this file. A guess at its [[mapping]]; check it, correct it, put it into "
        "works.toml:\n"
    )
    typer.echo(proposal.toml)
    for each in proposal.guessed:
        typer.echo(f"Guessed: {each}.")
    for each in proposal.missing:
        typer.echo(f"Missing: {each}.")
    typer.echo("")


def show_tried(plant: Plant, tried: list[Tried], format: Format) -> None:
    """What the file would become, feed by feed: counts, first rows, and what would be set aside."""
    if format is Format.csv:
        rows = [{**vars(fault), "feed": trial.feed} for trial in tried for fault in trial.faults]
        return print_csv(Sheet("refusals", "What would be set aside", _REFUSALS, rows))
    for trial in tried:
        _show_one(plant, trial)
    return None


def _show_one(plant: Plant, trial: Tried) -> None:
    how = f", by [[mapping]] {trial.mapping}" if trial.mapping else ""
    span = ""
    if isinstance(trial.first, datetime) and isinstance(trial.last, datetime):
        span = f", {plant.clock.show(trial.first)} to {plant.clock.show(trial.last)}"
    typer.echo(
        f"{trial.feed}{how}: {trial.rows:,} rows, {trial.kept:,} would be kept ({trial.new:,} new, "
        f"{trial.unchanged:,} known already, {trial.replacing:,} would replace others), {trial.refused:,} set "
        f"aside{span}. Nothing was kept now."
    )
    if trial.note and trial.note != "refused whole":
        typer.echo(f"Note: {trial.note}.")
    if trial.shown.height:
        columns = tuple(Column(name, name) for name in trial.shown.columns)
        rows = [{k: _cell(plant, v) for k, v in row.items()} for row in trial.shown.iter_rows(named=True)]
        print_sheet(Sheet("first-rows", f"The first rows as {trial.feed}", columns, rows))
    for fault in trial.faults[:SHOWN_REFUSALS]:
        where = fault.place or (f"line {fault.line}" if fault.line else "the file")
        often = f", {fault.values:,} times, first" if fault.values > 1 else ""
        typer.echo(f"Set aside{often} {where}{f', column {fault.column}' if fault.column else ''}: {fault.sentence}.")
    if len(trial.faults) > SHOWN_REFUSALS:
        typer.echo(f"... and {len(trial.faults) - SHOWN_REFUSALS} more kinds; --format csv lists all.")


def _cell(plant: Plant, value: Any) -> Any:
    return plant.clock.show(value) if isinstance(value, datetime) else value


def show_station_faults(plant: Plant, faults: list[StationFault], span: Span, format: Format) -> None:
    """Clocks and counts that cannot be right, those that are certain first."""
    title = f"Clocks and counts in doubt, {plant.clock.show(span.start)} to {plant.clock.show(span.end)}"
    sheet = faults_sheet(plant, faults, title)
    if format is Format.json:
        columns = sheet.shown(CSV)
        return print_json([{column.csv or column.name: row[column.name] for column in columns} for row in sheet.rows])
    if format is Format.csv:
        return print_csv(sheet)
    if not faults:
        return typer.echo(f"{title}: nothing was found that cannot be right.")
    print_sheet(sheet)
    for each in faults:
        typer.echo(f"{each.line}: {each.sentence}.")
    return None
