"""The laboratory: a furnace on a production day."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.pages.places.day_of_one import day_of_one
from pipelines.pages.places.report_files import newest_day
from pipelines.pages.web import Web, go, known
from pipelines.reports.addresses import laboratory_address


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/laboratory")
    def some_furnace() -> Response:
        return go(f"/laboratory/{next(iter(web.desk.opened.plant.furnaces))}")

    @routes.get("/laboratory/{furnace}")
    def newest(furnace: str) -> Response:
        """Leads to the newest page of a furnace."""
        lines = [line.id for line in web.desk.plant.lines_of(known(web, "furnace", furnace))]
        on = newest_day(web, "laboratory", furnace, lines)
        return go(f"/{laboratory_address(on, furnace)}")

    @routes.get("/laboratory/{day}/{furnace}.html")
    def laboratory(request: Request, day: str, furnace: str) -> Response:
        """The laboratory's day of a furnace."""
        known(web, "furnace", furnace)
        on = typed.day(day)
        question = day_of_one(web, "laboratory", furnace, on, laboratory_address)
        return web.show(request, question)

    return routes
