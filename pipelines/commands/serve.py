"""Serving the pages and the schedules; who may sign in; notices."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from pipelines.commands.options import (
    FormatOption,
    LogOption,
    SiteOption,
    amount,
    by_the_clock_of_the_demo,
    command_group,
    open_here,
    whole,
)
from pipelines.errors import DONE, NEEDS_A_PERSON
from pipelines.reports.terminal.formats import Format, print_as
from pipelines.settings import log_kind

if TYPE_CHECKING:
    from pipelines.site.folder import OpenSite

people_app = command_group("Who may sign in to the pages, and what each may do.")
notices_app = command_group("Notices by mail or webhook: what went out; try the addresses.")
NameArgument = Annotated[str, typer.Argument(help="Name of the person, as decisions will carry it.")]


def serve(
    host: Annotated[
        str, typer.Option("--host", help="Address to listen on; beyond loopback people must sign in.")
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", help="Port of the pages.", parser=whole(1, 65535, "--port"), metavar="NUMBER")
    ] = 4280,
    address: Annotated[
        str,
        typer.Option(
            "--address",
            help="What a reverse proxy shows the pages as, such as https://ledger.works.example; people must sign in "
            "then.",
        ),
    ] = "",
    log: LogOption = None,
    pages_only: Annotated[
        bool, typer.Option("--pages-only", help="Only the pages: the flows are called by cron or systemd.")
    ] = False,
    site: SiteOption = None,
) -> None:
    """The pages and the schedules, one process to start; Ctrl-C or SIGTERM ends all of it."""
    from pipelines.serve.supervise import ServeOptions, serve

    kind = log_kind(log)
    parts = ("pages",) if pages_only else ServeOptions.parts
    serve(_at_its_time(open_here(site)), ServeOptions(host, port, address, kind, parts))


def _at_its_time(opened: OpenSite) -> OpenSite:
    """The invented works is served at the time at which its feeds end; every other site at the computer's time."""
    from pipelines.settings import clock_of

    if opened.settings.clock is None and opened.settings.fixed_now is not None:
        return replace(
            opened,
            settings=replace(opened.settings, clock=clock_of(opened.settings.fixed_now.isoformat()), fixed_now=None),
        )
    return by_the_clock_of_the_demo(opened)


def schedule(
    hours: Annotated[
        float,
        typer.Option(
            "--hours",
            help="How far to look ahead, 0.1 to 744.",
            parser=amount(0.1, 24 * 31, "--hours"),
            metavar="NUMBER",
        ),
    ] = 26.0,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What will run when: the intakes and closes of the next hours."""
    from pipelines.clock import utc_text
    from pipelines.jobs.due import upcoming
    from pipelines.reports.feeds import upcoming_sheet

    opened = _at_its_time(open_here(site))
    now = opened.settings.now()
    wake_ups = [
        due
        for due in upcoming(opened.plant, now, int(hours) + 2)
        if due.at is None or due.at <= now + timedelta(hours=hours)
    ]
    json = format is Format.json
    show = utc_text if json else opened.plant.clock.show
    later = None if json else "when it has come"
    rows = [{"at": show(due.at) if due.at else later, "flow": due.flow, "why": due.why} for due in wake_ups]
    print_as(upcoming_sheet(rows), format, rows)


def runs(
    most: Annotated[
        int,
        typer.Option("--most", help="How many, the newest first.", parser=whole(1, 2000, "--most"), metavar="NUMBER"),
    ] = 20,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """What ran: intakes, closes, rebuilds, by whom or why, and how each ended; the newest first."""
    from pipelines.people.books import Books
    from pipelines.reports.feeds import runs_sheet

    opened = open_here(site)
    rows = Books(opened.site.serve).ask("newest_runs", most=most)
    print_as(runs_sheet(opened.plant, rows), format, rows)


@people_app.callback()
def people(context: typer.Context, site: SiteOption = None, format: FormatOption = Format.table) -> None:
    """Everybody who may sign in to the pages, with their roles."""
    if context.invoked_subcommand is not None:
        return
    from pipelines.people.access import People
    from pipelines.people.books import Books
    from pipelines.reports.people import people_sheet

    opened = open_here(site)
    everybody = People(Books(opened.site.serve)).everybody()
    print_as(people_sheet(opened.plant, everybody), format, everybody)


@people_app.command()
def add(
    name: NameArgument,
    role: Annotated[
        list[str], typer.Option("--role", help="reader, supervisor, quality or admin; may be given several times.")
    ],
    stdin: Annotated[
        bool, typer.Option("--password-stdin", help="Read the password from standard input instead of asking.")
    ] = False,
    site: SiteOption = None,
) -> None:
    """Let a person sign in, or give a known one a new password and other roles."""
    from pipelines.people.access import People
    from pipelines.people.books import Books

    opened = _at_its_time(open_here(site))
    password = (
        sys.stdin.readline().rstrip("\r\n")
        if stdin
        else typer.prompt("Password", hide_input=True, confirmation_prompt=True)
    )
    books = Books(opened.site.serve)
    People(books).add(name, role, password, opened.settings.now())
    _note(opened, "people", name, f"may sign in as {', '.join(role)}")
    typer.echo(f"{name} may sign in as {', '.join(role)}.")


@people_app.command()
def end(name: NameArgument, site: SiteOption = None) -> None:
    """Take a person out and sign them out everywhere; what they did stays in the audit trail."""
    from pipelines.people.access import People
    from pipelines.people.books import Books

    opened = _at_its_time(open_here(site))
    People(Books(opened.site.serve)).end(name, opened.settings.now())
    _note(opened, "people", name, "taken out")
    typer.echo(f"{name} can no longer sign in.")


@people_app.command()
def audit(
    most: Annotated[
        int,
        typer.Option(
            "--most",
            help="How many acts at most, the newest first.",
            parser=whole(1, 1_000_000, "--most"),
            metavar="NUMBER",
        ),
    ] = 100,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Every attempt to write by way of the pages, and every sign-in: who, what, when, how it ended."""
    from pipelines.people.books import Books
    from pipelines.reports.people import audit_sheet

    opened = open_here(site)
    rows = Books(opened.site.serve).ask("newest_audit", most=most)
    print_as(audit_sheet(opened.plant, rows), format, rows)


def _note(opened: OpenSite, what: str, about: str, outcome: str) -> None:
    """An act of whoever may run commands on this computer."""
    from pipelines.clock import utc_text
    from pipelines.people.books import Books

    Books(opened.site.serve).tell(
        "add_audit", at=utc_text(opened.settings.now()), who="command line", what=what, about=about, outcome=outcome
    )


@notices_app.callback()
def notices(context: typer.Context, site: SiteOption = None, format: FormatOption = Format.table) -> None:
    """The newest notices and whether each went out."""
    if context.invoked_subcommand is not None:
        return
    from pipelines.people.books import Books
    from pipelines.reports.feeds import notices_sheet

    opened = open_here(site)
    rows = Books(opened.site.serve).ask("newest_notices", most=100)
    print_as(notices_sheet(opened.plant, rows), format, rows)


@notices_app.command()
def test(site: SiteOption = None) -> None:
    """Send a test to every address in .serve/notices.txt."""
    from pipelines.serve.notify import try_out

    opened = open_here(site)
    pairs = try_out(opened.site, opened.plant.works.name)
    for number, good in pairs:
        typer.echo(f"address {number}: {'sent' if good else 'could not be sent'}")
    raise typer.Exit(DONE if all(good for _, good in pairs) else NEEDS_A_PERSON)
