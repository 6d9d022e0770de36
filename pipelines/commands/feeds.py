"""Commands on what comes in: feeds, their trial, their repair."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from pipelines import errors
from pipelines.commands.options import (
    FormatOption,
    FromOption,
    LogOption,
    SiteOption,
    ToOption,
    by_the_clock_of_the_demo,
    command_group,
    open_here,
    span_of,
)
from pipelines.reports.terminal.formats import Format, Part, print_json
from pipelines.settings import log_kind

MOST_FOR_MACHINES = 100_000  # wrong values in JSON and CSV

feeds_app = command_group("What came, what is late or silent, what was refused and why.")


@feeds_app.callback()
def feeds(
    context: typer.Context,
    describe: Annotated[
        bool,
        typer.Option("--describe", help="Print the reference of every feed: columns, units, limits, an example."),
    ] = False,
    of: Annotated[
        Part | None,
        typer.Option("--of", help="One of the tables alone. CSV is always one: that of the feeds, else this."),
    ] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What came, what is late or silent, what was refused and why. Ends with 1 while something is refused, and while a
    station is late or silent, or a source late.
    """
    if context.invoked_subcommand is not None:
        return
    if describe:
        from pipelines.help.feed_reference import describe_feeds

        typer.echo(describe_feeds(), nl=False) if format is not Format.json else print_json(_described())
        return
    from pipelines.answers.feeds import STOPPED, answer_feeds
    from pipelines.reports.sources import source_rows
    from pipelines.reports.terminal.feeds import MOST_OF_FEEDS, show_feeds
    from pipelines.sources.database.states import source_states

    opened = by_the_clock_of_the_demo(open_here(site))
    now = opened.settings.now()
    with opened.ledger.reading() as reader:
        most = MOST_OF_FEEDS if format is Format.table else MOST_FOR_MACHINES
        row = answer_feeds(reader, opened.plant, most, now=now)
    row["sources"] = source_rows(opened.plant, source_states(opened.site, opened.plant, now), now)
    show_feeds(opened.plant, row, format, of)
    waits = row["refused"] or any(each["state"] in STOPPED for each in (*row["stations"], *row["sources"]))
    raise typer.Exit(errors.NEEDS_A_PERSON if waits else errors.DONE)


def _described() -> Any:
    from pipelines.help.feed_reference import described

    return described()


@feeds_app.command()
def retry(site: SiteOption = None) -> None:
    """Take repaired rows and files of quarantine/ in again."""
    from pipelines.answers.feeds import first_refused
    from pipelines.intake.retry import retry_quarantine
    from pipelines.reports.terminal.feeds import MOST_OF_INTAKE, show_intake

    opened = open_here(site)
    report = retry_quarantine(opened.site, opened.plant, opened.settings)
    show_intake(report, first_refused(opened.ledger, report.first_batch, MOST_OF_INTAKE))
    if report.touched:
        from pipelines.flows.run import call_flow
        from pipelines.jobs.signals import days_to_follow

        call_flow("follow", opened, days=days_to_follow(opened.plant, [moment for _, moment in report.touched]))
    raise typer.Exit(errors.NEEDS_A_PERSON if report.needs_a_person else errors.DONE)


@feeds_app.command()
def replaced(
    feed: Annotated[str, typer.Argument(help="Feed, such as pallets.")],
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Rows of a feed that later rows replaced, with the time at which each was replaced."""
    from pipelines.answers.feeds import answer_replaced
    from pipelines.reports.terminal.answers import show_rows

    opened = open_here(site)
    with opened.ledger.reading() as reader:
        show_rows(f"Replaced rows of {feed}", answer_replaced(reader, feed), format)


@feeds_app.command()
def doubts(
    start: FromOption,
    end: ToOption,
    line: Annotated[str | None, typer.Option("--line", help="One line only.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Clocks and counts that cannot be right: a clock that is off, a station that stands still, more ware behind than
    before, moulds that are not fitted.
    """
    from pipelines.answers.pareto import check_line
    from pipelines.answers.station_faults import answer_station_faults
    from pipelines.reports.terminal.trial import show_station_faults

    opened = open_here(site)
    span, known = span_of(start, end, opened, "doubts"), opened.known
    if line is not None:
        check_line(known, line)
    with opened.ledger.reading() as reader:
        faults = answer_station_faults(reader, known, span, (line,) if line else ())
    show_station_faults(known, faults, span, format)
    raise typer.Exit(errors.NEEDS_A_PERSON if any(fault.certain for fault in faults) else errors.DONE)


@feeds_app.command("try")
def try_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An export as the station writes it.")],
    feed: Annotated[
        str | None, typer.Option("--as", help="Feed that an unknown file is to become; else the one it fits best.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Name under which it would come; else its own.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Show what a file would become before anything is kept; for an unknown file, propose a [[mapping]] and say what is
    missing.
    """
    from pipelines.intake.foreign.try_or_propose import trial_of
    from pipelines.reports.terminal.trial import show_proposal, show_tried, told_trial

    opened = open_here(site)
    trial = trial_of(opened, file, name, feed)
    if format is Format.json:
        print_json(told_trial(trial))
    else:
        if trial.proposal is not None:
            show_proposal(trial.proposal)
        show_tried(opened.plant, trial.tried, format)
    raise typer.Exit(errors.DONE if trial.whole else errors.NEEDS_A_PERSON)


def listen(
    log: LogOption = None,
    site: SiteOption = None,
) -> None:
    """Hear live stations by way of an MQTT broker and write what they say into the inbox; Ctrl-C or SIGTERM ends it.
    Needs the extra `mqtt`.
    """
    import signal

    from pipelines import logs
    from pipelines.sources.broker.listener import Hearing

    logs.start(log_kind(log))
    hearing = Hearing(open_here(site))
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: hearing.stopping.set())
    hearing.run()
