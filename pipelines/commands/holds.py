"""Holds on the command line: what is held, and every decision about it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.commands.options import FormatOption, SiteOption, command_group, open_here
from pipelines.errors import WrongUse
from pipelines.reports.terminal.formats import Format

holds_app = command_group(
    "What is held, why, since when, by whom; place, confirm, extend, release, scrap. Nothing is ever removed "
    "from the history."
)
NameArgument = Annotated[str, typer.Argument(metavar="HOLD", help="Name of the hold, such as H-0001.")]
PalletsOption = Annotated[
    list[str] | None, typer.Option("--pallet", help="Pallet identity; may be given several times.")
]
ByOption = Annotated[str, typer.Option("--by", help="Who decides: a person authorised by the works.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason.")]
EvidenceOption = Annotated[
    str, typer.Option("--evidence", help="What it rests on: a trace, a report, a count of the re-inspection.")
]


@holds_app.callback()
def holds(
    context: typer.Context,
    everything: Annotated[bool, typer.Option("--all", help="Also what was released, scrapped or dismissed.")] = False,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Pallets held or proposed to be held; first those that the warehouse gave out all the same."""
    if context.invoked_subcommand is not None:
        return
    from pipelines.answers.holds import answer_holds
    from pipelines.reports.terminal.trace import show_holds

    opened = open_here(site)
    with opened.ledger.reading() as reader:
        pallets = answer_holds(reader, everything)
    show_holds(opened.known, pallets, format)


@holds_app.command()
def show(name: NameArgument, site: SiteOption = None, format: FormatOption = Format.table) -> None:
    """One hold: every decision with who, when, why and on what evidence, and its pallets as they stand."""
    from pipelines.answers.holds import all_holds, answer_holds
    from pipelines.reports.terminal.trace import show_hold

    opened = open_here(site)
    with opened.ledger.reading() as reader:
        known, pallets = all_holds(reader), answer_holds(reader, True, name)
    if name not in known:
        raise WrongUse(f"there is no hold '{name}'; see `coldledger holds --all`")
    show_hold(opened.known, known[name], pallets, format)


@holds_app.command()
def place(
    by: ByOption, why: WhyOption, evidence: EvidenceOption, pallet: PalletsOption = None, site: SiteOption = None
) -> None:
    """Place a new hold on pallets."""
    _decide(site, "place", None, pallet, by, why, evidence)


def _about_a_hold(action: str, says: str) -> None:
    """One command for a decision about a hold that is there."""

    def decided(
        name: NameArgument,
        by: ByOption,
        why: WhyOption,
        evidence: EvidenceOption,
        pallet: PalletsOption = None,
        site: SiteOption = None,
    ) -> None:
        _decide(site, action, name, pallet, by, why, evidence)

    holds_app.command(action, help=says)(decided)


for _action, _says in (
    ("confirm", "Make a proposal a hold: all its pallets, or those named."),
    ("dismiss", "Turn a proposal down: all its pallets, or those named. It stays in the history."),
    ("extend", "Add pallets to a hold."),
    ("release", "Release held pallets: all of the hold, or those named. They stay in the history."),
    ("scrap", "Give held pallets to cullet: all of the hold, or those named."),
):
    _about_a_hold(_action, _says)


@holds_app.command()
def plan(
    name: NameArgument,
    severity: Annotated[str, typer.Option("--severity", help="Of the defect it is held for: major or minor.")],
    past: Annotated[
        str,
        typer.Option(
            "--past", help="Lots of this kind inspected before, the oldest first: + accepted, - not accepted."
        ),
    ] = "",
    steady: Annotated[
        bool,
        typer.Option("--steady", help="Production is steady and the responsible authority wants reduced inspection."),
    ] = False,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What to look at before a hold is released: ISO 2859-1 single sampling, and which inspection its switching rules
    call for.
    """
    from pipelines.answers.holds import plans_of_hold
    from pipelines.reports.terminal.trace import show_plans

    if set(past) - {"+", "-"}:
        raise WrongUse(f"--past is a row of + and -, such as ++-+, not '{past}'")
    opened = open_here(site)
    with opened.ledger.reading() as reader:
        state, plans = plans_of_hold(reader, opened.known, name, severity, [mark == "+" for mark in past], steady)
    show_plans(name, state, plans, format)


@holds_app.command()
def restore(site: SiteOption = None) -> None:
    """Take decisions from the archive into a ledger that was made anew."""
    from pipelines.jobs.holds import restore as again

    typer.echo(f"{again(open_here(site))} decisions taken in again from archive/holds/.")


def _decide(
    site: Path | None, action: str, name: str | None, pallets: list[str] | None, by: str, why: str, evidence: str
) -> None:
    from pipelines.answers.holds import answer_holds
    from pipelines.cautions import CAUTION, GLASS
    from pipelines.jobs.holds import decide
    from pipelines.jobs.pages import write_index

    opened = open_here(site)
    decision = decide(opened, action, name, pallets or [], by, why, evidence)
    write_index(opened)
    with opened.ledger.reading() as reader:
        now = [hold for hold in answer_holds(reader, True, decision.hold) if hold.pallet in decision.pallets]
        others = [
            hold
            for hold in answer_holds(reader)
            if hold.pallet in decision.pallets and hold.hold != decision.hold and hold.state == "held"
        ]
    typer.echo(
        f"{decision.hold}: {', '.join(decision.pallets)} {now[0].state if now else ''} by {decision.by}. The "
        "warehouse must be told: this command moves nothing."
    )
    for pallet in now:
        if pallet.disagrees:
            typer.echo(f"{pallet.pallet}: {pallet.disagrees}")
    for pallet in others:
        typer.echo(f"{pallet.pallet} is still held by {pallet.hold or 'the warehouse'}.")
    typer.echo(CAUTION)
    typer.echo(GLASS)
