"""A line's machine as a part of a page: its cavities as small multiples, what signals explain drawn as what it is."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from pipelines.answers.moulds import MachineNow
from pipelines.measures.pareto.cavities import CavityState, Cell
from pipelines.measures.pareto.explained_calls import WHOLE, place_of
from pipelines.measures.statistics.shares import ratio
from pipelines.numbers import count, decimals, expected, percent
from pipelines.pages.addresses import mould_address
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Special
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.machine_strips import cavity_strips, part_words, sum_words, whole_strip
from pipelines.reports.signals import card_name
from pipelines.words import joined, say
from schemas.answers.signals import Signal

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


CHOICES = 6  # defects to choose from at the top


def short_place(signal: Signal) -> str:
    """A signal's place as it is marked on the machine."""
    return {"mould": ", ".join(dict.fromkeys(signal.cavities)), "line": signal.line, "furnace": signal.furnace}.get(
        signal.scope, ", ".join(signal.members)
    )


def cavity_name(cavity_state: CavityState) -> str:
    """Section and gob position."""
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


def _clocks(plant: Plant, machine: MachineNow) -> str:
    """Of which hours the strips are, by both clocks."""
    series = machine.lately
    if series is None:
        return ""
    near, minutes = machine.span.end, timedelta(minutes=machine.lehr.minutes)

    def at(moment: datetime) -> str:
        return clock_words(plant, moment, near)

    return say(
        "Each line: {start} to {end} at the cold end, formed {formed} to {until}.",
        start=at(series.first),
        end=at(machine.span.end),
        formed=at(series.first - minutes),
        until=at(machine.span.end - minutes),
    )


def _choices(plant: Plant, machine: MachineNow, address: str) -> list[tuple[str, str, bool]]:
    """Defects to choose from, those of open signals first, then the most frequent: words, address, chosen."""
    open_first = [s.defect for s in machine.signals if s.ended is None]
    frequent = sorted(machine.called, key=lambda code: -machine.called[code])
    known = [code for code in (*open_first, *frequent) if code in plant.defects]
    codes = list(dict.fromkeys(known))[:CHOICES]
    if machine.defect is not None and machine.defect not in codes:
        codes.insert(0, machine.defect)
    each = [
        (
            say("{code} {name}", code=code, name=plant.defects[code].name),
            f"{address}&{urlencode({'defect': code})}",
            code == machine.defect,
        )
        for code in codes
    ]
    return [*each, (say("all defects"), address, machine.defect is None)]


def _sections(machine: MachineNow, marks: list[dict[str, Any]]) -> dict[int, list[dict[str, Any]]]:
    """The cavities of each section."""
    strips = cavity_strips(machine)
    sections: dict[int, list[dict[str, Any]]] = {}
    for number, cavity_state in enumerate(machine.cavities):
        mine = [mark for n, mark in enumerate(marks) if n in cavity_state.signals]
        strip = strips.get((cavity_state.section, cavity_state.gob), "")
        cavity = _cavity(cavity_state, mine, number) | {
            "strip": strip,
            "parts": [part_words(part) for part in machine.parts.get((cavity_state.section, cavity_state.gob), ())],
            "address": mould_address(machine.line, cavity_state.moulds[-1]) if cavity_state.moulds else "",
        }
        sections.setdefault(cavity_state.section, []).append(cavity)
    return sections


def machine_part(plant: Plant, machine: MachineNow, address: str) -> Special:
    """The machine section by section, with what its signals explain drawn as what it is, and the same as a table.
    address: of this page without a defect.
    """
    places = [(c.section, c.gob) for c in machine.cavities]
    marks = [
        {"n": n + 1, "scope": s.scope, "open": s.ended is None, "held": place_of(s, places)}
        for n, s in enumerate(machine.signals)
    ]
    sections = _sections(machine, marks)
    told_of = {
        "sections": [
            {
                "number": n,
                "cavities": cavities,
                "framed": _framed(marks, "section", [c["number"] for c in cavities]),
                "sum": sum_words(machine, (c for c in machine.cavities if c.section == n)),
            }
            for n, cavities in sections.items()
        ],
        "by_gob": [
            (gob, sum_words(machine, (c for c in machine.cavities if c.gob == gob)))
            for gob in plant.lines[machine.line].gob_positions
        ],
        "clocks": _clocks(plant, machine),
        "choices": _choices(plant, machine, address),
        "gobs": plant.lines[machine.line].gob_positions,
        "framed": _framed(marks, WHOLE, list(range(len(places)))),
        "signals": [_signal(plant, machine, s, n + 1) for n, s in enumerate(machine.signals)],
        "whole": whole_strip(machine),
        "line": machine.line,
        "named": _named(machine),
        "judged": any(c.expected is not None for c in machine.cavities),
        "doubts": machine.doubts,
        "against": machine.against,
        "unread": percent(machine.unread, 0),
        "unfitted": percent(machine.unfitted, 1),
        "placed": percent(machine.placed, 0),
    }
    warn = any(s.ended is None and s.severity == "critical" for s in machine.signals)
    return Special("machine", say("The machine"), told_of, _sheet(machine), warn=warn)


def _framed(marks: list[dict[str, Any]], scopes: str | tuple[str, ...], cavities: list[int]) -> str:
    """The frame that a signal of one of these scopes puts about these cavities: while it goes on, or after it has
    ended.
    """
    mine = [m for m in marks if m["scope"] in ((scopes,) if isinstance(scopes, str) else scopes)]
    held = [m for m in mine if any(m["held"][n] for n in cavities)]
    return ("framed" if any(m["open"] for m in held) else "framed over") if held else ""


def _cavity(cavity_state: CavityState, marks: list[dict[str, Any]], number: int) -> dict[str, Any]:
    kinds = {m["scope"] for m in marks if m["open"]} & {"gob", "mould"}
    return {
        "number": number,
        "place": cavity_name(cavity_state),
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
    }


def _signal(plant: Plant, machine: MachineNow, signal: Signal, number: int) -> dict[str, Any]:
    """A signal as the list above the machine shows it, with the address of the hour in which it last stood."""
    clock = plant.clock
    seen = (machine.span.end if signal.ended is None else min(signal.ended, machine.span.end)) - timedelta(seconds=1)
    hour = clock.typed(clock.hour_of(seen).start)
    near = machine.span.end
    return {
        "n": number,
        "scope": "unplaced" if signal.scope == "line" and not signal.placed_inside else signal.scope,
        "who": joined(
            ", ", sorted(set(signal.members)) if signal.scope == "furnace" else dict.fromkeys(signal.members)
        ),
        "where": joined(", ", dict.fromkeys(signal.cavities)),
        "furnace": signal.furnace,
        "defect": say("{defect} {name}", defect=signal.defect, name=signal.name),
        "critical": signal.severity == "critical",
        "times": decimals(ratio(signal.calls, signal.expected), 1),
        "since": clock_words(plant, signal.onset, near),
        "lost": decimals(signal.lost_per_hour),
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
            "place": cavity_name(c),
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
            "place": cavity_name(c),
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
