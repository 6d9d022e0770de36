"""The yield as a command."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines.commands.options import DayOption, FormatOption, KnownOption, SiteOption, day_of, moment_of, open_here
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
