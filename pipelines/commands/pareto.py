"""The Pareto as a command."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines import errors
from pipelines.commands.options import (
    DaskOption,
    FormatOption,
    FromOption,
    KnownOption,
    SiteOption,
    ToOption,
    moment_of,
    open_here,
    span_of,
)
from pipelines.reports.terminal.formats import Format


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
