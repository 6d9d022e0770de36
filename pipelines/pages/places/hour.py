"""An hour of a line: the newest, renewed by itself, or any."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.answers.now import newest_hour
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.pages.page_question import PageQuestion, State
from pipelines.pages.times_asked import moment
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.addresses import hour_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page
from pipelines.words import say

HOUR_NAME = re.compile(r"(?P<line>[^/]+)-(?P<number>\d\d)-\d{4}")
LIVE_S = 30
Word = Annotated[str | None, Query(max_length=100)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/hour")
    def some_hour() -> Response:
        return go(f"/hour/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/hour/{line}")
    def newest(request: Request, line: str, at: Word = None) -> Response:
        """A line's newest hour, renewed by itself; or the hour that holds `at`."""
        known(web, "line", line)
        asked = moment(web, at)
        if asked is not None:
            hour = web.desk.plant.clock.hour_of(asked)
            typed.within_days(at or "", web.desk.plant.clock.day_of(hour.start))
            return go(f"/{hour_address(web.desk.plant, line, hour)}")

        return web.show(request, live_hour(web, line))

    @routes.get("/hour/{day}/{name}.html")
    def hour(request: Request, day: str, name: str) -> Response:
        """One hour of one line."""
        found = HOUR_NAME.fullmatch(name)
        if not found:
            raise Refused(404, say("'{name}' is not the page of an hour", name=name[:80]))
        line, plant = known(web, "line", found["line"]), web.desk.plant
        hours = plant.clock.hours_of(typed.day(day))
        if not 1 <= int(found["number"]) <= len(hours):
            raise Refused(404, say("production day {day} has {hours} hours", day=day, hours=len(hours)))
        span = hours[int(found["number"]) - 1]
        return web.show(request, fixed_hour(web, line, span))

    return routes


def live_hour(web: Web, line: str) -> PageQuestion:
    """A line's newest hour."""

    def make(reader: Reader, plant: Plant) -> View:
        span = _newest_hour(web, reader, plant, line)
        return _hour(plant, line, span, ALL_REPORTS["hour"].page(reader, plant, line, span), LIVE_S)

    return PageQuestion(("hour", line), make)


def fixed_hour(web: Web, line: str, span: Span) -> PageQuestion:
    """An hour of a line, as an intake kept it where nothing of it has changed since."""

    def make(reader: Reader, plant: Plant) -> View:
        return _hour(plant, line, span, ALL_REPORTS["hour"].page(reader, plant, line, span))

    def shown(page: Page, then: State, now: State) -> View | None:
        return _hour(web.desk.plant, line, span, page) if then == now else None

    kept_at = hour_address(web.desk.plant, line, span)
    return PageQuestion(("hour", line, span), make, span, acts=("acknowledgements",), kept_at=kept_at, shown=shown)


def _newest_hour(web: Web, reader: Reader, plant: Plant, line: str) -> Span:
    """The whole hour of a line's newest count; the clock's hour where it has none."""
    span = newest_hour(reader, plant, line, web.desk.now())
    return plant.clock.hour_of(span.start if span is not None else web.desk.now())


def _hour(plant: Plant, line: str, span: Span, page: Page, live: int = 0) -> View:
    here, end = plant.clock.typed(span.start), plant.clock.typed(span.end)
    moulds = (say("the cavities in this hour"), f"/moulds/{line}?from={here}&to={end}")
    newest = (say("the newest hour"), f"/hour/{line}")
    times = (say("the line in time"), f"/times/{line}" if live else f"/times/{line}?from={here}&to={end}")
    links = (*page.links, *(() if live else (newest,)), times, moulds)
    return View("hour", replace(page, links=links), live, sometimes=("signals",))
