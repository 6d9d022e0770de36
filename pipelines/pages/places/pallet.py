"""A pallet: what is on it, what was called while it passed, who holds it."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines.answers.trace.contents import answer_contents
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.addresses import mould_address
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Web
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import Figure, Page, Section
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.trace.contents import defects_sheet, parts_sheet, signals_then, states_sheet
from pipelines.words import say, worded
from schemas.answers.contents import PalletContents


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/pallet/{pallet:path}")
    def pallet(request: Request, pallet: str) -> Response:
        """What is on a pallet."""
        return web.show(request, PageQuestion(("pallet", pallet), partial(_made, pallet)))

    return routes


def _made(pallet: str, reader: Reader, plant: Plant) -> View:
    reader = reader.noting()
    contents = answer_contents(reader, plant, pallet)
    return View("trace", _page(plant, contents, queries_words(frozenset(reader.asked))))


def _page(plant: Plant, contents: PalletContents, sources: str) -> Page:
    unknown = say("None by its challenges. What a station that nobody challenged lets by is not known.")
    doubts = contents.doubts or (unknown,)
    return Page(
        say("Pallet {pallet}", pallet=contents.pallet),
        say(
            "{line}, item {item}, packed {span}",
            line=contents.line,
            item=contents.item,
            span=span_words(plant, Span(contents.packed_from, contents.packed_to)),
        ),
        (
            Section(say("Holds on it"), items=_holds(contents), warn=bool(contents.holds), wide=True),
            Section(say("What made it"), contents.notes, sheet=_parts(plant, contents), wide=True),
            Section(say("What was called, and what can have got past"), sheet=defects_sheet(contents), wide=True),
            Section(say("Signals open then"), sheet=signals_then(plant, contents), wide=True),
            Section(say("Stations in doubt then"), items=doubts, warn=bool(contents.doubts), wide=True),
            Section(say("What the warehouse said"), sheet=states_sheet(plant, contents), wide=True),
        ),
        _figures(contents),
        _links(contents),
        (CAUTION, GLASS),
        (sources,),
    )


def _figures(contents: PalletContents) -> tuple[Figure, ...]:
    held = say("held") if contents.holds else say("no hold")
    return (
        Figure(count(contents.units), say("containers on it"), say("by the pallets feed")),
        Figure(worded(contents.state), say("state"), say("as the warehouse said last")),
        Figure(held, say("holds"), "", "critical" if contents.holds else ""),
    )


def _holds(contents: PalletContents) -> tuple[str, ...]:
    held = tuple(say("hold {name}", name=name) for name in contents.holds)
    return held or (say("None. To hold it, trace from it and propose: an authorised person decides."),)


def _links(contents: PalletContents) -> tuple[tuple[str, str], ...]:
    return (
        (say("trace from this pallet"), f"/trace?pallet={quote(contents.pallet)}"),
        (say("the line in its hour"), f"/hour/{contents.line}?at={contents.packed_from:%Y-%m-%dT%H:%M}Z"),
        *((say("hold {name}", name=name), f"/holds/{name}") for name in contents.holds),
        *(
            ()
            if contents.holds
            else ((say("Place a hold"), f"/holds?pallets={quote(contents.pallet)}#form-place-a-hold"),)
        ),
    )


def _parts(plant: Plant, contents: PalletContents) -> Sheet:
    sheet = parts_sheet(plant, contents)
    links = {(n, "mould"): mould_address(contents.line, part.mould) for n, part in enumerate(contents.parts)}
    return replace(sheet, links=links)
