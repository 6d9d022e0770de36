"""The one page frame: figures, sections, cautions, sources. A page opens from disk and asks nothing of any network.

Commands share their tables with pages: what draws a page is loaded only when one is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.reports.frame.sheet import Sheet
from pipelines.whole_files import written_whole
from schemas.texts import Text

if TYPE_CHECKING:
    from jinja2 import Template


@dataclass(frozen=True)
class Figure:
    """One number at the head of a page."""

    value: Text
    what: Text
    under: Text = ""
    kind: str = ""


@dataclass(frozen=True)
class Card:
    """One thing that asks for somebody: what and where, how much, a small chart, and what is known of it. name: what a
    link to it says after the #. more: what is shown when somebody asks for it.
    signal: the name of the signal it tells of, seen: whether somebody has acknowledged it."""

    title: Text
    head: Text
    chart: Text = ""
    lines: tuple[Text, ...] = ()
    kind: str = ""
    name: str = ""
    signal: str = ""
    seen: bool = False
    more: tuple[Text, ...] = ()


@dataclass(frozen=True)
class Section:
    """A part of a page: texts, cards, a chart, a table, a list; any of them may be absent. notes: explanations, behind
    a mark. sheet_of_paper: begins one in print. broad: the chart takes the width there is, and can be moved sideways
    where there is little. on_screen: it is not printed. tall: it stands beside two others.
    """

    title: Text
    texts: tuple[Text, ...] = ()
    chart: Text = ""
    chart_words: Text = ""
    sheet: Sheet | None = None
    items: tuple[Text, ...] = ()
    cards: tuple[Card, ...] = ()
    wide: bool = False
    warn: bool = False
    sheet_of_paper: bool = False
    broad: bool = False
    notes: tuple[Text, ...] = ()
    on_screen: bool = False
    tall: bool = False
    folded: Text = ""

    @cached_property
    def table(self) -> str:
        from pipelines.reports.frame.table_html import table_html

        return table_html(self.sheet) if self.sheet is not None else ""

    @property
    def caption(self) -> str:
        return self.sheet.caption if self.sheet is not None else ""


@dataclass(frozen=True)
class Special:
    """A part that only the application draws, by a template of its own; `values` is what the template needs, `sheet`
    the same as a table.
    """

    name: str
    title: Text
    values: Mapping[str, object]
    sheet: Sheet | None = None
    wide: bool = True
    warn: bool = False
    folded: Text = ""


Part = Section | Special


@dataclass(frozen=True)
class Page:
    """A whole page, on disk and in the application. links: (text, address). sources: which queries and files stand
    behind it. paper: how it is printed: `sheet` on one A4 page, `sheets` on two, else as it comes.
    """

    title: Text
    when: Text
    sections: tuple[Part, ...]
    figures: tuple[Figure, ...] = ()
    links: tuple[tuple[Text, str], ...] = ()
    cautions: tuple[Text, ...] = (CAUTION,)
    sources: tuple[Text, ...] = ()
    made: Text = ""
    workbook: str = ""
    paper: str = ""

    @property
    def sheets(self) -> Sequence[Sheet]:
        return [section.sheet for section in self.sections if section.sheet is not None]


@cache
def _frame() -> tuple[Template, str]:
    from jinja2 import Environment, StrictUndefined

    folder = files("pipelines.reports").joinpath("templates")
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    frame = environment.from_string(folder.joinpath("page.html.j2").read_text(encoding="utf-8"))
    return frame, folder.joinpath("style.css").read_text(encoding="utf-8")


def page_html(page: Page, works: str) -> str:
    """The page of a works as HTML. All text is escaped; charts and tables were made by this package."""
    frame, style = _frame()
    return frame.render(page=page, works=works, style=style)


def write_page(page: Page, path: Path, works: str, linked: Callable[[str], str] = str) -> None:
    """Write the page of a works and, beside it, its tables as a workbook; each whole or not at all. linked: the HTML
    with its links as they can be followed where it lies.
    """
    from pipelines.reports.frame.workbook import write_workbook

    path.parent.mkdir(parents=True, exist_ok=True)
    if page.sheets:
        write_workbook(path.with_suffix(".xlsx"), page.title, page.sheets, (*page.sources, *page.cautions, page.made))
    with written_whole(path) as part:
        part.write_text(linked(page_html(page, works)), encoding="utf-8")


__all__ = ["CAUTION", "GLASS", "Card", "Figure", "Page", "Part", "Section", "Special", "page_html", "write_page"]
