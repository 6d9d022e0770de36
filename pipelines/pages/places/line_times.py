"""A line in time: its calls on one axis with two clocks, all that happened, and a window to be chosen in it."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.line_times import LineTimes, answer_line_times
from pipelines.answers.now import newest_hour
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger import Reader
from pipelines.numbers import decimals
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent, choice, form
from pipelines.pages.forms import moment as moment_field
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import moment, span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import Figure, Page, Section, Special
from pipelines.reports.frame.sources import sources
from pipelines.reports.line_times import happened_sheet, head_figure, line_picture, window_words
from pipelines.reports.missing import missing_section
from pipelines.reports.signals import signals_sheet
from pipelines.words import defect_name, say

LIVE_S = 30
HOURS, OFFERED = 12, (4, 12, 24, 72)
Word = Annotated[str | None, Query(max_length=100)]
Moment = Annotated[str | None, Query(max_length=40)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["GET", "/times/{line}"] = partial(_stands, web)

    @routes.get("/times")
    def some_line() -> Response:
        return go(f"/times/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/times/{line}")
    def times(
        request: Request,
        line: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Moment = None,
        until: Moment = None,
        hours: Annotated[int, Query(ge=1, le=168)] = HOURS,
        defect: Word = None,
    ) -> Response:
        """The newest hours of a line, or those before `until`; `from` and `to` choose a window in them."""
        known(web, "line", line)
        chosen = span_asked(web, start, to, "page")
        end = moment(web, until, "until") or (chosen.end if chosen is not None else None)
        return web.show(request, line_in_time(web, line, chosen, end, hours, defect or None))

    return routes


def line_in_time(
    web: Web, line: str, chosen: Span | None, end: datetime | None, hours: int, defect: str | None
) -> PageQuestion:
    """The page as it is kept for all readers: live where no end is told."""
    fixed = None if end is None else _picture_span(chosen, end, hours)

    def make(reader: Reader, plant: Plant) -> View:
        reader = reader.noting()
        span = fixed or _newest(web, reader, plant, line, hours)
        times = answer_line_times(reader, plant, line, span, defect)
        return _view(plant, times, chosen, None if fixed is not None else web.desk.now(), hours, reader)

    return PageQuestion(("times", line, chosen, fixed, hours, defect), make, fixed)


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The form of a window stands under the line's newest hours."""
    return page_of(
        web, request, line_in_time(web, known(web, "line", request.path_params["line"]), None, None, HOURS, None)
    ), "a-window"


def _picture_span(chosen: Span | None, end: datetime, hours: int) -> Span:
    """The hours before `end`; WrongUse where the chosen window does not lie in them."""
    span = Span(end - timedelta(hours=hours), end)
    if chosen is None:
        return span
    if chosen.end > end:
        raise WrongUse(say("`to` lies after `until`: the picture ends there"))
    return Span(min(span.start, chosen.start), end)


def _newest(web: Web, reader: Reader, plant: Plant, line: str, hours: int) -> Span:
    span = newest_hour(reader, plant, line, web.desk.now())
    end = span.end if span is not None else web.desk.now().replace(second=0, microsecond=0)
    return Span(end - timedelta(hours=hours), end)


def _view(
    plant: Plant, times: LineTimes, chosen: Span | None, now: datetime | None, hours: int, reader: Reader
) -> View:
    window = chosen or times.span
    chart, words = line_picture(plant, times, now, chosen)
    what = say(", {name}", name=defect_name(plant.defects[times.defect].name)) if times.defect is not None else ""
    return View(
        "hour",
        Page(
            say("{line} in time{what}", line=times.line, what=what),
            say("{span}, by the cold-end clock", span=span_words(plant, times.span)),
            (
                Section(say("Calls on two clocks"), _explained(times), chart, words, wide=True),
                _choose(plant, times, window, hours),
                Section(say("What happened"), sheet=happened_sheet(plant, times), wide=True),
                Section(
                    say("Signals of this time"), sheet=signals_sheet(plant, times.signals, times.span.end), wide=True
                ),
                missing_section(_doubts(plant, times)),
            ),
            (*head_figure(plant, times), *(Figure(value, text) for value, text in window_words(plant, times, window))),
            _links(plant, times, hours, now is None),
            (CAUTION, GLASS),
            sources(reader.asked, times.files),
            say(
                "Ware seen at a moment was formed {minutes} min earlier ({source}).",
                minutes=decimals(times.lehr.minutes),
                source=times.lehr.source,
            ),
        ),
        refresh_s=LIVE_S if now is not None else 0,
    )


def _explained(times: LineTimes) -> tuple[str, ...]:
    """What the picture's signs mean, in a sentence or two."""
    band = say("Grey band: what 95 of 100 such times keep by the line's own past; dashed: expected.")
    return (
        say(
            "{band} Blue: beyond it since a signal's onset. What stands below was made under the counts above it.",
            band=band,
        ),
    )


def _doubts(plant: Plant, times: LineTimes) -> list[str]:
    clock = plant.clock
    said = [
        say("{station} sends one count for {minutes} min: spread evenly here.", station=station, minutes=minutes)
        for station, minutes in times.coarse.items()
    ]
    for span in times.silent:
        start, end = clock.local(span.start), clock.local(span.end)
        said.append(
            say(
                "No counts came from the first station from {start} to {end}.",
                start=f"{start:%H:%M}",
                end=f"{end:%H:%M}",
            )
        )
    return [*said, *dict.fromkeys(times.doubts)]


def _links(plant: Plant, times: LineTimes, hours: int, past: bool) -> tuple[tuple[str, str], ...]:
    line, end = times.line, times.span.end
    more = f"&defect={quote(times.defect)}" if times.defect is not None else ""
    at = f"&until={plant.clock.typed(end)}" if past else ""
    back = plant.clock.typed(end - timedelta(hours=hours))
    return (
        (say("← earlier"), f"/times/{line}?hours={hours}&until={back}{more}"),
        *(((say("now"), f"/times/{line}?hours={hours}{more}"),) if past else ()),
        *((say("{each} h", each=each), f"/times/{line}?hours={each}{at}{more}") for each in OFFERED if each != hours),
        (say("the hour"), f"/hour/{line}?at={plant.clock.typed(end - timedelta(seconds=1))}"),
        (say("the cavities"), f"/moulds/{line}?from={plant.clock.typed(times.span.start)}&to={plant.clock.typed(end)}"),
        *((other, f"/times/{other}?hours={hours}{at}") for other in plant.lines if other != line),
    )


def _choose(plant: Plant, times: LineTimes, window: Span, hours: int) -> Special:
    """The window and the defect, by keyboard; dragging over the picture fills in the same two fields."""
    every = [
        ("", say("all defects")),
        *((code, say("{code} {name}", code=code, name=defect_name(each.name))) for code, each in plant.faults.items()),
    ]
    fields = [
        moment_field("from", say("From, by the cold-end clock"), plant.clock.typed(window.start), plant),
        moment_field("to", say("To"), plant.clock.typed(window.end), plant),
        choice("defect", say("Defect"), every, times.defect or ""),
    ]
    hidden = (("hours", str(hours)), ("until", plant.clock.typed(times.span.end)))
    return form(say("A window"), f"/times/{times.line}", fields, (("", say("Show")),), method="get", hidden=hidden)
