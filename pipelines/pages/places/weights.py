"""Weights: a line on a production day."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.ledger import Reader
from pipelines.pages.page_question import REACH, PageQuestion, State
from pipelines.pages.places.report_files import newest_day
from pipelines.pages.view import View, view_of
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.addresses import weights_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/weights")
    def some_line() -> Response:
        return go(f"/weights/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/weights/{line}")
    def newest(line: str) -> Response:
        """Leads to the newest page of a line."""
        on = newest_day(web, "weights", known(web, "line", line))
        return go(f"/{weights_address(on, line)}")

    @routes.get("/weights/{day}/{line}.html")
    def weights(request: Request, day: str, line: str) -> Response:
        """Weights of a line on a production day."""
        known(web, "line", line)
        on = typed.day(day)
        return web.show(request, _question(web, line, on))

    return routes


def _question(web: Web, line: str, on: date) -> PageQuestion:
    def dressed(page: Page, plant: Plant) -> View:
        others = tuple((each, f"/{weights_address(on, each)}") for each in plant.lines if each != line)
        return View(**{**vars(view_of("weights", page)), "links": (*page.links, *others)})

    def make(reader: Reader, plant: Plant) -> View:
        return dressed(ALL_REPORTS["weights"].page(reader, plant, line, on), plant)

    def shown(page: Page, then: State, now: State) -> View | None:
        return dressed(page, web.desk.plant) if then == now else None

    window, kept_at = web.desk.opened.plant.clock.day(on), weights_address(on, line)
    return PageQuestion(("weights", line, on), make, window, REACH, acts=(), kept_at=kept_at, shown=shown)
