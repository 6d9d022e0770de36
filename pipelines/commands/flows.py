"""The flows as commands: intake, close, rebuild."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines import errors, typed
from pipelines.commands.options import DaskOption, SiteOption, day_of, open_here


def intake(site: SiteOption = None) -> None:
    """The hourly flow: take the inbox in, refresh what it touched, write the hour's pages."""
    from pipelines.flows.run import run_flow

    opened = open_here(site)
    raise typer.Exit(run_flow("intake", opened))


def close(
    day: Annotated[
        str | None,
        typer.Option("--day", help="Production day; without it, every day that is over and not closed."),
    ] = None,
    site: SiteOption = None,
) -> None:
    """The nightly flow: close the production day and write its report."""
    from pipelines.flows.run import run_flow

    opened, on = open_here(site), day_of(day) if day is not None else None
    raise typer.Exit(run_flow("close", opened, day=on))


def rebuild(
    start: Annotated[str | None, typer.Option("--from", help="First production day.")] = None,
    end: Annotated[str | None, typer.Option("--to", help="Last production day, included.")] = None,
    archive: Annotated[
        bool,
        typer.Option(
            "--from-archive",
            help="Make the ledger itself again from archive/, whatever its state; the old one is kept.",
        ),
    ] = False,
    over: Annotated[
        str | None,
        typer.Option(
            "--over", help="An export to work from instead of the ledger; the marts are written --into a place."
        ),
    ] = None,
    into: Annotated[
        str | None, typer.Option("--into", help="Folder or address for the marts worked out --over an export.")
    ] = None,
    dask: DaskOption = None,
    site: SiteOption = None,
) -> None:
    """Compute days again from what was taken in, and say whether the answers are those of the first time; or the ledger
    itself from the archive.
    """
    from pipelines.commands.keeping import from_archive, marts_elsewhere
    from pipelines.flows.run import run_flow

    if bool(over) != bool(into) or (dask and not over):
        raise errors.WrongUse("--over EXPORT and --into DIR belong together, and --dask to them")
    if archive == (start is not None and end is not None):
        raise errors.WrongUse("say which days, --from DAY --to DAY, or --from-archive to make the ledger itself again")
    if archive:
        return from_archive(site)
    if over and into:
        return marts_elsewhere(over, into, str(start), str(end), dask, site)
    opened = open_here(site)
    first, last = typed.days(str(start), str(end), "rebuild")
    raise typer.Exit(run_flow("rebuild", opened, first=first, last=last))
