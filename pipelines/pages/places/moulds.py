"""Moulds: a line's machine, cavity by cavity."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.answers.now import newest_hour
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.pareto.cavities import OWN, CavityState
from pipelines.numbers import count, decimals, percent
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent, choice, field, form
from pipelines.pages.machine import cavity_name, machine_part, short_place
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import Figure, Page, Special
from pipelines.reports.frame.sources import sources
from pipelines.words import joined, say

LIVE_S = 30
HOURS, SHIFT_HOURS = 4, 8  # that the map of cavities looks back; also offered
Word = Annotated[str | None, Query(max_length=100)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["GET", "/moulds/{line}"] = partial(_stands, web)

    @routes.get("/moulds")
    def some_moulds() -> Response:
        return go(f"/moulds/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/moulds/{line}")
    def moulds(
        request: Request,
        line: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
        hours: Annotated[int, Query(ge=1, le=168)] = HOURS,
        defect: Word = None,
    ) -> Response:
        """The cavities of a line's machine: in the newest hours, or from one time to another; of all defects, or of
        one.
        """
        known(web, "line", line)
        fixed = span_asked(web, start, to, "page")
        return web.show(request, cavity_map(web, line, fixed, hours, defect or None))

    return routes


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The choice stands under the newest hours of the machine."""
    return page_of(
        web, request, cavity_map(web, known(web, "line", request.path_params["line"]), None, HOURS, None)
    ), "choose"


def cavity_map(web: Web, line: str, fixed: Span | None, hours: int, defect: str | None) -> PageQuestion:
    """The map as it is kept for all readers: of the newest hours, or of a fixed window; of one defect or all."""

    def make(reader: Reader, plant: Plant) -> View:
        span = fixed
        if span is None:
            end = _line_end(web, reader, plant, line)
            span = Span(end - timedelta(hours=hours), end)
        return moulds_view(reader, plant, line, span, defect, LIVE_S if fixed is None else 0, hours)

    return PageQuestion(("moulds", line, fixed, hours, defect), make, fixed)


def _line_end(web: Web, reader: Reader, plant: Plant, line: str) -> datetime:
    span = newest_hour(reader, plant, line, web.desk.now())
    return span.end if span is not None else web.desk.now()


def moulds_view(
    reader: Reader, plant: Plant, line: str, span: Span, defect: str | None, refresh_s: int, hours: int
) -> View:
    """The cavity map of a line's machine, and the same as a table."""
    reader = reader.noting()
    machine = answer_moulds(reader, plant, line, span, defect)
    what = say("{defect} {name}", defect=defect, name=plant.defects[defect].name) if defect else say("all defects")
    clock = plant.clock
    here = (
        ("from", clock.typed(span.start)),
        ("to", clock.typed(span.end)),
    )
    fixed = f"?{here[0][0]}={here[0][1]}&{here[1][0]}={here[1][1]}" if not refresh_s else f"?hours={hours}"
    others = [(each, f"/moulds/{each}{fixed}") for each in plant.lines if each != line]
    links = (
        *others,
        (say("this hour of the line"), f"/hour/{line}"),
        (say("for a big screen"), f"/moulds/{line}{fixed}&wall=1" + (f"&defect={quote(defect)}" if defect else "")),
    )
    return View(
        "moulds",
        Page(
            say("{line}: cavities, {what}", line=line, what=what),
            say("{span}, by the cold-end clock", span=span_words(plant, span)),
            (machine_part(plant, machine, f"/moulds/{line}{fixed}"), _choose(plant, machine, here, refresh_s, hours)),
            _figures(machine),
            links,
            (CAUTION, GLASS),
            sources(reader.asked, machine.files),
            say(
                "Cavities by the mould log at forming, {minutes} min before the station ({source}).",
                minutes=decimals(machine.lehr.minutes),
                source=machine.lehr.source,
            ),
        ),
        refresh_s=refresh_s,
    )


def _figures(machine: MachineNow) -> tuple[Figure, ...]:
    going_on = [s for s in machine.signals if s.ended is None]
    named = [c for c in machine.cavities if c.level in OWN]
    critical = sum(c.critical for c in machine.cavities)
    severe = any(s.severity == "critical" for s in going_on) or any(c.level == "far" for c in named)
    return (
        Figure(
            count(len(going_on)),
            say("signals going on here"),
            joined(", ", (f"{s.defect} {short_place(s)}" for s in going_on[:4])) or say("none"),
            "critical" if severe else "",
        ),
        _named(machine, named),
        Figure(
            count(machine.calls),
            say("calls"),
            say("{placed} of them with a cavity that is known", placed=percent(machine.placed, 0)),
        ),
        Figure(
            count(critical),
            say("critical calls with a known cavity"),
            say("those without stand on the hour's page"),
            "critical" if critical else "",
        ),
    )


def _named(machine: MachineNow, named: Sequence[CavityState]) -> Figure:
    """How many cavities stand out; not known where none could be judged."""
    what = say("cavities beyond what signals explain")
    if not any(c.expected is not None for c in machine.cavities):
        return Figure("–", what, say("not judged"))
    which = joined(", ", (f"{cavity_name(c)} {c.cells[0].defect}" for c in named[:6]))
    return Figure(count(len(named)), what, which or say("none"))


def _choose(
    plant: Plant, machine: MachineNow, here: tuple[tuple[str, str], ...], refresh_s: int, hours: int
) -> Special:
    every = [
        ("", say("all defects")),
        *((code, say("{code} {name}", code=code, name=each.name)) for code, each in plant.defects.items()),
    ]
    fields = [choice("defect", say("Defect"), every, machine.defect or "")]
    if refresh_s:
        fields.append(field("hours", say("The newest hours"), hours, kind="number", most=3, hint=say("1 to 168")))
    return form(
        say("Choose"),
        f"/moulds/{machine.line}",
        fields,
        (("", say("Show")),),
        method="get",
        hidden=() if refresh_s else here,
    )
