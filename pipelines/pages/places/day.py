"""A production day as its close wrote it, or what is known before its close."""

from __future__ import annotations

import re
from datetime import date, timedelta
from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.ledger import Reader
from pipelines.pages.page_question import REACH, PageQuestion, State
from pipelines.pages.places.report_files import kept_file, newest_close
from pipelines.pages.view import View
from pipelines.pages.web import Web, go
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, hour_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page, Section
from pipelines.words import say

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
        return go(
            f"/{day_address(closed[-1])}" if closed else f"/day/{web.desk.plant.clock.day_of(web.desk.now())}.html"
        )

    @routes.get("/day/{name}.html")
    def day(request: Request, name: str) -> Response:
        """The report of a production day as its close wrote it; an earlier revision as a file."""
        if re.fullmatch(r"\d{4}-\d\d-\d\d\.r\d+", name):
            return kept_file(web, request, f"day/{name}.html")
        on = typed.day(name)
        return web.show(request, day_page(web, on))

    return routes


def day_page(web: Web, on: date) -> PageQuestion:
    """A production day: its report as the close kept it, whatever came since, which it then says."""

    def shown(page: Page, then: State, now: State) -> View:
        return View("day", page, notes=() if then.last == now.last else (CAME_AFTER,))

    window = web.desk.opened.plant.clock.day(on)
    return PageQuestion(("day", on), partial(_day, on), window, REACH, kept_at=day_address(on), shown=shown)


def _day(on: date, reader: Reader, plant: Plant) -> View:
    span = plant.clock.day(on)
    if not reader.ask("closes_of_day", day=on).is_empty():
        return View("day", ALL_REPORTS["day"].page(reader, plant, on))
    hours = [
        (
            say("{line} {start}", line=line, start=f"{plant.clock.local(h.start):%H:%M}"),
            f"/{hour_address(plant, line, h)}",
        )
        for line in plant.lines
        for h in plant.clock.hours_of(on)[:1]
    ]
    words = (
        say("Production day {on} is not closed: it ends at {end}.", on=on, end=plant.clock.show(span.end)),
        say("Its yield, losses and laboratory are worked out at its close; its hours can be read as they come."),
    )
    links = (
        (say("← day before"), f"/{day_address(on - timedelta(days=1))}"),
        (say("day after →"), f"/{day_address(on + timedelta(days=1))}"),
    )
    return View(
        "day",
        Page(
            say("Production day {on}", on=on),
            say("{start} to {end}", start=plant.clock.show(span.start), end=plant.clock.show(span.end)),
            (Section(say("Not closed yet"), words, items=(), wide=True),),
            links=(*links, *hours),
        ),
    )
