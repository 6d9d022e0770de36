"""A production day: its sheet as its close wrote it, or running figures before its close; the pages behind it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.answers.day_compared import answer_compared
from pipelines.answers.day_so_far import sheet_so_far
from pipelines.ledger import Reader
from pipelines.pages.forms import field, form
from pipelines.pages.page_question import REACH, Key, PageQuestion, State
from pipelines.pages.places.report_files import kept_file, newest_close
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.plant.works import Plant
from pipelines.reports.addresses import behind_address, day_address, laboratory_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.day.compared import compared_sections
from pipelines.reports.day.report import BEHIND
from pipelines.reports.day.sheet import sheet_page
from pipelines.reports.frame.kept_page import kept_page
from pipelines.reports.frame.page import Page, Part, Section, Special
from pipelines.reports.frame.sources import queries_words
from pipelines.words import day_named, say

LIVE_S = 60
With = Annotated[str | None, Query(alias="with", max_length=64)]
REVISION = re.compile(r"(.+)\.r\d+")
CAME_AFTER = say(
    "Files that speak of this day came after this report was written: the next close, or `coldledger close`, looks at "
    "it again."
)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/day")
    def newest_day() -> Response:
        closed = newest_close(web)
        return go(f"/{day_address(closed[-1] if closed else today(web))}")

    @routes.get("/day/{name}.html")
    def day(request: Request, name: str, other: With = None) -> Response:
        """The sheet of a production day as its close wrote it, or so far; an earlier revision as a file."""
        if re.fullmatch(r"\d{4}-\d\d-\d\d\.r\d+", name):
            return kept_file(web, request, f"day/{name}.html")
        on = typed.day(name)
        if not other:
            return web.show(request, day_page(web, on))
        return web.show(request, PageQuestion(("day", on, other), partial(_against, web, on, other)))

    @routes.get("/day/{name}/{part}.html")
    def behind(request: Request, name: str, part: str) -> Response:
        """A page behind the sheet; an earlier revision as a file."""
        if REVISION.fullmatch(part):
            return kept_file(web, request, f"day/{name}/{part}.html")
        if part not in BEHIND:
            raise Refused(404, web.texts(request).say(say("There is no such page here.")))
        on = typed.day(name)
        question = kept_question(web, ("behind", part, on), partial(_behind, part, on), behind_address(on, part))
        return web.show(request, question)

    return routes


def today(web: Web) -> date:
    """The production day that the works' clock is in."""
    return web.desk.plant.clock.day_of(web.desk.now())


def _as_it_is(page: Page) -> Page:
    return page


def kept_question(
    web: Web, key: Key, make: Callable[[Reader, Plant], View], address: str, dressed: Callable[[Page], Page] = _as_it_is
) -> PageQuestion:
    """A page of a day that a close keeps, shown as it was kept, whatever came since, which it then says. key: its
    production day last; dressed: what the application adds.
    """

    def shown(page: Page, then: State, now: State) -> View | None:
        if not of_this_version(page):
            return None
        return View("day", dressed(page), notes=() if then.last == now.last else (CAME_AFTER,))

    on = key[-1]
    assert isinstance(on, date)
    window = web.desk.opened.plant.clock.day(on)
    return PageQuestion(key, make, window, REACH, kept_at=address, shown=shown)


def of_this_version(page: Page) -> bool:
    """Whether a kept page is one of several of its day: versions before kept all of a day as one page."""
    return not any(isinstance(part, Section) and part.sheet_of_paper for part in page.sections)


def is_closed(reader: Reader, on: date) -> bool:
    return not reader.ask("closes_of_day", day=on).is_empty()


def day_page(web: Web, on: date) -> PageQuestion:
    """The sheet of a production day."""
    dressed = partial(_dressed, on)
    return kept_question(web, ("day", on), partial(_day, web, on), day_address(on), dressed)


def _dressed(on: date, page: Page, other: str = "") -> Page:
    return replace(page, sections=(*page.sections, another_day(f"/{day_address(on)}", other)))


def another_day(action: str, other: str = "") -> Special:
    """Asks for a day to compare with."""
    chosen = field("with", say("Another day"), other, kind="date", needed=True, most=10)
    return form(say("Compare"), action, (chosen,), (("", say("Compare")),), method="get")


def _day(web: Web, on: date, reader: Reader, plant: Plant) -> View:
    if is_closed(reader, on):
        return View("day", _dressed(on, ALL_REPORTS["day"].page(reader, plant, on)))
    reader, now = reader.noting(), web.desk.now()
    sheet = sheet_so_far(reader, plant, on, now)
    page = sheet_page(plant, sheet, sources=(queries_words(frozenset(reader.asked)),))
    return View("day", page, LIVE_S if plant.clock.day_of(now) == on else 0)


def kept_or_made(web: Web, address: str, make: Callable[[], Page]) -> Page:
    """A page as a close kept it; made where it kept none."""
    found = kept_page(web.desk.site.reports / address)
    return found[0] if found is not None and of_this_version(found[0]) else make()


def put_first(page: Page, parts: list[Section], after: int) -> tuple[Part, ...]:
    """The sections of a page with more of them after its first ones, without forms."""
    plain = tuple(part for part in page.sections if isinstance(part, Section))
    return (*plain[:after], *parts, *plain[after:])


def _against(web: Web, on: date, other: str, reader: Reader, plant: Plant) -> View:
    compared = answer_compared(reader, plant, on, other)
    page = kept_or_made(web, day_address(on), lambda: _day(web, on, reader, plant).page)
    page = replace(page, sections=put_first(page, compared_sections(compared), 1), workbook="")
    return View("day", _dressed(on, page, other) if is_closed(reader, on) else page)


def _behind(part: str, on: date, reader: Reader, plant: Plant) -> View:
    if is_closed(reader, on):
        return View("day", ALL_REPORTS["behind the day"].page(reader, plant, part, on))
    end = plant.clock.show(plant.clock.day(on).end)
    words = (say("Production day {on} is not closed: it ends at {end}.", on=on, end=end),)
    section = Section(say("Not closed yet"), words, wide=True)
    title = say("{part}, {day}", part=BEHIND[part], day=day_named(on))
    so_far = [
        (say("laboratory {furnace}", furnace=each), f"/{laboratory_address(on, each)}") for each in plant.furnaces
    ]
    links = ((say("the day"), f"/{day_address(on)}"), *so_far, (say("Holds"), "/holds"))
    return View("day", Page(title, "", (section,), links=links))
