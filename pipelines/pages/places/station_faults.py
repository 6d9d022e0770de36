"""Clocks and counts that cannot be right: of the newest hours, or of a window."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.now import newest_count
from pipelines.answers.station_faults import answer_station_faults
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.feeds import faults_sheet, sure_words
from pipelines.reports.frame.page import Figure, Page, Section
from pipelines.words import say

NEWEST = timedelta(hours=8)
_ADVICE = say(
    "Nothing was changed: a clock is set at the station, a log is corrected by whoever keeps it. Rows "
    "already kept under a wrong clock are read again with the error that [[clock]] in works.toml names by"
    " `coldledger rebuild --from-archive`."
)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/feeds/doubts")
    def doubts(
        request: Request,
        line: Annotated[str | None, Query(max_length=64)] = None,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """Clocks and counts that cannot be right, of all lines or of one; in the newest hours, or from one time to
        another.
        """
        span = span_asked(web, start, to, "page")
        if line is not None:
            known(web, "line", line)
        question = PageQuestion(
            ("doubts", line, span), lambda reader, plant: doubts_view(reader, plant, line, span), span
        )
        return web.show(request, question)

    return routes


_SOURCES = say(
    "queries: sql/out/station_minutes.sql, sql/out/arrival_leads.sql, sql/out/ware_by_window.sql, "
    "sql/out/mould_spans_of_line.sql"
)


def doubts_view(reader: Reader, plant: Plant, line: str | None, span: Span | None) -> View:
    """Those of the newest hours, or of a window."""
    newest = newest_count(reader)
    if span is None and newest is None:
        return View(
            "feeds",
            Page(say("Clocks and counts in doubt"), say("nothing came yet"), (), links=((say("← Feeds"), "/feeds"),)),
        )
    shown = span or Span(newest - NEWEST, newest)  # type: ignore[operator, arg-type]
    faults = answer_station_faults(reader, plant, shown, (line,) if line else ())
    certain = sum(fault.certain for fault in faults)
    figures = (
        Figure(count(certain), say("certain"), say("nothing else explains them"), "critical" if certain else ""),
        Figure(count(len(faults) - certain), say("guesses"), say("to be looked at")),
    )
    texts = (_ADVICE,) if faults else (say("Nothing was found that cannot be right."),)
    sheet = faults_sheet(plant, faults, say("Clocks and counts in doubt"), say("Certain ones first."))
    when = span_words(plant, shown)
    words = tuple(
        say("{line}, {sure}: {sentence}.", line=each.line, sure=sure_words(each), sentence=each.sentence)
        for each in faults
    )
    parts = [Section(say("What cannot be right"), texts=texts, items=words, warn=bool(certain), wide=True)]
    parts += [Section(say("As a table"), sheet=sheet, wide=True)] if faults else []
    return View(
        "feeds",
        Page(
            say("Clocks and counts in doubt"),
            when,
            tuple(parts),
            figures,
            ((say("← Feeds"), "/feeds"),),
            sources=(_SOURCES,),
        ),
    )
