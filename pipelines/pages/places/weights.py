"""Weights: a line on a production day, or in a window of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent
from pipelines.pages.in_time import window_form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.places.day_of_one import day_of_one
from pipelines.pages.places.report_files import newest_day
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.addresses import weights_address
from pipelines.reports.frame.page import Page
from pipelines.reports.weights import weights_page


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    web.forms["GET", "/weights/{day}/{line}.html"] = partial(_stands, web)

    @routes.get("/weights")
    def some_line() -> Response:
        return go(f"/weights/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/weights/{line}")
    def newest(line: str) -> Response:
        """Leads to the newest page of a line."""
        on = newest_day(web, "weights", known(web, "line", line), [line])
        return go(f"/{weights_address(on, line)}")

    @routes.get("/weights/{day}/{line}.html")
    def weights(
        request: Request,
        day: str,
        line: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """Weights of a line on a production day; `from` and `to` choose a window instead."""
        known(web, "line", line)
        on, chosen = typed.day(day), span_asked(web, start, to, "page")
        if chosen is None:
            return web.show(request, _day(web, line, on))
        return web.show(request, PageQuestion(("weights", line, chosen), partial(_window, line, chosen), chosen))

    return routes


def _day(web: Web, line: str, on: date) -> PageQuestion:
    plant = web.desk.opened.plant
    return day_of_one(
        web, "weights", line, on, weights_address, partial(_dressed, plant, line, on, plant.clock.day(on))
    )


def _dressed(plant: Plant, line: str, on: date, window: Span, page: Page) -> Page:
    """With the fields of a window, under the picture in which one can be drawn."""
    fields = window_form(plant, window, f"/{weights_address(on, line)}")
    return replace(page, sections=(*page.sections[:1], fields, *page.sections[1:]))


def _window(line: str, chosen: Span, reader: Reader, plant: Plant) -> View:
    on = plant.clock.day_of(chosen.end - timedelta(microseconds=1))
    page = weights_page(reader, plant, line, on, chosen)
    return View("weights", _dressed(plant, line, on, chosen, replace(page, workbook="")))


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The form of a window stands under the day's picture."""
    line, on = known(web, "line", request.path_params["line"]), typed.day(request.path_params["day"])
    return page_of(web, request, _day(web, line, on)), "a-window"
