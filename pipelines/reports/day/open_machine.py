"""The page of a machine on a production day that is not closed: running figures."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from pipelines.answers.day import signals_of_day
from pipelines.answers.day_so_far import SoFar, answer_so_far, shifts_so_far
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.statistics.shares import share
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, machine_address
from pipelines.reports.day.hours import hours_sheet
from pipelines.reports.day.machine_tables import pareto_section, shift_sheet
from pipelines.reports.day.so_far import so_far_words
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.pareto import pareto_sheet
from pipelines.reports.signals import LISTED, signals_sheet
from pipelines.words import day_named, say
from schemas.answers.pareto import Pareto


def open_machine_page(reader: Reader, plant: Plant, line: str, day: date, now: datetime) -> Page:
    """What is counted of a machine until now."""
    reader = reader.noting()
    so_far = answer_so_far(reader, plant, day, now, (line,))
    others = tuple((other, f"{other}.html") for other in plant.lines if other != line)
    return Page(
        title=say("{line}, {day}", line=line, day=day_named(day)),
        when=so_far_words(plant, so_far.as_of, so_far.span.end),
        figures=tuple(_figures(so_far, line)),
        sections=tuple(_sections(reader, plant, so_far, line)),
        links=(
            (say("← day before"), f"../../{machine_address(day - timedelta(days=1), line)}"),
            (say("the day"), f"../../{day_address(day)}"),
            *others,
        ),
        cautions=(CAUTION, GLASS),
        sources=(queries_words(frozenset(reader.asked)),),
        made=say("Running figures; yield, losses and their causes are told at the close."),
        paper="sheets",
    )


def _figures(so_far: SoFar, line: str) -> list[Figure]:
    what = say("rejected so far")
    pareto = so_far.paretos.get(line)
    if pareto is None or pareto.why:
        return [Figure("–", what, say("not known: no count came"))]
    before = so_far.before[line]
    then = share(before.rejected_for_faults, before.ware)
    under = say("{rejected} of {ware} containers", rejected=count(pareto.rejected_for_faults), ware=count(pareto.ware))
    return [
        Figure(percent(share(pareto.rejected_for_faults, pareto.ware), 1), what, under),
        Figure(percent(then, 1), say("in the same hours of the day before"), _of(before)),
        Figure(
            count(sum(row.critical_calls for row in pareto.rows)),
            say("critical calls"),
            say("containers caught"),
        ),
    ]


def _of(before: Pareto) -> str:
    return before.why or say("of {ware} containers", ware=count(before.ware))


def _sections(reader: Reader, plant: Plant, so_far: SoFar, line: str) -> list[Section]:
    if so_far.as_of is None:
        return [Section(say("Shift by shift"), (say("No count of this line came in this day."),), wide=True)]
    seen = Span(so_far.span.start, so_far.as_of)
    rows = reader.ask("hours_of_day", line=line, from_time=seen.start, to_time=seen.end, no_faults=plant.no_faults)
    mine = [each for each in signals_of_day(reader, seen) if line == each.line or line in each.members]
    pareto = so_far.paretos[line]
    found = [
        Section(say("Shift by shift"), sheet=shift_sheet(shifts_so_far(so_far, line)), wide=True),
        pareto_section(pareto),
        Section(say("Hours"), sheet=hours_sheet(plant, so_far.day, line, rows, so_far.as_of)),
    ]
    if mine:
        sheet = signals_sheet(plant, mine, seen.start, "signals", LISTED)
        found.append(Section(say("Signals of the day"), sheet=sheet, wide=True))
    whole = pareto_sheet(pareto, f"pareto-{line}", say("{line} Pareto", line=line))
    return [*found, Section(say("Pareto of the day"), sheet=whole, wide=True, on_screen=True)]
