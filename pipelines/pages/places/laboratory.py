"""The laboratory: a furnace on a production day."""

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
from pipelines.reports.addresses import laboratory_address
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/laboratory")
    def some_furnace() -> Response:
        return go(f"/laboratory/{next(iter(web.desk.opened.plant.furnaces))}")

    @routes.get("/laboratory/{furnace}")
    def newest(furnace: str) -> Response:
        """Leads to the newest page of a furnace."""
        on = newest_day(web, "laboratory", known(web, "furnace", furnace))
        return go(f"/{laboratory_address(on, furnace)}")

    @routes.get("/laboratory/{day}/{furnace}.html")
    def laboratory(request: Request, day: str, furnace: str) -> Response:
        """The laboratory's day of a furnace."""
        known(web, "furnace", furnace)
        on = typed.day(day)
        return web.show(request, _question(web, furnace, on))

    return routes


def _question(web: Web, furnace: str, on: date) -> PageQuestion:
    def dressed(page: Page, plant: Plant) -> View:
        others = tuple((each, f"/{laboratory_address(on, each)}") for each in plant.furnaces if each != furnace)
        return View(**{**vars(view_of("laboratory", page)), "links": (*page.links, *others)})

    def make(reader: Reader, plant: Plant) -> View:
        return dressed(ALL_REPORTS["laboratory"].page(reader, plant, furnace, on), plant)

    def shown(page: Page, then: State, now: State) -> View | None:
        return dressed(page, web.desk.plant) if then == now else None

    window, kept_at = web.desk.opened.plant.clock.day(on), laboratory_address(on, furnace)
    return PageQuestion(("laboratory", furnace, on), make, window, REACH, acts=(), kept_at=kept_at, shown=shown)
