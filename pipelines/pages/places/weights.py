"""Weights: a line on a production day."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.pages.places.day_of_one import day_of_one
from pipelines.pages.places.report_files import newest_day
from pipelines.pages.web import Web, go, known
from pipelines.reports.addresses import weights_address


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/weights")
    def some_line() -> Response:
        return go(f"/weights/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/weights/{line}")
    def newest(line: str) -> Response:
        """Leads to the newest page of a line."""
        on = newest_day(web, "weights", known(web, "line", line), [line])
        return go(f"/{weights_address(on, line)}")

    @routes.get("/weights/{day}/{line}.html")
    def weights(request: Request, day: str, line: str) -> Response:
        """Weights of a line on a production day."""
        known(web, "line", line)
        on = typed.day(day)
        return web.show(request, day_of_one(web, "weights", line, on, weights_address))

    return routes
