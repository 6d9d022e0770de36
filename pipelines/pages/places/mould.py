"""A mould: where it sat, what was called of it, and the pallets that carry what it made."""

from __future__ import annotations

from functools import partial
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.line_times import OnlyOf
from pipelines.answers.trace.contents import answer_mould
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.addresses import mould_address
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent
from pipelines.pages.in_time import drawn_around, time_parts
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, known
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure, Page, Part, Section
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.trace.contents import calls_sheet, carried_sheet, stays_sheet
from pipelines.words import say
from schemas.answers.contents import MouldLife

MOST_PALLETS = 60  # the newest, on the page; the command has all of them


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    web.forms["GET", "/mould/{line}/{mould:path}"] = partial(_stands, web)

    @routes.get("/mould/{line}/{mould:path}")
    def mould(
        request: Request,
        line: str,
        mould: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """The life of a mould on a line; `from` and `to` choose a window of its picture."""
        known(web, "line", line)
        return web.show(request, _asked(web, line, mould, span_asked(web, start, to, "page")))

    return routes


def _asked(web: Web, line: str, mould: str, chosen: Span | None) -> PageQuestion:
    return PageQuestion(("mould", line, mould, chosen), partial(_made, web, line, mould, chosen))


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The form of a window stands under the newest hours of the mould."""
    line, mould = known(web, "line", request.path_params["line"]), request.path_params["mould"]
    return page_of(web, request, _asked(web, line, mould, None)), "a-window"


def _made(web: Web, line: str, mould: str, chosen: Span | None, reader: Reader, plant: Plant) -> View:
    reader, now = reader.noting(), web.desk.now()
    life = answer_mould(reader, plant, line, mould)
    parts: tuple[Part, ...] = ()
    if life.from_ is not None:
        span = drawn_around(reader, plant, line, chosen, now)
        address = mould_address(line, mould)
        parts = time_parts(reader, plant, line, OnlyOf(mould=mould), span, chosen, address, now)
    return View("moulds", _page(plant, life, parts, queries_words(frozenset(reader.asked))))


def _page(plant: Plant, life: MouldLife, parts: tuple[Part, ...], sources: str) -> Page:
    title = say("Mould {mould} on {line}", mould=life.mould, line=life.line)
    machine = ((say("the machine of {line}", line=life.line), f"/moulds/{life.line}"),)
    if life.from_ is None:
        section = Section(say("Not told by the mould log"), (*life.impossible, *life.nearest), wide=True, warn=True)
        return Page(title, "", (section,), links=machine, sources=(sources,))
    return Page(
        title,
        say("fitted {start}", start=plant.clock.show(life.from_)),
        (
            *parts,
            Section(say("What was called of it"), life.notes, sheet=calls_sheet(life), wide=True),
            Section(say("Where it sat"), sheet=stays_sheet(plant, life), wide=True),
            Section(say("Pallets that carry what it made"), _shown(life), sheet=_carried(plant, life), wide=True),
        ),
        (
            Figure(count(life.containers), say("containers seen of it"), say("unread ware shared out in proportion")),
            Figure(count(len(life.pallets)), say("pallets carry it"), ""),
        ),
        ((say("trace from this mould"), f"/trace?{urlencode({'line': life.line, 'mould': life.mould})}"), *machine),
        (CAUTION, GLASS),
        (sources,),
    )


def _shown(life: MouldLife) -> tuple[str, ...]:
    if len(life.pallets) <= MOST_PALLETS:
        return ()
    return (say("The newest {most} of {pallets}.", most=MOST_PALLETS, pallets=count(len(life.pallets))),)


def _carried(plant: Plant, life: MouldLife) -> Sheet:
    """The pallets, the newest first."""
    newest = life.model_copy(update={"pallets": life.pallets[::-1][:MOST_PALLETS]})
    return carried_sheet(plant, newest)
