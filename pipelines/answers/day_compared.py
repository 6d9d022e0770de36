"""A closed production day against another day, against the same item's last run, or a line against another line: by
what the closes kept.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from pipelines import typed
from pipelines.answers.day import items_made
from pipelines.answers.pareto import check_line
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.yields.change import FIGURES, LINE_FIGURES, MONTH, WEEK, figures_of, margin_of, noise
from pipelines.plant.works import Plant
from pipelines.words import say, say_n
from schemas.answers.day import ComparedDefect, ComparedFigure, DayCompared

LAST_RUN = "last-run"
SETTLED = timedelta(hours=3)  # after a job began, until its first hour has been through the lehr
YEARS = timedelta(days=800)  # so far back an item's last run is looked for

Figures = dict[str, Mapping[str, Any]]  # by furnace and line


@dataclass(frozen=True)
class _Other:
    """What a day is compared with. pairs: each furnace or line of the day with that of the other days; days: closed
    days of it.
    """

    against: str
    days: tuple[date, ...]
    pairs: dict[str, str]
    why: str = ""


class _Closes:
    """What the closes kept of days, each read once."""

    def __init__(self, reader: Reader, plant: Plant):
        self.reader, self.plant = reader, plant

    def figures(self, first: date, last: date) -> dict[date, Figures]:
        """The figures of the closed days from first to last."""
        found: dict[date, Figures] = {}
        rows = self.reader.ask("balances_before", first_day=first, day=last + timedelta(days=1))
        for row in rows.iter_rows(named=True):
            brief = json.loads(row["told"])
            mine = found.setdefault(row["day"], {})
            mine[row["furnace"]] = figures_of(brief["furnace"])
            mine |= {line["line"]: figures_of(line) for line in brief["lines"]}
        return found

    def pareto(self, day: date, line: str) -> Mapping[str, Any] | None:
        """A line's Pareto as the last close told it; None where it told none."""
        closes = self.reader.ask("closes_of_day", day=day)
        if closes.is_empty():
            return None
        answers = json.loads(closes["answers"][-1])
        pareto: Mapping[str, Any] | None = answers["pareto"].get(line)
        return pareto


def answer_compared(reader: Reader, plant: Plant, day: date, other: str, line: str = "") -> DayCompared:
    """A closed day, or a line of it, against `other`: a day, a line, or `last-run`. WrongUse for what is none of
    these.
    """
    if line:
        check_line(plant, line)
    closes = _Closes(reader, plant)
    found = _other(closes, day, other, line)
    known = closes.figures(day - timedelta(days=MONTH), day)
    if day not in known:
        found = _Other(found.against, (), {}, say("{day} is not closed yet.", day=day.isoformat()))
    if found.why:
        return DayCompared(day=day, line=line, against=found.against, days=(), figures=(), defects=(), why=found.why)
    there = closes.figures(found.days[-1], found.days[0])
    others = [there[each] for each in found.days]
    return DayCompared(
        day=day,
        line=line,
        against=found.against,
        days=found.days,
        figures=tuple(_figures(plant, known, day, others, found.pairs)),
        defects=tuple(_defects(closes, day, line, found)) if line else (),
    )


def _other(closes: _Closes, day: date, other: str, line: str) -> _Other:
    plant = closes.plant
    if other == LAST_RUN:
        if not line:
            raise WrongUse(say("a last run is that of one line's item: name a line"))
        return _last_run(closes, day, line)
    if other in plant.lines:
        if not line or line == other:
            raise WrongUse(say("a line is compared with another line"))
        return _Other(say("line {line}, the same day", line=other), (day,), {line: other})
    on = typed.day(other)
    if on == day:
        raise WrongUse(say("a day is compared with another day"))
    names = [line] if line else [*plant.furnaces, *plant.lines]
    why = "" if on in closes.figures(on, on) else say("{day} is not closed: nothing of it can be compared.", day=other)
    return _Other(on.isoformat(), (on,), {name: name for name in names}, why)


def _last_run(closes: _Closes, day: date, line: str) -> _Other:
    """The closed days of the last run, on any line, of the item that a line made last on a day."""
    plant, span = closes.plant, closes.plant.clock.day(day)
    items = items_made(closes.reader, plant, line, span)
    if not items:
        return _Other(say("last run"), (), {}, say("No job log tells what {line} made.", line=line))
    against = say("last run of {item}", item=items[-1])
    runs = _runs_before(closes, items[-1], line, span.start, span.end)
    for begun, ended, where in runs:
        days = [
            each
            for each in plant.clock.days_between(begun + SETTLED, ended)
            if plant.clock.day(each).start >= begun + SETTLED and plant.clock.day(each).end <= ended
        ]
        known = closes.figures(days[0], days[-1]) if days else {}
        whole = tuple(each for each in reversed(days) if where in known.get(each, {}))[:WEEK]
        if whole:
            words = say_n(
                "{run}: {where}, {n} closed day",
                "{run}: {where}, {n} closed days",
                len(whole),
                run=against,
                where=where,
            )
            return _Other(words, whole, {line: where})
    none = say("{item} has no earlier run with a whole closed day.", item=items[-1])
    return _Other(against, (), {}, none)


def _runs_before(
    closes: _Closes, item: str, line: str, start: datetime, end: datetime
) -> list[tuple[datetime, datetime, str]]:
    """Earlier runs of an item: begin, end, line; the newest first. A run that still goes on elsewhere is none."""
    found = []
    for where in closes.plant.lines:
        rows = closes.reader.ask("jobs_of_line", line=where, from_time=start - YEARS, to_time=end)
        for row in rows.iter_rows(named=True):
            last = start if where == line else end
            if row["item"] == item and row["ended_at"] is not None and row["ended_at"] <= last:
                found.append((row["started_at"], row["ended_at"], where))
    return sorted(found, key=lambda run: run[1], reverse=True)


def _figures(
    plant: Plant, known: Mapping[date, Figures], day: date, others: Sequence[Figures], pairs: Mapping[str, str]
) -> list[ComparedFigure]:
    found = []
    for name, there in pairs.items():
        for key, words, unit in FIGURES if name in plant.furnaces else LINE_FIGURES:
            value = known[day].get(name, {}).get(key)
            values = [row[there][key] for row in others if row.get(there, {}).get(key) is not None]
            mean = sum(values) / len(values) if values else None
            difference = value - mean if value is not None and mean is not None else None
            mine = noise(_past(known, day, name, key))
            theirs = noise(_past(known, day, there, key)) if there != name else None
            lost = there != name and theirs is None
            margin = None if difference is None or lost else margin_of(mine, len(values), theirs)
            found.append(
                ComparedFigure(
                    of=name, name=words, unit=unit, value=value, other=mean, difference=difference, margin=margin
                )
            )
    return found


def _past(known: Mapping[date, Figures], day: date, name: str, key: str) -> list[float]:
    past = [
        figures[name][key] for on, figures in known.items() if on < day and name in figures and key in figures[name]
    ]
    return [value for value in past if value is not None]


def _defects(closes: _Closes, day: date, line: str, found: _Other) -> list[ComparedDefect]:
    """Calls over ware of each defect, those that differ most first."""
    mine = closes.pareto(day, line)
    theirs = [pareto for each in found.days if (pareto := closes.pareto(each, found.pairs[line])) is not None]
    ware = sum(pareto["ware"] for pareto in theirs)
    if mine is None or not mine["ware"] or not ware:
        return []
    names = {row["key"]: row["name"] for pareto in (*theirs, mine) for row in pareto["rows"]}
    calls = {row["key"]: row["calls"] for row in mine["rows"]}
    before = dict.fromkeys(names, 0)
    for pareto in theirs:
        for row in pareto["rows"]:
            before[row["key"]] += row["calls"]
    rows = [
        ComparedDefect(
            defect=key,
            name=names[key],
            calls=calls.get(key, 0),
            rate=calls.get(key, 0) / mine["ware"],
            other=before[key] / ware,
        )
        for key in names
    ]
    return sorted(rows, key=lambda row: -abs(row.rate - row.other))
