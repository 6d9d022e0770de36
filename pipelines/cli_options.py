"""Options and readings that all commands share."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from pipelines import errors
from pipelines.clock import BadTime, Span, parse_timestamp
from pipelines.settings import settings_from_environment
from pipelines.show import Format
from pipelines.site import OpenSite, open_site

SiteOption = Annotated[
    Path | None, typer.Option("--site", help="Site folder; else COLDLEDGER_SITE, else the current folder.")
]
FormatOption = Annotated[Format, typer.Option("--format", help="How to show the answer.")]
LineOption = Annotated[str, typer.Option("--line", help="Production line, as in works.toml.")]
FromOption = Annotated[
    str,
    typer.Option("--from", help="Start by the cold-end clock, included; local time unless it has an offset."),
]
ToOption = Annotated[str, typer.Option("--to", help="End by the cold-end clock, not included.")]
KnownOption = Annotated[
    str | None,
    typer.Option("--as-known-at", help="Answer as it was known at this moment; local time unless it has an offset."),
]
DaskOption = Annotated[
    str | None,
    typer.Option(
        "--dask",
        help="Work on Dask: the scheduler's address (tcp://...), or `local` for two workers here. Needs the extra `dask`.",
    ),
]
DayOption = Annotated[str, typer.Option("--day", help="Production day, as 2026-03-02.")]


def open_here(site: Path | None) -> OpenSite:
    return open_site(site, settings_from_environment())


def moment_of(text: str, opened: OpenSite) -> datetime:
    try:
        told = text if len(text) > 10 else f"{text}T00:00"
        return parse_timestamp(told, opened.plant.clock.zone)
    except BadTime as error:
        raise errors.WrongUse(error.reason.sentence(text, error.expected)) from None


def span_of(start: str, end: str, opened: OpenSite) -> Span:
    span = Span(moment_of(start, opened), moment_of(end, opened))
    if span.start >= span.end:
        raise errors.WrongUse(f"--from {start} must lie before --to {end}")
    return span


def day_of(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise errors.WrongUse(f"'{text}' is not a day such as 2026-03-02") from None
