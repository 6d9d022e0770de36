"""A machine's production day: as its close wrote it, or running figures before; beside another day, line or run."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.answers.day_compared import LAST_RUN, answer_compared
from pipelines.ledger import Reader
from pipelines.pages.forms import choice, form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.places.day import (
    LIVE_S,
    REVISION,
    With,
    another_day,
    is_closed,
    kept_or_made,
    kept_question,
    put_first,
)
from pipelines.pages.places.report_files import kept_file, newest_day
from pipelines.pages.view import View
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.addresses import machine_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.day.compared import compared_sections
from pipelines.reports.day.open_machine import open_machine_page
from pipelines.reports.frame.page import Page, Part, Section
from pipelines.words import say


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/machine")
    def some_machine() -> Response:
        return go(f"/machine/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/machine/{line}")
    def newest(line: str) -> Response:
        """Leads to the newest page of a machine."""
        on = newest_day(web, "machine", known(web, "line", line), [line])
        return go(f"/{machine_address(on, line)}")

    @routes.get("/machine/{day}/{line}.html")
    def machine(request: Request, day: str, line: str, other: With = None) -> Response:
        """A machine on a production day; an earlier revision as a file."""
        if REVISION.fullmatch(line):
            return kept_file(web, request, f"machine/{day}/{line}.html")
        known(web, "line", line)
        on = typed.day(day)
        if other:
            return web.show(
                request, PageQuestion(("machine", line, on, other), partial(_against, web, line, on, other))
            )
        return web.show(request, machine_page(web, line, on))

    return routes


def machine_page(web: Web, line: str, on: date) -> PageQuestion:
    """A machine on a production day."""

    def dressed(page: Page) -> Page:
        return _dressed(web.desk.plant, line, on, page)

    make = partial(_machine, web, line, on)
    return kept_question(web, ("machine", line, on), make, machine_address(on, line), dressed)


def _dressed(plant: Plant, line: str, on: date, page: Page, other: str = "") -> Page:
    """With what it can be compared with."""
    action = f"/{machine_address(on, line)}"
    runs = ((LAST_RUN, say("last run of its item")), *((each, each) for each in plant.lines if each != line))
    chosen = choice("with", say("Last run, or another line"), runs, other)
    day = other if other != LAST_RUN and other not in plant.lines else ""
    forms = (
        another_day(action, day),
        form(say("Compare with a run or line"), action, (chosen,), (("", say("Compare")),), method="get"),
    )
    return replace(page, sections=(*page.sections, *forms))


def _machine(web: Web, line: str, on: date, reader: Reader, plant: Plant) -> View:
    if is_closed(reader, on):
        return View("day", _dressed(plant, line, on, ALL_REPORTS["machine"].page(reader, plant, line, on)))
    now = web.desk.now()
    live_s = LIVE_S if plant.clock.day_of(now) == on else 0
    return View("day", open_machine_page(reader, plant, line, on, now), live_s)


def _against(web: Web, line: str, on: date, other: str, reader: Reader, plant: Plant) -> View:
    compared = answer_compared(reader, plant, on, other, line)
    page = kept_or_made(web, machine_address(on, line), lambda: _machine(web, line, on, reader, plant).page)
    page = replace(page, sections=put_first(_shorter(page), compared_sections(compared), 0), workbook="")
    return View("day", _dressed(plant, line, on, page, other) if is_closed(reader, on) else page)


def _shorter(page: Page) -> Page:
    """Beside what it is compared with, a machine still fits two sheets: its losses by cause stay on the screen."""

    def on_paper(part: Part) -> Part:
        losses = isinstance(part, Section) and part.sheet is not None and part.sheet.name.startswith("causes")
        return replace(part, on_screen=True) if losses and isinstance(part, Section) else part

    return replace(page, sections=tuple(on_paper(part) for part in page.sections))
