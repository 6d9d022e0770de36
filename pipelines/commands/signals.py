"""Commands on signals: what is not chance, and who has seen it."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines import errors
from pipelines.commands.options import FormatOption, SiteOption, command_group, open_here, span_of
from pipelines.reports.terminal.formats import Format

signals_app = command_group("What is not chance: defect, where, since when; acknowledge what was seen.")


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
