"""Commands that make a site: an empty one, the invented works."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.commands.options import whole
from pipelines.settings import settings_from_environment


def init(
    directory: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to make the site in.")],
) -> None:
    """Make a new site folder: a commented works.toml and an inbox."""
    from pipelines.site.folder import init_site

    site = init_site(directory)
    typer.echo(
        f"Made {site.root}: describe your works in {site.works_toml.name}, put feed files into inbox/, run "
        "`coldledger intake`."
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
