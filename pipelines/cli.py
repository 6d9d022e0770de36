"""The commands. Thin: they read what was asked, call what the flows and pages call, and show the answer."""

from __future__ import annotations

import logging
import signal
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from pipelines import __version__, errors, typed
from pipelines.commands import deployments as cli_deployments
from pipelines.commands import feeds as cli_feeds
from pipelines.commands import help as cli_help
from pipelines.commands import holds as cli_holds
from pipelines.commands import keeping as cli_keep
from pipelines.commands import laboratory as cli_laboratory
from pipelines.commands import serve as cli_serve
from pipelines.commands import trace as cli_quality
from pipelines.commands.options import (
    DaskOption,
    DayOption,
    FormatOption,
    FromOption,
    KnownOption,
    SiteOption,
    ToOption,
    day_of,
    moment_of,
    open_here,
    span_of,
    whole,
)
from pipelines.reports.terminal.table import Format
from pipelines.settings import keep_private, settings_from_environment

app = typer.Typer(
    name="coldledger",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    help="A glassworks' cold-end ledger: every container from the gob to the pallet, hour by hour, cavity by cavity.",
    epilog="Exit status: 0 done, 1 something needs a person, 2 wrong use or unreadable site, 130 interrupted. The tool "
    "advises; people decide. The reference: coldledger help",
)
app.add_typer(cli_feeds.feeds_app, name="feeds")
signals_app = typer.Typer(
    invoke_without_command=True,
    rich_markup_mode=None,
    help="What is not chance: defect, where, since when; acknowledge what was seen.",
)
app.add_typer(signals_app, name="signals")
app.add_typer(cli_holds.holds_app, name="holds")
app.add_typer(cli_serve.people_app, name="people")
app.add_typer(cli_serve.notices_app, name="notices")
app.command(name="help")(cli_help.help_)
app.command()(cli_serve.serve)
app.command()(cli_serve.schedule)
app.command()(cli_serve.runs)
app.command()(cli_deployments.deployments)
app.command()(cli_feeds.listen)
app.command()(cli_keep.backup)
app.command()(cli_keep.export)
app.command()(cli_keep.restore)
app.command()(cli_keep.check)
app.command()(cli_keep.compact)
app.command()(cli_keep.rollup)
app.command()(cli_laboratory.weights)
app.command()(cli_laboratory.lab)
app.command()(cli_quality.trace)
app.command()(cli_quality.trust)
app.command()(cli_quality.pallet)
app.command()(cli_quality.mould)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"coldledger {__version__}")
        raise typer.Exit(errors.DONE)


@app.callback()
def every_command(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which version this is, and end.")
    ] = False,
) -> None:
    """What every command begins with."""


@app.command()
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


@app.command()
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


@app.command()
def intake(site: SiteOption = None) -> None:
    """The hourly flow: take the inbox in, refresh what it touched, write the hour's pages."""
    from pipelines.flows.run import run_flow

    opened = open_here(site)
    raise typer.Exit(run_flow("intake", opened))


@app.command()
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


@app.command()
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


@app.command()
def pareto(
    start: FromOption,
    end: ToOption,
    line: Annotated[
        str | None,
        typer.Option("--line", help="Production line, as in works.toml; over several works one line of each."),
    ] = None,
    by: Annotated[str, typer.Option("--by", help="defect, mould, section, gob, station, zone or severity.")] = "defect",
    known_at: KnownOption = None,
    works: Annotated[
        list[str] | None,
        typer.Option("--works", help="Export of a works; several times for several works, read together."),
    ] = None,
    dask: DaskOption = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """The reject Pareto of a line: what is thrown away, and from where; or that of several works from their exports."""
    from pipelines.answers.pareto import answer_pareto
    from pipelines.commands.keeping import works_pareto
    from pipelines.reports.terminal.answers import show_pareto

    if works:
        return works_pareto(works, start, end, by, line, dask, site, format)
    if line is None or dask:
        raise errors.WrongUse("say which line: --line L; or --works EXPORT for several works, where --dask is possible")
    opened = open_here(site)
    span = span_of(start, end, opened, "pareto")
    moment = moment_of(known_at, opened) if known_at is not None else None
    known = opened.known
    with opened.ledger.reading(moment) as reader:
        show_pareto(known, answer_pareto(reader, known, line, span, by), format)
    return None


@app.command(name="yield")
def yield_(
    day: DayOption,
    furnace: Annotated[str | None, typer.Option(help="One furnace only.")] = None,
    line: Annotated[str | None, typer.Option(help="One line only.")] = None,
    known_at: KnownOption = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Pack-to-melt of a production day, and where the rest of the glass went."""
    from pipelines.answers.yields.answer import answer_yield, yield_as_known
    from pipelines.reports.terminal.answers import show_yield

    opened = open_here(site)
    on, moment = day_of(day), moment_of(known_at, opened) if known_at is not None else None
    known = opened.known
    with opened.ledger.reading(moment) as reader:
        if moment is None:
            day_yield = answer_yield(reader, known, on, furnace, line)
        else:
            day_yield = yield_as_known(reader, known, on, moment, furnace, line)
    show_yield(known, day_yield, format)


@signals_app.callback()
def signals(
    context: typer.Context,
    start: Annotated[
        str | None,
        typer.Option("--from", help="Start by the cold-end clock, included; local time unless it has an offset."),
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", help="End by the cold-end clock, not included; any minute.")
    ] = None,
    line: Annotated[str | None, typer.Option("--line", help="One line only.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What is not chance in a window, as it stands at its end: defect, where, since when, and whether it is over."""
    if context.invoked_subcommand is not None:
        return
    if start is None or end is None:
        raise errors.WrongUse(
            "say from when to when: --from and --to, such as --from 2026-03-04T14:00 --to 2026-03-04T15:00"
        )
    from pipelines.answers.signals import answer_doubts, answer_signals, unheard_lines
    from pipelines.reports.terminal.signals import show_signals

    opened = open_here(site)
    span = span_of(start, end, opened, "signals")
    known = opened.known
    with opened.ledger.reading() as reader:
        these_signals = answer_signals(reader, known, span, line)
        doubts = [*unheard_lines(reader, known, span, line), *answer_doubts(reader, known, span, line)]
    show_signals(known, these_signals, doubts, span, format)


@signals_app.command()
def acknowledge(
    signal: Annotated[str, typer.Argument(help="Name of the signal, as the page and `coldledger signals` show it.")],
    by: Annotated[str, typer.Option("--by", help="Who has seen it.")],
    note: Annotated[str, typer.Option("--note", help="What was said or done about it.")] = "",
    site: SiteOption = None,
) -> None:
    """Keep with a name and a note that somebody has seen a signal; nothing is ever removed."""
    from pipelines.jobs.signals import acknowledge_signal

    acknowledge_signal(open_here(site), signal, by, note)
    typer.echo(f"{signal}: seen by {by}. The signal stays open until its rate is back.")


cli_help.name_topics(app)


def main() -> None:
    """The one edge at which errors become a sentence and an exit status."""
    keep_private()
    signal.signal(signal.SIGTERM, _interrupted)  # as Ctrl-C: what a command has started ends with it
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _interrupted)
    try:
        app()
    except KeyboardInterrupt:
        _stopped()
    except SystemExit as end:
        if end.code == errors.INTERRUPTED:
            _stopped()
        raise
    except errors.ColdledgerError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(error.exit_status)
    except BrokenPipeError:
        sys.exit(errors.DONE)
    except OSError as error:
        what = f"{error.filename}: " if error.filename else ""
        sys.stderr.write(f"{what}{error.strerror or error}; mend that and run this again: nothing received was lost\n")
        sys.exit(errors.NEEDS_A_PERSON)


def _interrupted(*_: object) -> NoReturn:
    """What libraries say of work that they cannot end is nothing to whoever has stopped it."""
    logging.disable(logging.CRITICAL)
    raise KeyboardInterrupt


def _stopped() -> NoReturn:
    """An interrupt ends a command with one sentence, whatever it interrupted; what comes after it hears no other."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, signal.SIG_IGN)
    sys.stderr.write("Stopped. Nothing received was lost, what is done is kept: the same command goes on from there.\n")
    sys.exit(errors.INTERRUPTED)
