"""Commands that make a site: an empty one, the invented works."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.commands.options import whole
from pipelines.errors import WrongUse
from pipelines.settings import settings_from_environment


def init(
    directory: Annotated[
        Path | None, typer.Argument(metavar="[DIR]", help="Folder to make the site, or the workbook, in.")
    ] = None,
    workbook: Annotated[
        bool, typer.Option("--workbook", help="Make a workbook to fill instead of a site; it becomes one by --from.")
    ] = False,
    of: Annotated[
        Path | None, typer.Option("--of", metavar="SITE", help="With --workbook: fill it with this site's works.toml.")
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option("--from", metavar="FILE", help="Make works.toml of this filled workbook: .xlsx, .xls or .ods."),
    ] = None,
) -> None:
    """Make a new site folder: a commented works.toml and an inbox; or a workbook to fill instead."""
    if (workbook and source) or (of and not workbook):
        raise WrongUse("--workbook makes a workbook (of a site with --of), --from makes a site of one; say one of them")
    if workbook:
        return _workbook(directory or Path(), of)
    if directory is None:
        raise WrongUse("say which folder: coldledger init my-works; or --workbook for a workbook to fill")
    from pipelines.site.folder import init_site

    text, first = None, "describe your works in works.toml"
    if source is not None:
        from pipelines.jobs.plant_file import plant_in

        file = plant_in(source, settings_from_environment())
        text, first = file.text, f"works.toml is as {source.name} says, and is what you edit from now on"
        for note in file.notes:
            typer.echo(f"{source.name}: {note}.")
    site = init_site(directory, text)
    typer.echo(f"Made {site.root}: {first}, put feed files into inbox/, run `coldledger intake`.")
    return None


def _workbook(folder: Path, of: Path | None) -> None:
    from pipelines.jobs.plant_file import NAME, make_workbook
    from pipelines.site.folder import open_site

    settings = settings_from_environment()
    file = folder / NAME
    make_workbook(file, open_site(of, settings).plant if of is not None else None, settings)
    typer.echo(
        f"Made {file}: fill its sheets, then `coldledger works check {file}`, then `coldledger init my-works --from "
        f"{file}`."
    )


def demo(
    directory: Annotated[Path, typer.Argument(metavar="[DIR]", help="Folder for the invented works.")] = Path(
        "coldledger-demo"
    ),
    days: Annotated[
        int, typer.Option(help="Production days to invent, 1 to 31.", parser=whole(1, 31, "--days"), metavar="NUMBER")
    ] = 3,
    seed: Annotated[
        int,
        typer.Option(
            help="The same seed makes the same works.", parser=whole(0, 2**31 - 1, "--seed"), metavar="NUMBER"
        ),
    ] = 7,
) -> None:
    """Invent a works with three days of feeds, take them in, close the days, trace a complaint, name the pages to
    open.
    """
    from pipelines.commands.demo import run_demo

    run_demo(directory, days, seed, settings_from_environment())
