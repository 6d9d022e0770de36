"""The laboratory's commands: weights of a line, and the day's capacity, density, annealing and samples."""

from __future__ import annotations

from typing import Annotated

import typer

from pipelines.commands.options import (
    DayOption,
    FormatOption,
    FromOption,
    LineOption,
    SiteOption,
    ToOption,
    day_of,
    open_here,
    span_of,
)
from pipelines.reports.terminal.formats import Format


def weights(
    line: LineOption,
    start: FromOption,
    end: ToOption,
    item: Annotated[
        str | None, typer.Option(help="One item only; without it, every item weighed in that time.")
    ] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """Weights by mould against limits and their own past: capability, drift of gob positions, correction at the feeder,
    giveaway.
    """
    from pipelines.answers.weights.answer import answer_weights
    from pipelines.reports.terminal.laboratory import show_weights

    opened = open_here(site)
    span = span_of(start, end, opened, "weights")
    known = opened.known
    with opened.ledger.reading() as reader:
        answer = answer_weights(reader, known, line, span, item)
    show_weights(known, answer, format)


def lab(
    day: DayOption,
    furnace: Annotated[str | None, typer.Option(help="One furnace only.")] = None,
    site: SiteOption = None,
    format: FormatOption = Format.table,
) -> None:
    """The laboratory's day: capacity, density, temper numbers and samples against their limits, and the checks that
    were missed.
    """
    from pipelines.answers.laboratory.answer import answer_laboratory
    from pipelines.reports.terminal.laboratory import show_laboratory

    opened = open_here(site)
    on, known = day_of(day), opened.known
    with opened.ledger.reading() as reader:
        laboratory = answer_laboratory(reader, known, on, furnace)
    show_laboratory(known, laboratory, format)
