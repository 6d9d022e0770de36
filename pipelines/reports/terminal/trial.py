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
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table

FAULT_COLUMNS = ("feed", "column", "reason", "values", "line", "value", "sentence")


def told_trial(trial: Trial) -> dict[str, Any]:
    """The trial as JSON: file, feeds with counts, rows and reasons, and the proposal."""
    proposal = trial.proposal
    return {
        "file": trial.file,
        "whole": trial.whole,
        "feeds": [_told(one) for one in trial.tried],
        "proposal": None
        if proposal is None
        else {"toml": proposal.toml, "missing": proposal.missing, "guessed": proposal.guessed},
    }


def _told(one: Tried) -> dict[str, Any]:
    plain = {k: v for k, v in vars(one).items() if k not in ("shown", "faults", "first", "last")}
    return {
        **plain,
        "first": _moment(one.first),
        "last": _moment(one.last),
        "faults": [vars(fault) for fault in one.faults],
        "shown": [{k: _moment(v) for k, v in row.items()} for row in one.shown.iter_rows(named=True)],
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
    for told in proposal.guessed:
        typer.echo(f"Guessed: {told}.")
    for told in proposal.missing:
        typer.echo(f"Missing: {told}.")
    typer.echo("")


def show_tried(plant: Plant, tried: list[Tried], format: Format) -> None:
    """What the file would become, feed by feed: counts, first rows, and what would be set aside."""
    if format is Format.csv:
        rows = [
            (one.feed, *(getattr(fault, name) for name in FAULT_COLUMNS[1:])) for one in tried for fault in one.faults
        ]
        return print_csv(FAULT_COLUMNS, rows)
    for one in tried:
        _show_one(plant, one)
    return None


def _show_one(plant: Plant, one: Tried) -> None:
    how = f", by [[mapping]] {one.mapping}" if one.mapping else ""
    span = ""
    if isinstance(one.first, datetime) and isinstance(one.last, datetime):
        span = f", {plant.clock.show(one.first)} to {plant.clock.show(one.last)}"
    typer.echo(
        f"{one.feed}{how}: {one.rows:,} rows, {one.kept:,} would be kept ({one.new:,} new, {one.unchanged:,} known "
        f"already, {one.replacing:,} would replace others), {one.refused:,} set aside{span}. Nothing was kept now."
    )
    if one.note and one.note != "refused whole":
        typer.echo(f"Note: {one.note}.")
    if one.shown.height:
        cells = [[_cell(plant, value) for value in row] for row in one.shown.rows()]
        print_table(f"The first rows as {one.feed}", one.shown.columns, cells)
    for fault in one.faults[:SHOWN_REFUSALS]:
        where = f"line {fault.line}" if fault.line else "the file"
        often = f", {fault.values:,} times, first" if fault.values > 1 else ""
        typer.echo(f"Set aside{often} {where}{f', column {fault.column}' if fault.column else ''}: {fault.sentence}.")
    if len(one.faults) > SHOWN_REFUSALS:
        typer.echo(f"... and {len(one.faults) - SHOWN_REFUSALS} more kinds; --format csv lists all.")


def _cell(plant: Plant, value: Any) -> Any:
    return plant.clock.show(value) if isinstance(value, datetime) else value


DOUBT_COLUMNS = ("line", "station", "kind", "since", "until", "certain", "minutes", "size", "key", "sentence")


def show_station_faults(plant: Plant, told: list[StationFault], span: Span, format: Format) -> None:
    """Clocks and counts that cannot be right, those that are certain first."""
    rows = [{name: _moment(getattr(one, name)) for name in DOUBT_COLUMNS} for one in told]
    if format is Format.json:
        return print_json(rows)
    if format is Format.csv:
        return print_csv(DOUBT_COLUMNS, [list(row.values()) for row in rows])
    title = f"Clocks and counts in doubt, {plant.clock.show(span.start)} to {plant.clock.show(span.end)}"
    shown = [
        (
            one.line,
            one.station,
            one.kind,
            plant.clock.show(one.since),
            plant.clock.show(one.until),
            "certain" if one.certain else "a guess",
        )
        for one in told
    ]
    if not told:
        return typer.echo(f"{title}: nothing was found that cannot be right.")
    print_table(title, ("line", "station", "what", "since", "until", "how sure"), shown)
    for one in told:
        typer.echo(f"{one.line}: {one.sentence}.")
    return None
