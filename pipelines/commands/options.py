"""Options and readings that all commands share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipelines import typed
from pipelines.clock import Span
from pipelines.reports.terminal.formats import Format
from pipelines.settings import settings_from_environment

if TYPE_CHECKING:
    from pipelines.site.folder import OpenSite

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
        help="Work on Dask: the scheduler's address (tcp://...), or `local` for two workers here. Needs the extra "
        "`dask`.",
    ),
]
LogOption = Annotated[
    str | None, typer.Option("--log", help="text, or json: a JSON object a line; else as COLDLEDGER_LOG says.")
]
DayOption = Annotated[str, typer.Option("--day", help="Production day, as 2026-03-02.")]


def open_here(site: Path | None) -> OpenSite:
    from pipelines.site.folder import close_to_others, open_site

    opened = open_site(site, settings_from_environment())
    close_to_others(opened.site)
    return opened


def by_the_clock_of_the_demo(opened: OpenSite) -> OpenSite:
    """The invented works stands at the time at which its feeds end; every other site, and one whose clock is set from
    outside, is left as it is.
    """
    from pipelines.commands.demo import MARK
    from pipelines.settings import clock_of

    mark = opened.site.root / MARK
    if opened.settings.clock is not None or opened.settings.fixed_now is not None or not mark.exists():
        return opened
    text = mark.read_text(encoding="utf-8").strip()
    return replace(opened, settings=replace(opened.settings, clock=clock_of(text))) if text else opened


def moment_of(text: str, opened: OpenSite) -> datetime:
    """A time, local to the works unless it has an offset."""
    return typed.moment(text, opened.plant.clock.zone)


def span_of(start: str, end: str, opened: OpenSite, question: str) -> Span:
    """A span by the works' clock, as long as the question bears (typed.LONGEST)."""
    return typed.span(start, end, opened.plant.clock.zone, question)


def day_of(text: str) -> date:
    """A production day."""
    return typed.day(text)


def whole(least: int, most: int, name: str) -> Callable[[str | int], int]:
    """Reads a whole number of an option."""

    def number(text: str | int) -> int:
        return typed.whole(str(text), least, most, name)

    return number


def amount(least: float, most: float, name: str) -> Callable[[str | float], float]:
    """Reads a number of an option."""

    def number(text: str | float) -> float:
        return typed.amount(str(text), least, most, name)

    return number


def command_group(about: str) -> typer.Typer:
    """Commands under one word, which answers by itself too."""
    return typer.Typer(invoke_without_command=True, rich_markup_mode=None, help=about)
