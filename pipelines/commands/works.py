"""Whether a plant file fits, as a command."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from pipelines import errors
from pipelines.commands.options import FormatOption, SiteOption
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from pipelines.settings import settings_from_environment

works_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="The plant file: whether it fits.")


@works_app.command()
def check(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A works.toml or a workbook for one; else the site's works.toml."),
    ] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Whether a works.toml, or a workbook for one, fits; nothing is changed. Ends with 1 where it does not."""
    from pipelines.jobs.plant_file import faults_of_mappings, plant_in
    from pipelines.site.folder import works_toml_of

    path = file if file is not None else works_toml_of(site)
    notes: list[str] = []
    head = ""
    try:
        found = plant_in(path, settings_from_environment())
        notes, mistakes = list(found.notes), faults_of_mappings(found.plant)
        lists = ("furnace", "line", "station", "defect", "item")
        head = ", ".join(f"{(n := len(getattr(found.plant, name)))} {name}{'' if n == 1 else 's'}" for name in lists)
        head = f"{path.name} fits: {found.plant.works.name}, {head}."
    except errors.PlantError as error:
        mistakes = list(error.mistakes)
    _show(path, head, mistakes, notes, format)
    raise typer.Exit(errors.NEEDS_A_PERSON if mistakes else errors.DONE)


def _show(path: Path, head: str, mistakes: list[str], notes: list[str], format: Format) -> None:
    if format is not Format.table:
        rows: list[dict[str, Any]] = [_parted(mistake) for mistake in mistakes]
        answer = {"file": str(path), "fits": not mistakes, "mistakes": rows, "notes": notes}
        return print_json(answer) if format is Format.json else print_csv(_sheet(rows))
    typer.echo(str(errors.PlantError(mistakes, path.name)) if mistakes else head)
    for note in notes:
        typer.echo(f"{path.name}: {note}.")
    return None


def _sheet(rows: list[dict[str, Any]]) -> Any:
    from pipelines.reports.frame.sheet import Sheet, in_csv

    return Sheet("mistakes", "Mistakes", in_csv("place", "says"), rows)


def _parted(mistake: str) -> dict[str, Any]:
    """A mistake as its place and what is wrong there."""
    parts = re.fullmatch(r"(.+?): (.+)", mistake, re.S)
    return {"place": parts[1], "says": parts[2]} if parts else {"place": "", "says": mistake}
