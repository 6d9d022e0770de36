"""Everything a day page shows, and the answers that a close keeps."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import polars as pl

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_doubts, kept_signals, ranked, with_notes
from pipelines.answers.yields import answer_yield, cold_weights
from pipelines.clock import Span
from pipelines.ledger.store import Reader
from pipelines.measures.weights import ItemWeights, item_weights_of
from pipelines.plant import Plant
from schemas.results import Pareto, Signal, Yield


@dataclass(frozen=True)
class Day:
    """One production day. By line: Paretos by defect of the day, of each shift (name, Pareto); hours; weights; coverage; files."""

    day: date
    span: Span
    told: Yield
    paretos: dict[str, Pareto]
    shifts: dict[str, list[tuple[str, Pareto]]]
    hours: dict[str, pl.DataFrame]
    weights: dict[str, list[ItemWeights]]
    coverage: dict[str, pl.DataFrame]
    uncalled: dict[str, pl.DataFrame]
    files: pl.DataFrame
    waiting: tuple[int, int]
    signals: list[Signal]
    doubts: list[tuple[str, datetime, str]]


def answer_day(reader: Reader, plant: Plant, day: date) -> Day:
    """The production day of all lines."""
    span = plant.clock.day(day)
    about = {line.id: {"line": line.id, "from_time": span.start, "to_time": span.end} for line in plant.line}
    waiting = reader.ask("open_refusals_count").row(0)
    return Day(
        day=day,
        span=span,
        told=answer_yield(reader, plant, day),
        paretos={line: answer_pareto(reader, plant, line, span) for line in about},
        shifts={
            line: [(shift.name, answer_pareto(reader, plant, line, shift.span)) for shift in plant.clock.shifts_of(day)]
            for line in about
        },
        hours={line: reader.ask("hours_of_day", **told) for line, told in about.items()},
        weights={line: item_weights_of(plant, cold_weights(reader, plant, line, span)) for line in about},
        uncalled={line: reader.check("reject_counts__cover_rejected", **told) for line, told in about.items()},
        coverage={line: reader.ask("coverage", **told) for line, told in about.items()},
        files=pl.concat([reader.ask("files_behind", **told) for told in about.values()]),
        waiting=(int(waiting[0]), int(waiting[1])),
        signals=signals_of_day(reader, span),
        doubts=answer_doubts(reader, plant, span),
    )


def signals_of_day(reader: Reader, span: Span) -> list[Signal]:
    """Every excess that was open at any time of the day, as it stood at its end, the most harmful first."""
    kept = [one for one in kept_signals(reader, span.start, span.end) if one.kind == "excess"]
    return ranked(with_notes(reader, kept))


def kept_answers(day: Day) -> dict[str, Any]:
    """What a close keeps of a day, as JSON values: the yield and every line's Pareto."""
    return {"yield": day.told.told(), "pareto": {line: told.told() for line, told in day.paretos.items()}}


def digest(answers: dict[str, Any]) -> str:
    """SHA-256 over the answers; equal answers have equal digests.

    Figures count to four decimals, those below one to nine: sums of parts differ in the last bits with the order of adding.
    """
    return hashlib.sha256(json.dumps(_steady(answers), sort_keys=True).encode()).hexdigest()


def _steady(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _steady(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_steady(one) for one in value]
    return round(value, 4 if abs(value) >= 1 else 9) + 0.0 if isinstance(value, float) else value
