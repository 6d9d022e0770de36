"""Weights: a line on a production day."""

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
from pipelines.reports.addresses import weights_address
from pipelines.reports.all_reports import ALL_REPORTS


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
        return web.show(request, ("weights", line, on), _made(web, line, on), web.desk.opened.plant.clock.day(on))

    return routes


def _made(web: Web, line: str, on: date) -> Make:
    def make(reader: Reader, plant: Plant) -> View:
        kept = web.desk.kept(weights_address(on, line), plant.clock.day(on))
        page = kept[0] if kept is not None else ALL_REPORTS["weights"].page(reader, plant, line, on)
        others = tuple((each, f"/{weights_address(on, each)}") for each in plant.lines if each != line)
        return View(**{**vars(view_of("weights", page)), "links": (*page.links, *others)})

    return make
