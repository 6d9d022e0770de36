"""Signals: all of a time, one of them hour by hour, and that somebody has seen it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.answers.now import newest_count
from pipelines.answers.signals import HOUR, kept_signals, ranked, with_notes
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.jobs.signals import acknowledge_signal
from pipelines.ledger import Reader
from pipelines.measures.signals.sentences import recalled_signal
from pipelines.numbers import count
from pipelines.pages.addresses import local, mould_address
from pipelines.pages.again import page_of
from pipelines.pages.forms import Mistakes, Sent, choice, form, moment
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import Figure, Page, Section, Special
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.signals import COUNTED, LISTED, LOST, PLACE, place_words, signal_card, signals_sheet
from pipelines.words import say
from schemas.answers.signals import Signal

STATES = ("", "open", "over")
DAY = timedelta(hours=24)
HOURS = (Column("hour", say("Until"), "id"), PLACE, *COUNTED, LOST)
Word = Annotated[str | None, Query(max_length=100)]
Token = Annotated[str, Form(max_length=400)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    _seen(routes, web)
    web.forms["GET", "/signals"] = partial(_stands, web)

    @routes.get("/signals")
    def signals(
        request: Request,
        line: Word = None,
        defect: Word = None,
        state: Word = None,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """The signals of the newest day of counts, or of a window; of all lines or one; open, over, or both."""
        chosen = Chosen(line or "", defect or "", state or "", span_asked(web, start, to, "page"))
        if chosen.line:
            known(web, "line", chosen.line)
        if chosen.state not in STATES:
            text = say("state is open or over, or is left out; not '{shown}'", shown=typed.shown(chosen.state))
            raise Mistakes({"state": text})
        return web.show(request, PageQuestion(("signals", chosen), partial(_listed, chosen), chosen.span))

    @routes.get("/signals/{signal}")
    def of_name(request: Request, signal: str) -> Response:
        """One signal, as it stood at the end of each hour."""
        return web.show(request, PageQuestion(("signal", signal), partial(_single, signal)))

    return routes


def _seen(routes: APIRouter, web: Web) -> None:
    @routes.post("/signals/{signal}/acknowledge")
    def acknowledge(
        request: Request,
        signal: str,
        note: Annotated[str, Form(max_length=300)] = "",
        to: Annotated[str, Form(max_length=2000)] = "",
        form_token: Token = "",
    ) -> Response:
        """Keep that somebody has seen a signal."""
        person = web.acting(request, form_token, "acknowledge", f"signal {signal}")
        acknowledge_signal(web.desk.opened, signal, person.name, note)
        web.note(person.name, "acknowledge", signal, note or "seen")
        web.desk.wrote()
        web.say_next(
            request,
            web.texts(request).say(
                say("{signal}: kept that you have seen it. It stays open until its rate is back.", signal=signal)
            ),
        )
        return go(local(to))


@dataclass(frozen=True)
class Chosen:
    """Which signals are asked for; empty: all. span: None for the newest day of counts."""

    line: str
    defect: str
    state: str
    span: Span | None


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The choice stands under the signals of the newest day."""
    everything = Chosen("", "", "", None)
    return page_of(web, request, PageQuestion(("signals", everything), partial(_listed, everything))), "choose"


def _listed(chosen: Chosen, reader: Reader, plant: Plant) -> View:
    reader, newest = reader.noting(), newest_count(reader)
    if newest is None:
        return View("signals", Page(say("Signals"), say("no count was taken in yet"), ()))
    span = chosen.span or _newest_day(plant, newest)
    kept = with_notes(reader, kept_signals(reader, span.start, span.end, [chosen.line] if chosen.line else None))
    excesses = ranked([signal for signal in kept if signal.kind == "excess" and _asked(signal, chosen)])
    sheet = _linked(plant, excesses, span.end)
    open_now = [signal for signal in excesses if signal.ended is None]
    return View(
        "signals",
        Page(
            say("Signals"),
            span_words(plant, span),
            (
                Section(say("What is not chance"), _none(excesses), sheet=sheet, wide=True),
                _choose(plant, chosen, span),
            ),
            (
                Figure(count(len(open_now)), say("open"), say("of {all} in this time", all=count(len(excesses)))),
                Figure(
                    count(sum(s.lost_per_hour for s in open_now)), say("containers lost an hour"), say("by the open")
                ),
                Figure(count(sum(s.acknowledged_by is None for s in open_now)), say("of the open seen by nobody"), ""),
            ),
            cautions=(CAUTION,),
            sources=(queries_words(frozenset(reader.asked)),),
        ),
    )


def _newest_day(plant: Plant, newest: datetime) -> Span:
    end = plant.clock.hour_of(newest).end
    return Span(end - DAY, end)


def _asked(signal: Signal, chosen: Chosen) -> bool:
    over = signal.ended is not None
    return chosen.defect in ("", signal.defect) and chosen.state in ("", "over" if over else "open")


def _none(mine: list[Signal]) -> tuple[str, ...]:
    return () if mine else (say("None was raised in this time of what is asked for."),)


def _linked(plant: Plant, mine: list[Signal], end: datetime) -> Sheet:
    sheet = signals_sheet(plant, mine, end, columns=LISTED)
    links = {(n, "line"): f"/hour/{row['line']}" for n, row in enumerate(sheet.rows)}
    return replace(sheet, links=links)


def _choose(plant: Plant, chosen: Chosen, span: Span) -> Special:
    lines = [("", say("all lines")), *((line, line) for line in plant.lines)]
    defects = [("", say("all defects")), *((code, f"{code} {each.name}") for code, each in plant.defects.items())]
    states = [("", say("open and over")), ("open", say("open")), ("over", say("over"))]
    fields = [
        choice("line", say("Line"), lines, chosen.line),
        choice("defect", say("Defect"), defects, chosen.defect),
        choice("state", say("State"), states, chosen.state),
        moment("from", say("From"), plant.clock.typed(span.start), plant),
        moment("to", say("To"), plant.clock.typed(span.end), plant),
    ]
    return form(say("Choose"), "/signals", fields, (("", say("Show")),), method="get", wide=True)


def _single(name: str, reader: Reader, plant: Plant) -> View:
    reader = reader.noting()
    hours = reader.ask("signal_by_name", signal=name)
    if hours.is_empty():
        raise Refused(404, say("there is no signal '{name}'", name=name[:80]))
    kept = [recalled_signal(Signal.model_validate_json(text)) for text in hours["told"]]
    last, end = with_notes(reader, kept[-1:])[0], hours["hour"][-1] + HOUR
    rows = [
        {
            "hour": plant.clock.show(hour + HOUR),
            "place": place_words(plant, signal),
            "calls": signal.calls,
            "expected": signal.expected,
            "ware": signal.ware,
            "lost": signal.lost_per_hour,
        }
        for hour, signal in zip(hours["hour"], kept, strict=True)
    ][::-1]
    sections = (
        Section(
            say("What is known"), cards=(signal_card(plant, last, end),) if last.kind == "excess" else (), wide=True
        ),
        Section(say("Hour by hour"), sheet=Sheet("hours", say("Hour by hour"), HOURS, rows), wide=True),
    )
    when = say("{defect} {name} on {line}", defect=last.defect, name=last.name, line=last.line)
    return View(
        "signals",
        Page(
            say("Signal {name}", name=name),
            when,
            sections,
            links=_links(last, hours["hour"][-1]),
            cautions=(CAUTION, GLASS),
            sources=(queries_words(frozenset(reader.asked)),),
        ),
    )


def _links(signal: Signal, hour: datetime) -> tuple[tuple[str, str], ...]:
    """Where its ware, its place and its hour are."""
    made = {"made_from": f"{signal.formed_low:%Y-%m-%dT%H:%M}Z"}
    if signal.ended is not None:
        made["made_to"] = f"{signal.ended - (signal.onset - signal.formed):%Y-%m-%dT%H:%M}Z"
    trace = {"line": signal.line, "defect": signal.defect, **made}
    moulds = signal.moulds if signal.scope == "mould" else ()
    return (
        (say("its ware and pallets"), f"/trace?{urlencode(trace)}"),
        (say("the machine"), f"/moulds/{signal.line}?{urlencode({'hours': 12, 'defect': signal.defect})}"),
        (say("the line in time"), f"/times/{signal.line}?{urlencode({'hours': 24, 'defect': signal.defect})}"),
        (say("the hour"), f"/hour/{signal.line}?at={hour:%Y-%m-%dT%H:%M}Z"),
        *((say("mould {mould}", mould=mould), mould_address(signal.line, mould)) for mould in moulds),
    )
