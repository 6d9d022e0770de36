"""What a route shows, before it is written as HTML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pipelines.reports.frame.page import CAUTION, Figure, Page, Section
from pipelines.reports.frame.sheet import Sheet
from schemas.texts import Text


@dataclass(frozen=True)
class Special:
    """A part of a page with a template of its own; `values` is what the template needs, `sheet` the same as a table."""

    name: str
    title: Text
    values: Mapping[str, object]
    sheet: Sheet | None = None
    wide: bool = True
    warn: bool = False


Part = Section | Special


@dataclass(frozen=True)
class View:
    """A page of the application. kind: the place in the navigation; refresh_s: how often it renews itself, 0 for
    never; sometimes: tables that are not always there.
    """

    kind: str
    title: Text
    when: Text
    parts: tuple[Part, ...]
    figures: tuple[Figure, ...] = ()
    links: tuple[tuple[Text, str], ...] = ()
    cautions: tuple[Text, ...] = (CAUTION,)
    sources: tuple[Text, ...] = ()
    made: Text = ""
    refresh_s: int = 0
    notes: tuple[Text, ...] = field(default=())
    sometimes: tuple[str, ...] = ()

    @property
    def sheets(self) -> list[Sheet]:
        return [part.sheet for part in self.parts if part.sheet is not None]


def view_of(kind: str, page: Page, refresh_s: int = 0, notes: tuple[str, ...] = ()) -> View:
    """A report's page in the application's frame."""
    return View(
        kind,
        page.title,
        page.when,
        page.sections,
        page.figures,
        page.links,
        page.cautions,
        page.sources,
        page.made,
        refresh_s,
        notes,
    )
