"""The page of moulds: a line's machine, cavity by cavity."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from pipelines.answers.moulds import MachineNow, answer_moulds
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.pareto.cavities import OWN, CavityState, Cell
from pipelines.measures.pareto.explained_calls import WHOLE, place_of
from pipelines.measures.statistics.shares import ratio
from pipelines.numbers import decimals, expected
from pipelines.pages.forms import choice, field, form
from pipelines.pages.view import Special, View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure
from pipelines.reports.frame.shared_parts import count, percent, sources
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.signals import card_name, clock_words
from schemas.answers.signals import Signal

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


def moulds_view(
    reader: Reader, plant: Plant, line: str, span: Span, defect: str | None, refresh_s: int, hours: int
) -> View:
    """The cavity map of a line's machine, and the same as a table."""
    reader = reader.noting()
    told = answer_moulds(reader, plant, line, span, defect)
    what = f"{defect} {plant.defects[defect].name}" if defect else "all defects"
    clock = plant.clock
    here = (
        ("from", clock.local(span.start).strftime("%Y-%m-%dT%H:%M")),
        ("to", clock.local(span.end).strftime("%Y-%m-%dT%H:%M")),
    )
    fixed = f"?{here[0][0]}={here[0][1]}&{here[1][0]}={here[1][1]}" if not refresh_s else f"?hours={hours}"
    others = [(one, f"/moulds/{one}{fixed}") for one in plant.lines if one != line]
    links = (
        *others,
        ("this hour of the line", f"/hour/{line}"),
        ("for a big screen", f"/moulds/{line}{fixed}&wall=1" + (f"&defect={defect}" if defect else "")),
    )
    return View(
        "moulds",
        f"{line}: cavities, {what}",
        f"{clock.show(span.start)} to {clock.show(span.end)}, by the cold-end clock",
        (_machine(plant, told), _choose(plant, told, here, refresh_s, hours)),
        _figures(told),
        links,
        (CAUTION, GLASS),
        sources(reader.asked, told.files),
        f"Cavities by the mould log at forming, {decimals(told.lehr.minutes)} min before the station "
        f"({told.lehr.source}).",
        refresh_s,
    )


def _figures(told: MachineNow) -> tuple[Figure, ...]:
    going_on = [s for s in told.signals if s.ended is None]
    named = [c for c in told.cavities if c.level in OWN]
    critical = sum(c.critical for c in told.cavities)
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
        Figure(count(told.calls), "calls", f"{percent(told.placed, 0)} of them with a cavity that is known"),
        Figure(
            count(critical),
            "critical calls with a known cavity",
            "those without stand on the hour's page",
            "critical" if critical else "",
        ),
    )


def _short(told: Signal) -> str:
    """A signal's place as it is marked on the machine."""
    return {"mould": ", ".join(dict.fromkeys(told.cavities)), "line": told.line, "furnace": told.furnace}.get(
        told.scope, ", ".join(told.members)
    )


def _place(one: CavityState) -> str:
    return f"{one.section}{one.gob}"


def _words_of(cell: Cell) -> str:
    words = "far more than usual" if cell.level == "far" else "more than usual"
    return f"{words}: {decimals(cell.times, 1)} times"


def _verdict(one: CavityState) -> str:
    """How unusual a cavity is, in a few words; what is named for itself says its defect."""
    if one.cells:
        return "; ".join(f"{cell.defect} {_words_of(cell)}" for cell in one.cells[:2])
    words = {"signal": "part of a signal", "usual": "as usual", "unknown": "not judged", "empty": "no ware"}
    return words[one.level]


def _machine(plant: Plant, told: MachineNow) -> Special:
    places = [(c.section, c.gob) for c in told.cavities]
    marks = [
        {"n": n + 1, "scope": s.scope, "open": s.ended is None, "held": place_of(s, places)}
        for n, s in enumerate(told.signals)
    ]
    most = max((c.calls for c in told.cavities), default=0)
    sections: dict[int, list[dict[str, Any]]] = {}
    for number, one in enumerate(told.cavities):
        mine = [mark for n, mark in enumerate(marks) if n in one.signals]
        sections.setdefault(one.section, []).append(_cavity(one, mine, number, most))
    told_of = {
        "sections": [
            {"number": n, "cavities": cavities, "framed": _framed(marks, "section", [c["number"] for c in cavities])}
            for n, cavities in sections.items()
        ],
        "gobs": plant.lines[told.line].gob_positions,
        "framed": _framed(marks, WHOLE, list(range(len(places)))),
        "signals": [_signal(plant, told, s, n + 1) for n, s in enumerate(told.signals)],
        "named": _named(told),
        "judged": any(c.expected is not None for c in told.cavities),
        "doubts": told.doubts,
        "against": told.against,
        "unread": percent(told.unread, 0),
        "unfitted": percent(told.unfitted, 1),
        "placed": percent(told.placed, 0),
    }
    warn = any(s.ended is None for s in told.signals) or any(c.level == "far" or c.critical for c in told.cavities)
    return Special("machine", "The machine", told_of, _sheet(told), warn=warn)


def _framed(marks: list[dict[str, Any]], scopes: str | tuple[str, ...], cavities: list[int]) -> str:
    """The frame that a signal of one of these scopes puts about these cavities: while it goes on, or after it has
    ended.
    """
    mine = [m for m in marks if m["scope"] in ((scopes,) if isinstance(scopes, str) else scopes)]
    held = [m for m in mine if any(m["held"][n] for n in cavities)]
    return ("framed" if any(m["open"] for m in held) else "framed over") if held else ""


def _cavity(one: CavityState, marks: list[dict[str, Any]], number: int, most: int) -> dict[str, Any]:
    kinds = {m["scope"] for m in marks if m["open"]} & {"gob", "mould"}
    return {
        "number": number,
        "place": _place(one),
        "mould": ", ".join(f"no. {m}" for m in one.moulds) or "–",
        "calls": one.calls,
        "rate": percent(one.rate) if one.rate is not None else "–",
        "critical": one.critical,
        "level": one.level,
        "worst": ", ".join(f"{code} {n}" for code, n in one.worst[:2]),
        "marks": [m["n"] for m in marks],
        "kinds": " ".join(sorted(f"in-{kind}" for kind in kinds)),
        "cells": [(c.defect, _words_of(c)) for c in one.cells[:2]],
        "verdict": _verdict(one),
        "short": f"▲ {decimals(one.cells[0].times, 1)}" if one.cells else "",
        "plain": _part(one.calls - one.beyond, most),
        "lit": _part(one.beyond, most),
        "tick": _part(one.expected, most),
    }


def _part(value: float | None, most: float) -> str:
    """A length on the one scale of all cavities, in percent."""
    return "" if value is None or most <= 0 else f"{min(100.0, max(0.0, 100 * value / most)):.1f}"


def _signal(plant: Plant, told: MachineNow, one: Signal, number: int) -> dict[str, Any]:
    """A signal as the list above the machine shows it, with the address of the hour in which it last stood."""
    clock = plant.clock
    seen = (told.span.end if one.ended is None else min(one.ended, told.span.end)) - timedelta(seconds=1)
    hour = clock.local(clock.hour_of(seen).start).strftime("%Y-%m-%dT%H:%M")
    near = told.span.end
    return {
        "n": number,
        "scope": "unplaced" if one.scope == "line" and not one.placed_inside else one.scope,
        "who": ", ".join(dict.fromkeys(one.members)),
        "where": ", ".join(dict.fromkeys(one.cavities)),
        "furnace": one.furnace,
        "defect": f"{one.defect} {one.name}",
        "critical": one.severity == "critical",
        "times": decimals(ratio(one.calls, one.expected), 1),
        "since": clock_words(plant, one.onset, near),
        "ended": clock_words(plant, one.ended, near) if one.ended else "",
        "guess": one.is_guess,
        "sure": percent(one.probability, 0) if one.probability is not None else "",
        "address": f"/hour/{told.line}?at={hour}#{card_name(one)}",
    }


def _named(told: MachineNow) -> list[dict[str, str]]:
    """The cavities that stand out for what no signal explains, the surest first."""
    cells = sorted(((cell, c) for c in told.cavities for cell in c.cells), key=lambda pair: pair[0].q)
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


def _sheet(told: MachineNow) -> Sheet:
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
            "signals": ", ".join(told.signals[n].id for n in c.signals),
            "critical": c.critical,
            "worst": ", ".join(f"{code} {n}" for code, n in c.worst),
        }
        for c in told.cavities
    ]
    strong = [number for number, one in enumerate(told.cavities) if one.critical]
    return Sheet(
        "cavities",
        "Cavities",
        COLUMNS,
        rows,
        f"{count(told.calls)} calls; {percent(told.placed, 1)} of them with a cavity that the mould log and a mould "
        "number tell.",
        strong=strong,
    )


def _choose(plant: Plant, told: MachineNow, here: tuple[tuple[str, str], ...], refresh_s: int, hours: int) -> Special:
    every = [("", "all defects"), *((code, f"{code} {one.name}") for code, one in plant.defects.items())]
    fields = [choice("defect", "Defect", every, told.defect or "")]
    if refresh_s:
        fields.append(field("hours", "The newest hours", hours, kind="number", most=3, hint="1 to 168"))
    return form(
        "Choose", f"/moulds/{told.line}", fields, (("", "Show"),), method="get", hidden=() if refresh_s else here
    )
