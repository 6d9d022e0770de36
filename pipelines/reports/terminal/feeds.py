"""What came, what was refused, and what an intake did, on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

from pipelines.clock import parse_timestamp
from pipelines.plant.works import Plant
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table

if TYPE_CHECKING:
    from pipelines.intake import IntakeReport

FEED_COLUMNS = (
    "feed",
    "files",
    "came_again",
    "rows_read",
    "rows_kept",
    "rows_refused",
    "rows_replacing",
    "still_refused",
    "last_received",
    "data_to",
)
STATION_COLUMNS = ("line", "station", "last_window", "behind_min", "verdict")


def show_feeds(plant: Plant, told: dict[str, Any], format: Format) -> None:
    if format is Format.json:
        return print_json(told)
    rows = [[feed[name] for name in FEED_COLUMNS] for feed in told["feeds"]]
    if format is Format.csv:
        return print_csv(FEED_COLUMNS, rows)
    local = [[*row[:-2], *(_local(plant, moment) for moment in row[-2:])] for row in rows]
    print_table("Feeds", [name.replace("_", " ") for name in FEED_COLUMNS], local)
    stations = [
        (s["line"], s["station"], _local(plant, s["last_window"]), s["behind_min"], s["verdict"])
        for s in told["stations"]
    ]
    print_table("Stations", [name.replace("_", " ") for name in STATION_COLUMNS], stations)
    for refused in told["refused"][:40]:
        typer.echo(refused["sentence"])
    if len(told["refused"]) > 40:
        typer.echo(f"... and {len(told['refused']) - 40} more; all of them lie in quarantine/")
    return None


def show_intake(report: IntakeReport) -> None:
    typer.echo(
        f"{report.files} files taken in: {report.rows_kept:,} rows kept, {report.rows_refused:,} rows set aside, "
        f"{report.files_refused} files set aside whole."
    )
    if report.repeated:
        typer.echo(f"{report.repeated} files had come before, byte for byte: nothing to do for them.")
    for message in report.messages:
        typer.echo(message, err=True)


def _local(plant: Plant, moment: str | None) -> str:
    return "-" if moment is None else plant.clock.show(parse_timestamp(moment))
