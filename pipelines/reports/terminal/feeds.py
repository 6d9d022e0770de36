"""What came, what was refused, and what an intake did, on the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from pipelines.clock import parse_timestamp
from pipelines.plant.works import Plant
from pipelines.reports.feeds import arrivals_sheet, refused_sheet, stations_sheet
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.sources import sources_sheet
from pipelines.reports.terminal.formats import Format, Part, print_csv, print_json

if TYPE_CHECKING:
    from pipelines.intake import IntakeReport

MOST_OF_FEEDS, MOST_OF_INTAKE = 40, 20  # sentences; every one of them is in the JSON and the CSV


def show_feeds(plant: Plant, fields: dict[str, Any], format: Format, of: Part | None = None) -> None:
    """All tables, that of databases where some are read, or one of them; CSV is one alone, that of the feeds where none
    is named.
    """
    if format is Format.table:
        for part in Part if of is None else (of,):
            if part is Part.refused:
                _show_refused(fields)
            elif part is not Part.sources or fields["sources"] or of is part:
                print_sheet(_SHEETS[part](plant, fields))
        return None
    asked = of is Part.refused or (of is None and format is Format.json)
    if asked and (more := _waiting(fields) - _rows_of(fields["refused"])) > 0:
        typer.echo(f"{more:,} more rows and files are refused than are told here", err=True)
    if format is Format.json:
        return print_json(fields if of is None else {of.value: fields[of]})
    return print_csv(_SHEETS[of or Part.feeds](plant, fields))


def _arrivals(plant: Plant, fields: dict[str, Any]) -> Sheet:
    return arrivals_sheet(plant, fields["feeds"])


def _stations(plant: Plant, fields: dict[str, Any]) -> Sheet:
    rows = [
        {
            **row,
            "last": plant.clock.show(parse_timestamp(row["last_window"])) if row["last_window"] else "",
            "behind": row["behind_min"],
            "state": row["verdict"],
        }
        for row in fields["stations"]
    ]
    return stations_sheet(rows)


def _refused(_: Plant, fields: dict[str, Any]) -> Sheet:
    whys = [row["sentence"] for row in fields["refused"]]
    return refused_sheet(fields["refused"], whys, len(whys))


def _sources(plant: Plant, fields: dict[str, Any]) -> Sheet:
    return sources_sheet(plant, fields["sources"])


_SHEETS = {Part.feeds: _arrivals, Part.stations: _stations, Part.sources: _sources, Part.refused: _refused}


def _show_refused(fields: dict[str, Any]) -> None:
    shown = fields["refused"][:MOST_OF_FEEDS]
    for sentence in dict.fromkeys(each["sentence"] for each in shown):
        typer.echo(sentence)
    if (more := _waiting(fields) - _rows_of(shown)) > 0:
        typer.echo(f"... and {more:,} more rows and files; all of them lie in quarantine/")


def _waiting(fields: dict[str, Any]) -> int:
    """Rows and whole files that are still refused."""
    return sum(int(feed["rows_still_refused"]) + int(feed["files_still_refused"]) for feed in fields["feeds"])


def _rows_of(refused: Sequence[dict[str, Any]]) -> int:
    """How many rows and whole files these wrong values belong to."""
    return len({(row["batch"], row["file_line"], row["part"]) for row in refused})


def show_intake(report: IntakeReport, refused: Sequence[dict[str, Any]] = ()) -> None:
    """What an intake did. refused: the first wrong values of it, as `answer_feeds` tells them."""
    typer.echo(
        f"{report.files} files taken in: {report.rows_kept:,} rows kept, {report.rows_refused:,} rows set aside, "
        f"{report.files_refused} files set aside whole."
    )
    if report.repeated:
        typer.echo(f"{report.repeated} files had come before, byte for byte: nothing to do for them.")
    whole = report.refused_whole[:MOST_OF_INTAKE]
    rows = [row for row in refused if row["file_line"]][: MOST_OF_INTAKE - len(whole)]
    others = [message for message in report.messages if message not in report.refused_whole]
    for sentence in dict.fromkeys([*others, *whole, *(row["sentence"] for row in rows)]):
        typer.echo(sentence, err=True)
    if (more := report.files_refused + report.rows_refused - len(whole) - _rows_of(rows)) > 0:
        typer.echo(f"and {more:,} more rows and files: `coldledger feeds`", err=True)
