"""The laboratory: a furnace on a production day."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.ledger import Reader
from pipelines.pages.made_pages import Make
from pipelines.pages.places.report_files import newest_day
from pipelines.pages.view import View, view_of
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.addresses import laboratory_address
from pipelines.reports.all_reports import ALL_REPORTS


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
        return web.show(
            request, ("laboratory", furnace, on), _made(web, furnace, on), web.desk.opened.plant.clock.day(on)
        )

    return routes


def _made(web: Web, furnace: str, on: date) -> Make:
    def make(reader: Reader, plant: Plant) -> View:
        kept = web.desk.kept(laboratory_address(on, furnace), plant.clock.day(on))
        page = kept[0] if kept is not None else ALL_REPORTS["laboratory"].page(reader, plant, furnace, on)
        others = tuple((each, f"/{laboratory_address(on, each)}") for each in plant.furnaces if each != furnace)
        return View(**{**vars(view_of("laboratory", page)), "links": (*page.links, *others)})

    return make
