"""The yield, and a production day on one sheet, as commands."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines.commands.options import (
    DayOption,
    FormatOption,
    KnownOption,
    SiteOption,
    by_the_clock_of_the_demo,
    day_of,
    moment_of,
    open_here,
)
from pipelines.reports.terminal.formats import Format


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


def day(
    day: DayOption,
    against: Annotated[
        str | None,
        typer.Option(help="Compare with another day, another line (with --line), or last-run: its item's last run."),
    ] = None,
    line: Annotated[str | None, typer.Option(help="One line only.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """A production day on one sheet: a row a line, largest losses, what is open, held, in doubt, outside limits."""
    from pipelines.answers.day_compared import answer_compared
    from pipelines.answers.day_so_far import answer_day_sheet
    from pipelines.answers.pareto import check_line
    from pipelines.reports.terminal.day import of_line, show_compared, show_day

    opened, on = by_the_clock_of_the_demo(open_here(site)), day_of(day)
    known = opened.known
    if line is not None:
        check_line(known, line)
    with opened.ledger.reading() as reader:
        if against is not None:
            compared = answer_compared(reader, known, on, against, line or "")
        else:
            sheet = answer_day_sheet(reader, known, on, opened.settings.now())
    if against is not None:
        show_compared(compared, format)
    else:
        show_day(known, of_line(sheet, line), format)
