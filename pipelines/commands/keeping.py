"""Commands that keep a site whole: copies, checks, room on the disk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipelines import errors, typed
from pipelines.clock import Span
from pipelines.commands.options import FormatOption, SiteOption, day_of, open_here, whole
from pipelines.reports.terminal.formats import Format, print_as, print_csv, print_json

if TYPE_CHECKING:
    from pipelines.jobs.check import Checked
    from pipelines.plant.works import Plant
    from pipelines.reports.frame.sheet import Sheet


def _say(text: str) -> None:
    typer.echo(text, err=True)


def backup(
    to: Annotated[Path, typer.Option("--to", help="Folder for the copies, on another disk.")],
    keep: Annotated[
        int,
        typer.Option(
            "--keep", help="Copies of the ledger to keep there.", parser=whole(1, 100_000, "--keep"), metavar="NUMBER"
        ),
    ] = 14,
    site: SiteOption = None,
) -> None:
    """Copy the site while it is in use: the ledger, works.toml, people and acts, and what of the archive is new; the
    copy is read whole.
    """
    from pipelines.jobs.backup import back_up

    answer = back_up(open_here(site), to, keep, _say)
    typer.echo(
        f"{answer.folder}: {sum(answer.rows.values()):,} rows read whole; {answer.new_files} new of {answer.files} "
        f"files of the archive. `coldledger restore --from {to}` makes a site of it."
    )


def restore(
    source: Annotated[Path, typer.Option("--from", help="Folder that `coldledger backup` filled, or one copy in it.")],
    to: Annotated[Path, typer.Option("--to", help="New folder for the site.")],
) -> None:
    """Make a site again from its newest copy that is as it was written; nothing that is there is written over."""
    from pipelines.jobs.backup import restore_site

    used = restore_site(source, to, _say)
    typer.echo(
        f"Made {to} from {used.name}. Look: `coldledger check --site {to}`; files that came after that copy are in "
        f"its archive: `coldledger rebuild --from-archive --site {to}` takes them in."
    )


def check(
    rows: Annotated[
        bool,
        typer.Option(
            "--rows",
            help="Also read every file of the archive again and compare its rows with the ledger's, cell by cell.",
        ),
    ] = False,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Whether the site is whole: balances of the ledger, hashes of the archive, rows against files. Ends with 1 where
    something is not.
    """
    from pipelines.jobs.check import check_site
    from pipelines.reports.frame.table_terminal import print_sheet

    checked = check_site(open_here(site), rows, _say)
    findings = _findings_sheet(checked)
    if format is Format.json:
        print_json(
            {
                "whole": checked.whole,
                "looked": checked.looked,
                "findings": [vars(finding) for finding in checked.findings],
            }
        )
    elif format is Format.csv:
        print_csv(findings)
    else:
        for text in checked.looked:
            typer.echo(f"Looked at: {text}.")
        if checked.findings:
            print_sheet(findings)
        typer.echo("All of it is whole." if checked.whole else "Something is not whole.")
    raise typer.Exit(errors.DONE if checked.whole else errors.NEEDS_A_PERSON)


def _findings_sheet(checked: Checked) -> Sheet:
    from pipelines.reports.frame.sheet import Column, Sheet

    columns = (Column("level", "Level"), Column("where", "Where"), Column("what", "What"))
    title = "To be looked at" if checked.whole else "Not whole"
    return Sheet("findings", title, columns, [vars(finding) for finding in checked.findings])


def compact(site: SiteOption = None) -> None:
    """Write the ledger anew without the gaps that replaced and rolled rows left; pages go on meanwhile."""
    from pipelines.intake.run import intake_lock
    from pipelines.ledger.keeping import compact as compact_ledger

    opened = open_here(site)
    with intake_lock(opened.site, opened.settings):
        before, after = compact_ledger(opened.ledger, _say)
    typer.echo(f"{opened.site.ledger}: {before / 1e6:,.1f} MB before, {after / 1e6:,.1f} MB now.")


def rollup(
    before: Annotated[
        str, typer.Option("--before", help="Production day; those before it are rolled, at the earliest 60 days after.")
    ],
    site: SiteOption = None,
) -> None:
    """Roll old minutes of counts into hours; traces and Paretos of then are by the hour from now on. The files stay in
    the archive.
    """
    from pipelines.jobs.rollup import roll_up

    done = roll_up(open_here(site), day_of(before), _say)
    minutes, hours = sum(rolled.before for rolled in done), sum(each.after for each in done)
    typer.echo(
        f"{len(done)} days rolled: {minutes:,} rows of minutes became {hours:,} of hours. `coldledger compact` gives "
        "the room back to the disk."
    )


def export(
    to: Annotated[
        str, typer.Option("--to", help="Folder, or the address of one in an object store (s3://..., gs://...).")
    ],
    start: Annotated[str | None, typer.Option("--from", help="First production day; else all.")] = None,
    end: Annotated[str | None, typer.Option("--until", help="Last production day, included; else all.")] = None,
    site: SiteOption = None,
) -> None:
    """The facts and the marts as Parquet, one folder a table, split by production day."""
    from pipelines.jobs.from_exports import export_site
    from pipelines.ledger.export import without_secret

    if start is not None and end is not None:
        typed.days(start, end, "export", ("--from", "--until"))
    first, last = (day_of(text) if text is not None else None for text in (start, end))
    rows = export_site(open_here(site), to, first, last)
    typer.echo(f"{without_secret(to)}: {sum(rows.values()):,} rows of {sum(1 for n in rows.values() if n)} tables.")


def marts_elsewhere(over: str, into: str, start: str, end: str, dask: str | None, site: Path | None) -> None:
    """`rebuild --over`."""
    from datetime import timedelta

    from pipelines.jobs.from_exports import Fan, in_order, marts_elsewhere
    from pipelines.ledger.export import without_secret

    first, last = typed.days(start, end, "rebuild")
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]

    def ask(fan: Fan) -> dict[str, int]:
        return marts_elsewhere(over, into, days, fan)

    rows = run_on(dask, ask, site) if dask else ask(in_order)
    typer.echo(f"{without_secret(into)}: " + ", ".join(f"{count:,} rows of {name}" for name, count in rows.items()))


def run_on(dask: str, ask: Any, site: Path | None) -> Any:
    """Ask with a Dask engine; the run history is that of the site where there is one, else of a folder of its own."""
    import os
    import tempfile

    from pipelines.flows.run import keep_quiet, prepare

    try:
        prepare(open_here(site))
    except errors.SiteError:
        os.environ.setdefault("PREFECT_HOME", tempfile.mkdtemp(prefix="coldledger-"))
        keep_quiet()
    from pipelines.flows.from_exports import on_dask

    return on_dask(dask, ask)


def works_pareto(
    works: list[str],
    start: str,
    end: str,
    by: str,
    line: str | None,
    dask: str | None,
    site: Path | None,
    format: Format,
) -> None:
    """`pareto --works`."""
    from pipelines.answers.works import DIMENSIONS, joined, told_works
    from pipelines.jobs.from_exports import Fan, in_order, parts_of_works

    if by not in DIMENSIONS:
        raise errors.WrongUse(
            f"over several works --by is one of {', '.join(DIMENSIONS)}: moulds and places are each works' own"
        )

    def read(first: str, last: str, plant: Plant) -> Span:
        return typed.span(first, last, plant.clock.zone, "pareto")

    def ask(fan: Fan) -> Any:
        return parts_of_works(works, start, end, by, line, fan, read)

    from pipelines.reports.works import works_sheet

    rows = joined(run_on(dask, ask, site) if dask else ask(in_order), by)
    sheet = works_sheet(rows, by, f"{start} to {end}")
    return print_as(sheet, format, told_works(rows, by, start, end))


def from_archive(site: Path | None) -> None:
    """`rebuild --from-archive`."""
    from pipelines.jobs.from_archive import rebuild_from_archive

    opened = open_here(site)

    def progress(done: int, of: int, name: str) -> None:
        if done == of or done % 200 == 0:
            _say(f"{done} of {of} files: {name}")

    made_again = rebuild_from_archive(opened, progress)
    carried = ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in made_again.carried_over.items() if count)
    typer.echo(
        f"{made_again.files} files taken in again: {made_again.rows:,} rows kept, {made_again.refused:,} set aside."
        + (f" Carried over: {carried}." if carried else "")
    )
    if made_again.before is not None:
        typer.echo(
            f"The ledger of before is {made_again.before.name}; remove it when this one is right. Signals and pages: "
            "`coldledger rebuild --from DAY --to DAY`."
        )
    for text in made_again.unreadable:
        typer.echo(text, err=True)
    raise typer.Exit(errors.NEEDS_A_PERSON if made_again.unreadable else errors.DONE)
