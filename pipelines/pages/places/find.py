"""The box that takes the name of anything: one thing of that name is shown, several are listed."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.find import LEAST_DIGITS, Named, named, nearest
from pipelines.pages.addresses import address_of
from pipelines.pages.view import View
from pipelines.pages.web import Web, go
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import beginning, say, worded

COLUMNS = (Column("name", say("Name"), "id"), Column("kind", say("What")), Column("of", say("Line"), "id"))


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/find")
    def find(request: Request, q: Annotated[str, Query(max_length=100)] = "") -> Response:
        """What a name means: its page where it means one thing, else all that it can mean."""
        web.must_read(request)
        with web.desk.opened.ledger.reading() as reader:
            found = named(reader, web.desk.plant, q)
            near = [] if found or len(q.strip()) < LEAST_DIGITS else nearest(reader, q)
        line = next(iter(web.desk.plant.lines))
        if len(found) == 1:
            return go(address_of(found[0], line))
        return web.show_own(request, _view(q.strip(), found, near, line))

    return routes


def _view(text: str, found: list[Named], near: list[Named], line: str) -> View:
    if found:
        words: tuple[str, ...] = (say("{number} things have this name or end with it.", number=len(found)),)
    elif not text:
        words = (
            say(
                "Type a line, station, mould, pallet or its last {least} digits, signal, item, defect, complaint "
                "or hold.",
                least=LEAST_DIGITS,
            ),
        )
    else:
        words = (say("Nothing here is called so."),)
    if near:
        words = (*words, say("Pallets whose identity is nearest:"))
    rows = [{"name": each.name, "kind": beginning(worded(each.kind)), "of": each.of} for each in (*found, *near)]
    links = {(n, "name"): address_of(each, line) for n, each in enumerate((*found, *near))}
    sheet = Sheet("found", say("Found"), COLUMNS, rows, links=links) if rows else None
    return View(
        "", Page(say("Found"), text, (Section(say("What it can be"), words, sheet=sheet, wide=True),), cautions=())
    )
