"""A mould: where it sat, what was called of it, and the pallets that carry what it made."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines.answers.trace.contents import answer_mould
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Web, known
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure, Page, Section
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.trace.contents import calls_sheet, carried_sheet, stays_sheet
from pipelines.words import say
from schemas.answers.contents import MouldLife

MOST_PALLETS = 60  # the newest, on the page; the command has all of them


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/mould/{line}/{mould:path}")
    def mould(request: Request, line: str, mould: str) -> Response:
        """The life of a mould on a line."""
        known(web, "line", line)
        return web.show(request, PageQuestion(("mould", line, mould), partial(_made, line, mould)))

    return routes


def _made(line: str, mould: str, reader: Reader, plant: Plant) -> View:
    reader = reader.noting()
    life = answer_mould(reader, plant, line, mould)
    return View("moulds", _page(plant, life, queries_words(frozenset(reader.asked))))


def _page(plant: Plant, life: MouldLife, sources: str) -> Page:
    title = say("Mould {mould} on {line}", mould=life.mould, line=life.line)
    machine = ((say("the machine of {line}", line=life.line), f"/moulds/{life.line}"),)
    if life.from_ is None:
        section = Section(say("Not told by the mould log"), (*life.impossible, *life.nearest), wide=True, warn=True)
        return Page(title, "", (section,), links=machine, sources=(sources,))
    return Page(
        title,
        say("fitted {start}", start=plant.clock.show(life.from_)),
        (
            Section(say("What was called of it"), life.notes, sheet=calls_sheet(life), wide=True),
            Section(say("Where it sat"), sheet=stays_sheet(plant, life), wide=True),
            Section(say("Pallets that carry what it made"), _shown(life), sheet=_carried(plant, life), wide=True),
        ),
        (
            Figure(count(life.containers), say("containers seen of it"), say("unread ware shared out in proportion")),
            Figure(count(len(life.pallets)), say("pallets carry it"), ""),
        ),
        ((say("trace from this mould"), f"/trace?line={life.line}&mould={life.mould}"), *machine),
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
