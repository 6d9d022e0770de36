"""Moulds: a line's machine, cavity by cavity."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.answers.now import hour_of_line, stations_alive
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.pareto.cavities import OWN, CavityState, Cell
from pipelines.measures.pareto.explained_calls import WHOLE, place_of
from pipelines.measures.statistics.shares import ratio
from pipelines.numbers import count, decimals, expected, percent
from pipelines.pages.forms import choice, field, form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import Special, View
from pipelines.pages.web import Web, go, known, span_asked
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.signals import card_name, clock_words
from schemas.answers.signals import Signal

LIVE_S = 30
HOURS, SHIFT_HOURS = 4, 8  # that the map of cavities looks back; also offered
Word = Annotated[str | None, Query(max_length=100)]
COLUMNS = (
    Column("place", "Cavity", "id"),
    Column("section", "Section", "count"),
    Column("gob", "Gob"),
    Column("mould", "Mould"),
    Column("calls", "Calls", "count"),
    Column("ware", "Own ware", "count"),
    Column("rate", "Calls / own ware", "percent"),
    Column("expected", "Expected", "expected"),
    Column("times", "Times expected", "number"),
    Column("explained", "More by signals", "number"),
    Column("q", "q of the rest", "number3"),
    Column("verdict", "How unusual"),
    Column("signals", "Part of"),
    Column("critical", "Critical", "count"),
    Column("worst", "Most frequent"),
)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

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
    stations = [station for station in stations_alive(reader, plant, web.desk.now()) if station.line == line]
    span = hour_of_line(plant, stations)
    return span.end if span is not None else web.desk.now()


def moulds_view(
    reader: Reader, plant: Plant, line: str, span: Span, defect: str | None, refresh_s: int, hours: int
) -> View:
    """The cavity map of a line's machine, and the same as a table."""
    reader = reader.noting()
    machine = answer_moulds(reader, plant, line, span, defect)
    what = f"{defect} {plant.defects[defect].name}" if defect else "all defects"
    clock = plant.clock
    here = (
        ("from", clock.local(span.start).strftime("%Y-%m-%dT%H:%M")),
        ("to", clock.local(span.end).strftime("%Y-%m-%dT%H:%M")),
    )
    fixed = f"?{here[0][0]}={here[0][1]}&{here[1][0]}={here[1][1]}" if not refresh_s else f"?hours={hours}"
    others = [(each, f"/moulds/{each}{fixed}") for each in plant.lines if each != line]
    links = (
        *others,
        ("this hour of the line", f"/hour/{line}"),
        ("for a big screen", f"/moulds/{line}{fixed}&wall=1" + (f"&defect={defect}" if defect else "")),
    )
    return View(
        "moulds",
        f"{line}: cavities, {what}",
        f"{clock.show(span.start)} to {clock.show(span.end)}, by the cold-end clock",
        (_machine(plant, machine), _choose(plant, machine, here, refresh_s, hours)),
        _figures(machine),
        links,
        (CAUTION, GLASS),
        sources(reader.asked, machine.files),
        f"Cavities by the mould log at forming, {decimals(machine.lehr.minutes)} min before the station "
        f"({machine.lehr.source}).",
        refresh_s,
    )


def _figures(machine: MachineNow) -> tuple[Figure, ...]:
    going_on = [s for s in machine.signals if s.ended is None]
    named = [c for c in machine.cavities if c.level in OWN]
    critical = sum(c.critical for c in machine.cavities)
    severe = any(s.severity == "critical" for s in going_on) or any(c.level == "far" for c in named)
    return (
        Figure(
            count(len(going_on)),
            "signals going on here",
            ", ".join(f"{s.defect} {_short(s)}" for s in going_on[:4]) or "none",
            "critical" if severe else "",
        ),
        Figure(
            count(len(named)),
            "cavities beyond what signals explain",
            ", ".join(f"{_place(c)} {c.cells[0].defect}" for c in named[:6]) or "none",
        ),
        Figure(count(machine.calls), "calls", f"{percent(machine.placed, 0)} of them with a cavity that is known"),
        Figure(
            count(critical),
            "critical calls with a known cavity",
            "those without stand on the hour's page",
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
    words = "far more than usual" if cell.level == "far" else "more than usual"
    return f"{words}: {decimals(cell.times, 1)} times"


def _verdict(cavity_state: CavityState) -> str:
    """How unusual a cavity is, in a few words; what is named for itself says its defect."""
    if cavity_state.cells:
        return "; ".join(f"{cell.defect} {_words_of(cell)}" for cell in cavity_state.cells[:2])
    words = {"signal": "part of a signal", "usual": "as usual", "unknown": "not judged", "empty": "no ware"}
    return words[cavity_state.level]


def _machine(plant: Plant, machine: MachineNow) -> Special:
    places = [(c.section, c.gob) for c in machine.cavities]
    marks = [
        {"n": n + 1, "scope": s.scope, "open": s.ended is None, "held": place_of(s, places)}
        for n, s in enumerate(machine.signals)
    ]
    most = max((c.calls for c in machine.cavities), default=0)
    sections: dict[int, list[dict[str, Any]]] = {}
    for number, cavity_state in enumerate(machine.cavities):
        mine = [mark for n, mark in enumerate(marks) if n in cavity_state.signals]
        sections.setdefault(cavity_state.section, []).append(_cavity(cavity_state, mine, number, most))
    told_of = {
        "sections": [
            {"number": n, "cavities": cavities, "framed": _framed(marks, "section", [c["number"] for c in cavities])}
            for n, cavities in sections.items()
        ],
        "gobs": plant.lines[machine.line].gob_positions,
        "framed": _framed(marks, WHOLE, list(range(len(places)))),
        "signals": [_signal(plant, machine, s, n + 1) for n, s in enumerate(machine.signals)],
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
    return Special("machine", "The machine", told_of, _sheet(machine), warn=warn)


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
        "mould": ", ".join(f"no. {m}" for m in cavity_state.moulds) or "–",
        "calls": cavity_state.calls,
        "rate": percent(cavity_state.rate) if cavity_state.rate is not None else "–",
        "critical": cavity_state.critical,
        "level": cavity_state.level,
        "worst": ", ".join(f"{code} {n}" for code, n in cavity_state.worst[:2]),
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
    hour = clock.local(clock.hour_of(seen).start).strftime("%Y-%m-%dT%H:%M")
    near = machine.span.end
    return {
        "n": number,
        "scope": "unplaced" if signal.scope == "line" and not signal.placed_inside else signal.scope,
        "who": ", ".join(dict.fromkeys(signal.members)),
        "where": ", ".join(dict.fromkeys(signal.cavities)),
        "furnace": signal.furnace,
        "defect": f"{signal.defect} {signal.name}",
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
            "mould": ", ".join(c.moulds) or "?",
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
            "mould": ", ".join(c.moulds),
            "calls": c.calls,
            "ware": c.ware,
            "rate": c.rate,
            "expected": c.expected,
            "times": c.times,
            "explained": c.explained if c.signals else None,
            "q": c.q,
            "verdict": _verdict(c),
            "signals": ", ".join(machine.signals[n].id for n in c.signals),
            "critical": c.critical,
            "worst": ", ".join(f"{code} {n}" for code, n in c.worst),
        }
        for c in machine.cavities
    ]
    strong = [number for number, cavity_state in enumerate(machine.cavities) if cavity_state.critical]
    return Sheet(
        "cavities",
        "Cavities",
        COLUMNS,
        rows,
        f"{count(machine.calls)} calls; {percent(machine.placed, 1)} of them with a cavity that the mould log and a "
        "mould number tell.",
        strong=strong,
    )


def _choose(
    plant: Plant, machine: MachineNow, here: tuple[tuple[str, str], ...], refresh_s: int, hours: int
) -> Special:
    every = [("", "all defects"), *((code, f"{code} {each.name}") for code, each in plant.defects.items())]
    fields = [choice("defect", "Defect", every, machine.defect or "")]
    if refresh_s:
        fields.append(field("hours", "The newest hours", hours, kind="number", most=3, hint="1 to 168"))
    return form(
        "Choose", f"/moulds/{machine.line}", fields, (("", "Show"),), method="get", hidden=() if refresh_s else here
    )
