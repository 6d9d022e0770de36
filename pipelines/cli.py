"""The commands. Thin: they read what was asked, call what the flows and pages call, and show the answer."""

from __future__ import annotations

import logging
import signal
import sys
from typing import Annotated, NoReturn

import typer

from pipelines import __version__, errors
from pipelines.commands import deployments as cli_deployments
from pipelines.commands import feeds as cli_feeds
from pipelines.commands import flows as cli_flows
from pipelines.commands import help as cli_help
from pipelines.commands import holds as cli_holds
from pipelines.commands import keeping as cli_keep
from pipelines.commands import laboratory as cli_laboratory
from pipelines.commands import order as cli_order
from pipelines.commands import pareto as cli_pareto
from pipelines.commands import serve as cli_serve
from pipelines.commands import signals as cli_signals
from pipelines.commands import site as cli_site
from pipelines.commands import sources as cli_sources
from pipelines.commands import trace as cli_quality
from pipelines.commands import works as cli_works
from pipelines.commands import yields as cli_yields
from pipelines.settings import keep_private

app = typer.Typer(
    name="coldledger",
    no_args_is_help=True,
    cls=cli_order.OrderedGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode=None,
    help="A glassworks' cold-end ledger: every container from the gob to the pallet, hour by hour, cavity by cavity.",
    epilog="Exit status: 0 done, 1 something needs a person, 2 wrong use or unreadable site, 130 interrupted. The tool "
    "advises; people decide. The reference: coldledger help",
)
app.add_typer(cli_feeds.feeds_app, name="feeds")
app.add_typer(cli_signals.signals_app, name="signals")
app.add_typer(cli_holds.holds_app, name="holds")
app.add_typer(cli_works.works_app, name="works")
app.add_typer(cli_sources.sources_app, name="sources")
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
app.command()(cli_site.init)
app.command()(cli_site.demo)
app.command()(cli_flows.intake)
app.command()(cli_flows.close)
app.command()(cli_flows.rebuild)
app.command()(cli_pareto.pareto)
app.command(name="yield")(cli_yields.yield_)
app.command()(cli_yields.day)


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


cli_help.name_topics(app)
cli_order.in_order(app)


def main() -> None:
    """The one edge at which errors become a sentence and an exit status."""
    keep_private()
    signal.signal(signal.SIGTERM, _interrupted)  # as Ctrl-C: what a command has started ends with it
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _interrupted)
    try:
        app(prog_name="coldledger")
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
    sys.stderr.write(errors.STOPPED)
    sys.exit(errors.INTERRUPTED)
