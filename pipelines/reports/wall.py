"""The big screen of Now: each line's last hours, and what was caught of critical defects, in turns where it must."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pipelines.answers.now import LineNow, Now
from pipelines.measures.signals.acts import acts
from pipelines.numbers import decimals, expected
from pipelines.plant.works import Plant
from pipelines.reports.acts import act_place, all_silent
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Special
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.lines_now import lines_part, past_words
from pipelines.words import beginning, defect_name, joined, say

TOGETHER = 6  # lines that stand below each other, beside their critical calls
A_TURN = 12  # lines of one turn, in two columns
WERE = 4  # things that were open when the counts stopped


def wall_part(plant: Plant, works_now: Now, sheet: Sheet) -> Special:
    """What stands below the things to act on: all at once where it fits, otherwise strips and calls in turns. sheet:
    the same as a table, for files.
    """
    strips: Mapping[str, Any] = lines_part(plant, works_now).values
    of_line = {row["line"]: row for row in strips["rows"]}
    turns: list[dict[str, Any]] = []
    few = len(works_now.lines) <= TOGETHER
    for number in range(0, len(works_now.lines), A_TURN):
        group = works_now.lines[number : number + A_TURN]
        rows = [of_line[line.line] for line in group if line.line in of_line]
        beside = _were(plant, works_now) if all_silent(works_now) else _caught(plant, works_now, group)
        if few:
            turns.append({"rows": rows, "beside": beside, "columns": 1})
        else:
            turns.append({"rows": rows, "beside": None, "columns": 2 if len(rows) > TOGETHER else 1})
            turns.append({"rows": (), "beside": beside, "columns": 1})
    values = {key: strips[key] for key in ("ticks", "newest", "left")}
    return Special("wall", say("Every line now"), {**values, "turns": turns}, sheet=sheet)


def _caught(plant: Plant, works_now: Now, lines: Sequence[LineNow]) -> dict[str, Any]:
    """Calls of each critical defect on each line against expectation, also at zero, and what got past a challenge."""
    rows = []
    for code in plant.critical:
        cells = []
        for line in lines:
            cell = next((each for each in line.critical if each.defect == code), None)
            hot = any(s.severity == "critical" and s.defect == code for s in line.open_signals)
            should = expected(cell.expected) if cell is not None and cell.expected is not None else "–"
            cells.append({"calls": f"{cell.calls}" if cell is not None else "–", "should": should, "hot": hot})
        rows.append({"name": defect_name(plant.defects[code].name), "cells": cells})
    past = []
    for line in lines:
        failed = [doubt for doubt in works_now.failed if doubt.line == line.line]
        past.append({"words": past_words(line, failed), "hot": bool(failed)})
    return {"lines": [line.line for line in lines], "rows": rows, "past": past, "span": _span(plant, lines)}


def _span(plant: Plant, lines: Sequence[LineNow]) -> str:
    """Of which minutes the calls are."""
    spans = sorted({(line.span.start, line.span.end) for line in lines if line.span is not None})
    if not spans:
        return say("no counts")
    start, end = spans[0][0], max(end for _, end in spans)
    words = {"start": f"{plant.clock.local(start):%H:%M}", "end": f"{plant.clock.local(end):%H:%M}"}
    return say("Calls {start} to {end}; small: expected.", **words)


def _were(plant: Plant, works_now: Now) -> dict[str, Any]:
    """What was open when the counts stopped, as something past."""
    found = acts([signal for line in works_now.lines for signal in line.open_signals])
    was = [
        say(
            "{what}, {place}: {lost}",
            what=beginning(defect_name(act.first.name)),
            place=act_place(plant, act.first),
            lost=decimals(act.lost_per_hour),
        )
        for act in found[:WERE]
    ]
    more = found[WERE:]
    if more:
        was.append(
            say("{more} more, {lost} an hour", more=len(more), lost=decimals(sum(a.lost_per_hour for a in more)))
        )
    if works_now.newest is None:
        return {"heading": say("Not known: no count has come yet."), "was": was, "after": ""}
    at = clock_words(plant, works_now.newest, works_now.at)
    return {
        "heading": say("As it was at {at}, lost an hour:", at=at) if was else say("At {at} no signal was open.", at=at),
        "was": was,
        "after": joined(" ", [say("Critical calls after {at}:", at=at), say("not known, no counts came.")]),
    }
