"""Moulds: a line's machine, cavity by cavity."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.answers.now import newest_hour
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.pareto.cavities import OWN, CavityState, Cell
from pipelines.measures.pareto.explained_calls import WHOLE, place_of
from pipelines.measures.statistics.shares import ratio
from pipelines.numbers import count, decimals, expected, percent
from pipelines.pages.addresses import mould_address
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent, choice, field, form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, go, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words, span_words
from pipelines.reports.frame.page import Figure, Page, Special
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.machine_strips import cavity_strips, whole_strip
from pipelines.reports.signals import card_name
from pipelines.words import joined, say
from schemas.answers.signals import Signal

LIVE_S = 30
HOURS, SHIFT_HOURS = 4, 8  # that the map of cavities looks back; also offered
Word = Annotated[str | None, Query(max_length=100)]
COLUMNS = (
    Column("place", say("Cavity"), "id"),
    Column("section", say("Section"), "count"),
    Column("gob", say("Gob")),
    Column("mould", say("Mould")),
    Column("calls", say("Calls"), "count"),
    Column("ware", say("Own ware"), "count"),
    Column("rate", say("Calls / own ware"), "percent"),
    Column("expected", say("Expected"), "expected"),
    Column("times", say("Times expected"), "number"),
    Column("explained", say("More by signals"), "number"),
    Column("q", say("q of the rest"), "chance"),
    Column("verdict", say("How unusual")),
    Column("signals", say("Part of")),
    Column("critical", say("Critical"), "count"),
    Column("worst", say("Most frequent")),
)


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
        (say("for a big screen"), f"/moulds/{line}{fixed}&wall=1" + (f"&defect={defect}" if defect else "")),
    )
    return View(
        "moulds",
        Page(
            say("{line}: cavities, {what}", line=line, what=what),
            say("{span}, by the cold-end clock", span=span_words(plant, span)),
            (_machine(plant, machine), _choose(plant, machine, here, refresh_s, hours)),
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
            joined(", ", (f"{s.defect} {_short(s)}" for s in going_on[:4])) or say("none"),
            "critical" if severe else "",
        ),
        Figure(
            count(len(named)),
            say("cavities beyond what signals explain"),
            joined(", ", (f"{_place(c)} {c.cells[0].defect}" for c in named[:6])) or say("none"),
        ),
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


def _short(signal: Signal) -> str:
    """A signal's place as it is marked on the machine."""
    return {"mould": ", ".join(dict.fromkeys(signal.cavities)), "line": signal.line, "furnace": signal.furnace}.get(
        signal.scope, ", ".join(signal.members)
    )


def _place(cavity_state: CavityState) -> str:
    return f"{cavity_state.section}{cavity_state.gob}"


def _words_of(cell: Cell) -> str:
    words = say("far more than usual") if cell.level == "far" else say("more than usual")
    return say("{words}: {times} times", words=words, times=decimals(cell.times, 1))


def _verdict(cavity_state: CavityState) -> str:
    """How unusual a cavity is, in a few words; what is named for itself says its defect."""
    if cavity_state.cells:
        return joined(
            "; ",
            (
                say("{defect} {words_of}", defect=cell.defect, words_of=_words_of(cell))
                for cell in cavity_state.cells[:2]
            ),
        )
    words = {
        "signal": say("part of a signal"),
        "usual": say("as usual"),
        "unknown": say("not judged"),
        "empty": say("no ware"),
    }
    return words[cavity_state.level]


def _machine(plant: Plant, machine: MachineNow) -> Special:
    places = [(c.section, c.gob) for c in machine.cavities]
    marks = [
        {"n": n + 1, "scope": s.scope, "open": s.ended is None, "held": place_of(s, places)}
        for n, s in enumerate(machine.signals)
    ]
    most, strips = max((c.calls for c in machine.cavities), default=0), cavity_strips(machine)
    sections: dict[int, list[dict[str, Any]]] = {}
    for number, cavity_state in enumerate(machine.cavities):
        mine = [mark for n, mark in enumerate(marks) if n in cavity_state.signals]
        strip = strips.get((cavity_state.section, cavity_state.gob), "")
        cavity = _cavity(cavity_state, mine, number, most) | {"strip": strip}
        sections.setdefault(cavity_state.section, []).append(cavity)
    told_of = {
        "sections": [
            {"number": n, "cavities": cavities, "framed": _framed(marks, "section", [c["number"] for c in cavities])}
            for n, cavities in sections.items()
        ],
        "gobs": plant.lines[machine.line].gob_positions,
        "framed": _framed(marks, WHOLE, list(range(len(places)))),
        "signals": [_signal(plant, machine, s, n + 1) for n, s in enumerate(machine.signals)],
        "whole": whole_strip(machine),
        "named": _named(machine),
        "judged": any(c.expected is not None for c in machine.cavities),
        "doubts": machine.doubts,
        "against": machine.against,
        "unread": percent(machine.unread, 0),
        "unfitted": percent(machine.unfitted, 1),
        "placed": percent(machine.placed, 0),
    }
    warn = any(s.ended is None for s in machine.signals) or any(
        c.level == "far" or c.critical for c in machine.cavities
    )
    return Special("machine", say("The machine"), told_of, _sheet(machine), warn=warn)


def _framed(marks: list[dict[str, Any]], scopes: str | tuple[str, ...], cavities: list[int]) -> str:
    """The frame that a signal of one of these scopes puts about these cavities: while it goes on, or after it has
    ended.
    """
    mine = [m for m in marks if m["scope"] in ((scopes,) if isinstance(scopes, str) else scopes)]
    held = [m for m in mine if any(m["held"][n] for n in cavities)]
    return ("framed" if any(m["open"] for m in held) else "framed over") if held else ""


def _cavity(cavity_state: CavityState, marks: list[dict[str, Any]], number: int, most: int) -> dict[str, Any]:
    kinds = {m["scope"] for m in marks if m["open"]} & {"gob", "mould"}
    return {
        "number": number,
        "place": _place(cavity_state),
        "mould": joined(", ", (say("no. {m}", m=m) for m in cavity_state.moulds)) or "–",
        "calls": cavity_state.calls,
        "rate": percent(cavity_state.rate) if cavity_state.rate is not None else "–",
        "critical": cavity_state.critical,
        "level": cavity_state.level,
        "worst": joined(", ", (f"{code} {n}" for code, n in cavity_state.worst[:2])),
        "marks": [m["n"] for m in marks],
        "kinds": " ".join(sorted(f"in-{kind}" for kind in kinds)),
        "cells": [(c.defect, _words_of(c)) for c in cavity_state.cells[:2]],
        "verdict": _verdict(cavity_state),
        "short": f"▲ {decimals(cavity_state.cells[0].times, 1)}" if cavity_state.cells else "",
        "plain": _part(cavity_state.calls - cavity_state.beyond, most),
        "lit": _part(cavity_state.beyond, most),
        "tick": _part(cavity_state.expected, most),
    }


def _part(value: float | None, most: float) -> str:
    """A length on the one scale of all cavities, in percent."""
    return "" if value is None or most <= 0 else f"{min(100.0, max(0.0, 100 * value / most)):.1f}"


def _signal(plant: Plant, machine: MachineNow, signal: Signal, number: int) -> dict[str, Any]:
    """A signal as the list above the machine shows it, with the address of the hour in which it last stood."""
    clock = plant.clock
    seen = (machine.span.end if signal.ended is None else min(signal.ended, machine.span.end)) - timedelta(seconds=1)
    hour = clock.typed(clock.hour_of(seen).start)
    near = machine.span.end
    return {
        "n": number,
        "scope": "unplaced" if signal.scope == "line" and not signal.placed_inside else signal.scope,
        "who": joined(", ", dict.fromkeys(signal.members)),
        "where": joined(", ", dict.fromkeys(signal.cavities)),
        "furnace": signal.furnace,
        "defect": say("{defect} {name}", defect=signal.defect, name=signal.name),
        "critical": signal.severity == "critical",
        "times": decimals(ratio(signal.calls, signal.expected), 1),
        "since": clock_words(plant, signal.onset, near),
        "ended": clock_words(plant, signal.ended, near) if signal.ended else "",
        "guess": signal.is_guess,
        "sure": percent(signal.probability, 0) if signal.probability is not None else "",
        "address": f"/hour/{machine.line}?at={hour}#{card_name(signal)}",
    }


def _named(machine: MachineNow) -> list[dict[str, str]]:
    """The cavities that stand out for what no signal explains, the surest first."""
    cells = sorted(((cell, c) for c in machine.cavities for cell in c.cells), key=lambda pair: pair[0].q)
    return [
        {
            "place": _place(c),
            "mould": joined(", ", c.moulds) or "?",
            "defect": cell.defect,
            "calls": count(cell.calls),
            "should": expected(cell.should),
            "part": decimals(cell.explained, 1) if cell.explained >= 0.05 else "",
        }
        for cell, c in cells[:8]
    ]


def _sheet(machine: MachineNow) -> Sheet:
    rows = [
        {
            "place": _place(c),
            "section": c.section,
            "gob": c.gob,
            "mould": joined(", ", c.moulds),
            "calls": c.calls,
            "ware": c.ware,
            "rate": c.rate,
            "expected": c.expected,
            "times": c.times,
            "explained": c.explained if c.signals else None,
            "q": c.q,
            "verdict": _verdict(c),
            "signals": joined(", ", (machine.signals[n].id for n in c.signals)),
            "critical": c.critical,
            "worst": joined(", ", (f"{code} {n}" for code, n in c.worst)),
        }
        for c in machine.cavities
    ]
    strong = [number for number, cavity_state in enumerate(machine.cavities) if cavity_state.critical]
    moulds = [(number, c.moulds[0]) for number, c in enumerate(machine.cavities) if c.moulds]
    links = {(number, "mould"): mould_address(machine.line, mould) for number, mould in moulds}
    return Sheet(
        "cavities",
        say("Cavities"),
        COLUMNS,
        rows,
        say(
            "{calls} calls; {placed} of them with a cavity that the mould log and a mould number tell.",
            calls=count(machine.calls),
            placed=percent(machine.placed, 1),
        ),
        strong=strong,
        links=links,
    )


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
