"""The quality manager's commands: from a complaint to the pallets, and the same the other way round."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from pipelines import typed
from pipelines.commands.options import FormatOption, SiteOption, day_of, open_here, span_of
from pipelines.errors import WrongUse
from pipelines.reports.terminal.formats import Format


def trace(
    complaint: Annotated[
        list[str] | None,
        typer.Option(help="Complaint number; fills in what is not given. Several of one defect: traced together."),
    ] = None,
    item: Annotated[str | None, typer.Option(help="Item code.")] = None,
    line: Annotated[str | None, typer.Option(help="Production line.")] = None,
    mould: Annotated[str | None, typer.Option(help="Mould number on the container.")] = None,
    defect: Annotated[str | None, typer.Option(help="Defect code.")] = None,
    pallet: Annotated[str | None, typer.Option(help="Pallet identity.")] = None,
    made_from: Annotated[str | None, typer.Option("--made-from", help="Earliest forming time.")] = None,
    made_to: Annotated[str | None, typer.Option("--made-to", help="Latest forming time.")] = None,
    received: Annotated[str | None, typer.Option("--received", help="Day by which the customer had it.")] = None,
    propose: Annotated[
        str | None,
        typer.Option(
            "--propose",
            help="Propose a hold: fewest (units that cover 95 %) or all (everything possible). It holds nothing until "
            "confirmed.",
        ),
    ] = None,
    report: Annotated[
        bool,
        typer.Option(
            "--report", help="Write the reports also with --format json or csv; with a table they always are."
        ),
    ] = False,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """From what is in hand to cavities, evidence and pallets to hold; with a report for the file and one for the
    customer.
    """
    from pipelines.answers.trace.answer import Question, answer_trace
    from pipelines.reports.terminal.trace import show_trace

    if propose not in (None, "fewest", "all"):
        raise WrongUse(f"--propose is fewest or all, not '{propose}'")
    opened = open_here(site)
    first, others = (complaint[0], complaint[1:]) if complaint else (None, [])
    made = typed.part(made_from, made_to, opened.plant.clock.zone, "trace", ("--made-from", "--made-to"))
    by = day_of(received) if received is not None else None
    asked = Question(first, item, line, mould, defect, pallet, *made, by)
    known = opened.known
    with opened.ledger.reading() as reader:
        answer = answer_trace(reader, known, asked, [replace(asked, complaint=other) for other in others])
    show_trace(known, answer, format)
    path = None
    if report or propose or format is Format.table:
        from pipelines.jobs.traces import write_trace

        path, outer = write_trace(opened, answer)
        if format is Format.table:
            typer.echo(f"The report for the file: {path}\nThe report for the customer: {outer}")
    if propose:
        from pipelines.jobs.holds import propose as proposed
        from pipelines.jobs.pages import write_index

        found = proposed(opened, answer, propose == "all", path)
        write_index(opened)
        typer.echo(
            f"{found.hold}: {len(found.pallets)} pallets proposed. Nothing is held until somebody runs `coldledger "
            f"holds confirm {found.hold}`.",
            err=format is not Format.table,
        )


def trust(
    start: Annotated[
        str, typer.Option("--from", help="Start by the cold-end clock, included; local time unless it has an offset.")
    ],
    end: Annotated[str, typer.Option("--to", help="End by the cold-end clock, not included.")],
    line: Annotated[str | None, typer.Option("--line", help="One line only.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """How far a station's word can be taken: detection by challenges, and the ware that no good challenge vouches
    for.
    """
    from pipelines.answers.signals import unheard_lines
    from pipelines.answers.trace.trust import answer_trust
    from pipelines.reports.terminal.trust import show_trust

    opened = open_here(site)
    span, known = span_of(start, end, opened, "trust"), opened.known
    with opened.ledger.reading() as reader:
        answer = answer_trust(reader, known, span, line)
        unheard = [name for name, _, _ in unheard_lines(reader, known, span, line)]
    show_trust(known, answer, format, unheard)


def pallet(
    pallet: Annotated[str, typer.Argument(metavar="PALLET", help="Pallet identity.")],
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What is on a pallet: moulds and minutes, defects, signals open then, stations in doubt, what became of it."""
    from pipelines.answers.trace.contents import answer_contents
    from pipelines.reports.terminal.trace import show_contents

    opened = open_here(site)
    known = opened.known
    with opened.ledger.reading() as reader:
        contents = answer_contents(reader, known, pallet)
    show_contents(known, contents, format)


def mould(
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="Mould number.")],
    line: Annotated[str, typer.Option("--line", help="Production line.")],
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Where everything is that a mould made since it was fitted: its stays, its calls, its pallets."""
    from pipelines.answers.trace.contents import answer_mould
    from pipelines.reports.terminal.trace import show_mould

    opened = open_here(site)
    known = opened.known
    with opened.ledger.reading() as reader:
        life = answer_mould(reader, known, line, number)
    show_mould(known, life, format)


__all__ = ["mould", "pallet", "trace", "trust"]
