"""Everything a day page shows, and the answers that a close keeps."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.breakages import Breakage, answer_breakages
from pipelines.answers.holds import answer_holds
from pipelines.answers.laboratory.answer import answer_laboratory
from pipelines.answers.lehr import lehr_time
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_doubts, kept_signals, ranked, with_notes
from pipelines.answers.trace.trust import doubts_in
from pipelines.answers.weights.answer import study_weights
from pipelines.answers.yields.answer import Kept, yield_and_readings
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.trust import Doubt
from pipelines.measures.yields.change import MONTH, YieldChange, changes
from pipelines.plant.works import Plant
from schemas.answers.holds import HeldPallet
from schemas.answers.laboratory import LaboratoryDay
from schemas.answers.pareto import Pareto
from schemas.answers.signals import Signal
from schemas.answers.trust import StationDoubt
from schemas.answers.weights import Weights
from schemas.answers.yields import Yield


@dataclass(frozen=True)
class Day:
    """One production day. By line: Paretos by defect of the day, of each shift (name, Pareto); hours; weights;
    coverage; files.

    items: what each line made, in order of time. actions: what was done in the day.
    judged: lines of which some hour has a past by which an excess could show.
    held, holds: pallets as they stand when asked, by the warehouse and by decision; unvouched: stretches for which no
    challenge vouches.
    asked: the queries behind all of it.
    """

    day: date
    span: Span
    yields: Yield
    paretos: dict[str, Pareto]
    shifts: dict[str, list[tuple[str, Pareto]]]
    hours: dict[str, pl.DataFrame]
    weights: dict[str, list[Weights]]
    laboratory: LaboratoryDay
    coverage: dict[str, pl.DataFrame]
    uncalled: dict[str, pl.DataFrame]
    files: pl.DataFrame
    waiting: tuple[int, int]
    signals: list[Signal]
    doubts: list[tuple[str, datetime, str]]
    changes: list[YieldChange]
    held: pl.DataFrame
    holds: list[HeldPallet]
    breakages: list[Breakage]
    unvouched: list[StationDoubt]
    usual_doubts: list[Doubt]
    kept: list[Kept]
    items: dict[str, tuple[str, ...]]
    actions: pl.DataFrame
    judged: frozenset[str]
    asked: frozenset[str]


def answer_day(reader: Reader, plant: Plant, day: date) -> Day:
    """The production day of all lines."""
    reader = reader.noting()
    span = plant.clock.day(day)
    about = {line.id: {"line": line.id, "from_time": span.start, "to_time": span.end} for line in plant.line}
    day_yield, kept = yield_and_readings(reader, plant, day)
    waiting = reader.ask("open_refusals_count").row(0)
    unvouched, usual_doubts = doubts_in(reader, plant, plant.clock.day(day))
    return Day(
        day=day,
        span=span,
        yields=day_yield,
        paretos={line: answer_pareto(reader, plant, line, span) for line in about},
        shifts={
            line: [(shift.name, answer_pareto(reader, plant, line, shift.span)) for shift in plant.clock.shifts_of(day)]
            for line in about
        },
        hours={line: reader.ask("hours_of_day", **row, no_faults=plant.no_faults) for line, row in about.items()},
        weights={
            line: [study_weight.weights for study_weight in study_weights(reader, plant, line, span)] for line in about
        },
        laboratory=answer_laboratory(reader, plant, day),
        uncalled={line: reader.check("reject_counts__cover_rejected", **row) for line, row in about.items()},
        coverage={line: reader.ask("coverage", **row) for line, row in about.items()},
        files=pl.concat([reader.ask("files_behind", **row) for row in about.values()]),
        waiting=(int(waiting[0]), int(waiting[1])),
        signals=signals_of_day(reader, span),
        doubts=answer_doubts(reader, plant, span),
        changes=day_changes(reader, day_yield),
        held=reader.ask("pallets_held"),
        holds=[hold for hold in answer_holds(reader) if hold.hold],
        breakages=answer_breakages(reader, plant, span, span.end),
        unvouched=unvouched,
        usual_doubts=usual_doubts,
        kept=kept,
        items={line: items_made(reader, plant, line, span) for line in about},
        actions=reader.ask("actions_between", from_time=span.start, to_time=span.end),
        judged=frozenset(line for line in about if has_past(reader, line, span)),
        asked=frozenset(reader.asked),
    )


def has_past(reader: Reader, line: str, span: Span) -> bool:
    """Whether any hour of a time has a past by which an excess of the line could show."""
    rows = reader.ask("expected_defects_by_hour", line=line, from_time=span.start, to_time=span.end)
    return not rows.is_empty()


def items_made(reader: Reader, plant: Plant, line: str, span: Span) -> tuple[str, ...]:
    """The items of the ware that met a line's first station in a time, in order; empty where no job log tells."""
    lehr = lehr_time(reader, plant, line, span)
    jobs = reader.ask("jobs_of_line", line=line, from_time=lehr.formed(span.start), to_time=lehr.formed(span.end))
    return tuple(dict.fromkeys(item for item in jobs["item"] if item))


def day_changes(reader: Reader, day_yield: Yield) -> list[YieldChange]:
    """The day's figures against the last 7 and 28 closed days."""
    rows = reader.ask("balances_before", first_day=day_yield.day - timedelta(days=MONTH), day=day_yield.day)
    past = [(row["day"], json.loads(row["told"])) for row in rows.iter_rows(named=True)]
    today = [json.loads(day_yield.brief(furnace.furnace)) for furnace in day_yield.furnaces]
    return changes(day_yield.day, today, past)


def signals_of_day(reader: Reader, span: Span) -> list[Signal]:
    """Every excess that was open at any time of the day, as it stood at its end, the most harmful first."""
    kept = [signal for signal in kept_signals(reader, span.start, span.end) if signal.kind == "excess"]
    return ranked(with_notes(reader, kept))


def kept_answers(day: Day) -> dict[str, Any]:
    """What a close keeps of a day, as JSON values: the yield and every line's Pareto."""
    row = day.yields.told()
    for line in row["lines"]:
        line["causes"] = _merged(line["causes"])
    return {"yield": row, "pareto": {line: pareto.told() for line, pareto in day.paretos.items()}}


def _merged(causes: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Losses by cause, all shifts and jobs of the day together."""
    sums: dict[tuple[str, str, str], dict[str, Any]] = {}
    for cause in causes:
        key = (cause["kind"], cause["where"], cause["cause"])
        into = sums.setdefault(key, {**cause, "shift": "", "job": "", "units": 0.0, "kg": 0.0})
        into["units"] += cause["units"]
        into["kg"] += cause["kg"]
    return [sums[key] for key in sorted(sums)]


def digest(answers: dict[str, Any]) -> str:
    """SHA-256 over the answers; equal answers have equal digests.

    Figures count to four decimals, those below one to nine: sums of parts differ in the last bits with the order of
    adding.
    """
    return hashlib.sha256(json.dumps(_steady(answers), sort_keys=True).encode()).hexdigest()


def _steady(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _steady(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_steady(each) for each in value]
    return round(value, 4 if abs(value) >= 1 else 9) + 0.0 if isinstance(value, float) else value
