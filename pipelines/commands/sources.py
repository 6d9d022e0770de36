"""Commands on databases: how each source stands, read now, tried."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines import errors
from pipelines.commands.options import FormatOption, SiteOption, by_the_clock_of_the_demo, command_group, open_here
from pipelines.reports.terminal.formats import Format, print_as, print_json

sources_app = command_group("Databases that are read into feeds: how far, when, and what was the matter.")
NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="Source, as in works.toml.")]


@sources_app.callback()
def sources(context: typer.Context, site: SiteOption = None, format: FormatOption = Format.table) -> None:
    """Databases that are read into feeds: how far, when, and what was the matter. Ends with 1 while one is late."""
    if context.invoked_subcommand is not None:
        return
    from pipelines.reports.sources import source_rows, sources_sheet
    from pipelines.sources.database.states import source_states

    opened = by_the_clock_of_the_demo(open_here(site))
    now = opened.settings.now()
    states = source_states(opened.site, opened.plant, now)
    rows = source_rows(opened.plant, states, now)
    print_as(sources_sheet(opened.plant, rows), format, rows)
    late = any(state.state == "late" for state in states)
    raise typer.Exit(errors.NEEDS_A_PERSON if late else errors.DONE)


@sources_app.command()
def read(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="Source; else all.")] = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="From the beginning; rows that the ledger has already change nothing.")
    ] = False,
    site: SiteOption = None,
) -> None:
    """Read databases into the inbox now. Ends with 1 where one cannot be read; the others are read all the same."""
    from pipelines.jobs.sources import read_now, sources_named
    from pipelines.sources.database.trouble import SourceTrouble

    opened = by_the_clock_of_the_demo(open_here(site))
    good = True
    for source in sources_named(opened.plant, name):
        try:
            found = read_now(opened, source, anew)
        except (SourceTrouble, errors.LedgerBusy) as trouble:
            typer.echo(f"{source.name} was not read: {trouble}", err=True)
            good = False
            continue
        typer.echo(f"{source.name}: {found.rows:,} new rows in {len(found.files)} files of inbox/.")
    raise typer.Exit(errors.DONE if good else errors.NEEDS_A_PERSON)


@sources_app.command("try")
def try_(name: NameArgument, site: SiteOption = None, format: FormatOption = Format.table) -> None:
    """Show what the rows of a source's next reading would become; nothing is kept."""
    from pipelines.jobs.sources import sources_named, try_source
    from pipelines.reports.terminal.trial import show_tried, told_tried

    opened = by_the_clock_of_the_demo(open_here(site))
    (source,) = sources_named(opened.plant, name)
    tried = list(try_source(opened, source))
    if format is Format.json:
        print_json({"source": source.name, "feeds": told_tried(tried)})
    elif tried:
        show_tried(opened.plant, tried, format)
    else:
        typer.echo(f"{source.name} has no rows since its watermark.")
    raise typer.Exit(errors.DONE if all(trial.whole for trial in tried) else errors.NEEDS_A_PERSON)
