"""The pack-to-melt of a production day, straight from the ledger."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.yields.line_day import cut_between, line_day
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.yields.balance import Balanced, balanced, window_days
from pipelines.measures.yields.furnace_yield import balances_of, furnace_yield, meters_of
from pipelines.measures.yields.line_flows import (
    ItemMass,
    LineDay,
    Packed,
    carried_by_part,
    furnace_reading,
    line_reading,
    masses_of,
    melt_of,
    melt_shift,
    pack_span,
    packed_in,
    running_at_end,
    without_pallets,
)
from pipelines.measures.yields.line_yield import LineTold, factors_of, line_yield, unseen_of
from pipelines.measures.yields.losses import MachineLosses, machine_losses
from pipelines.measures.yields.losses_expected import usual_of
from pipelines.measures.yields.network import FurnaceReading, LineReading, reading_of
from pipelines.measures.yields.overpacked import above_what_passed
from pipelines.measures.yields.suspects import could_be, suspects_of
from pipelines.measures.yields.table_wait import CarriedItems, CarriedTable, carried_over
from pipelines.measures.yields.usual_losses import DAYS, ExpectedLosses
from pipelines.plant.tables import Furnace
from pipelines.plant.works import Plant
from schemas.answers.meters import CouldBe, SuspectMeter
from schemas.answers.yields import FurnaceYield, LineYield, Yield

TOGETHER = "judged together with"  # beside the expectations of a close's `usual`


@dataclass(frozen=True)
class Kept:
    """What a close keeps of a furnace's day beside its answers: the readings, what was expected to be lost unseen, and
    the closes of earlier days (day, revision) that it was judged together with.
    """

    furnace: str
    reading: FurnaceReading
    usual: Mapping[str, ExpectedLosses]
    together: tuple[tuple[date, int], ...] = ()

    def reading_json(self) -> str:
        return json.dumps(self.reading.kept())

    def usual_json(self) -> str:
        days = [(day.isoformat(), revision) for day, revision in self.together]
        return json.dumps(
            {name: asdict(expected_losses) for name, expected_losses in self.usual.items()} | {TOGETHER: days}
        )


def answer_yield(reader: Reader, plant: Plant, day: date, furnace: str | None = None, line: str | None = None) -> Yield:
    """The day's yield of every furnace and line, or of those asked for; WrongUse for unknown ones."""
    return yield_and_readings(reader, plant, day, furnace, line)[0]


def yield_as_known(
    reader: Reader, plant: Plant, day: date, known_at: datetime, furnace: str | None = None, line: str | None = None
) -> Yield:
    """The day's yield as it was known at an earlier moment: word for word what the last close until then told, or
    worked out from the rows received until then where there was none. `reader` looks back to that moment.
    """
    check_names(plant, furnace, line)
    closes = reader.ask("closes_of_day", day=day)
    if closes.is_empty():
        return answer_yield(reader, plant, day, furnace, line).model_copy(update={"known_at": known_at})
    last = closes.row(-1, named=True)
    day_yield = Yield.model_validate(json.loads(last["answers"])["yield"])
    of_line = plant.lines[line].furnace if line is not None else furnace
    return day_yield.model_copy(
        update={
            "known_at": known_at,
            "revision": int(last["revision"]),
            "closed_at": last["closed_at"],
            "furnaces": tuple(this_yield for this_yield in day_yield.furnaces if of_line in (None, this_yield.furnace)),
            "lines": tuple(
                this_yield
                for this_yield in day_yield.lines
                if line in (None, this_yield.line)
                and (of_line is None or plant.lines[this_yield.line].furnace == of_line)
            ),
        }
    )


def yield_and_readings(
    reader: Reader, plant: Plant, day: date, furnace: str | None = None, line: str | None = None
) -> tuple[Yield, list[Kept]]:
    """The day's yield, and the readings of its furnaces that a close keeps."""
    check_names(plant, furnace, line)
    of_line = plant.lines[line].furnace if line is not None else furnace
    span = plant.clock.day(day)
    past = _Past(
        reader.ask("readings_before", first_day=day - timedelta(days=DAYS), day=day),
        reader.ask("usual_of_day", day=day),
    )
    found = [
        _of_furnace(reader, plant, this_furnace, day, span, past)
        for this_furnace in plant.furnace
        if of_line in (None, this_furnace.id)
    ]
    lines = {this_yield.line: this_yield for furnace_told in found for this_yield in furnace_told.lines}
    answer = Yield(
        day=day,
        furnaces=tuple(each.furnace for each in found),
        lines=tuple(
            lines[this_line.id] for this_line in plant.line if this_line.id in lines and line in (None, this_line.id)
        ),
        suspect_meters=tuple(suspect for each in found for suspect in each.suspects),
        unusual_losses=tuple(suspect for each in found for suspect in each.unusual),
        could_be=tuple(cause for furnace_told in found for cause in furnace_told.could_be),
        meters=tuple(meter for each in found for meter in meters_of(each.balanced)),
        balances=tuple(row for each in found for row in balances_of(each.balanced)),
    )
    return answer, [each.kept for each in found]


def check_names(plant: Plant, furnace: str | None, line: str | None) -> None:
    if furnace is not None and furnace not in plant.furnaces:
        raise WrongUse(f"there is no furnace '{furnace}' in works.toml; it has {', '.join(plant.furnaces)}")
    if line is not None and line not in plant.lines:
        raise WrongUse(f"there is no line '{line}' in works.toml; it has {', '.join(plant.lines)}")


@dataclass(frozen=True)
class _FurnaceParts:
    furnace: FurnaceYield
    lines: list[LineYield]
    balanced: Balanced
    kept: Kept
    suspects: list[SuspectMeter]
    unusual: list[SuspectMeter]
    could_be: list[CouldBe]


def _packed_by_part(plant: Plant, day: LineDay, carried: Sequence[CarriedItems]) -> list[Packed]:
    """What was packed in each shift and job of a line's day."""
    return [
        packed_in(day.pallets, day.passed, pack_span(plant, day.line, part.span), _running(day, n), carried[n - 1])
        for n, part in enumerate(day.parts, 1)
    ]


def _machine_losses(
    plant: Plant, day: LineDay, parts: Sequence[Packed], made: Balanced, reading: LineReading, mass: ItemMass
) -> MachineLosses:
    factors, unseen = factors_of(made, reading), unseen_of(made, reading)
    return machine_losses(plant, day, parts, factors, unseen, mass, reading.gob_g)


def _of_furnace(reader: Reader, plant: Plant, furnace: Furnace, day: date, span: Span, before: _Past) -> _FurnaceParts:
    shifts = [(shift.name, shift.span) for shift in plant.clock.shifts_of(day)]
    whole = {
        this_line.id: line_day(reader, plant, this_line.id, span, shifts) for this_line in plant.lines_of(furnace.id)
    }
    doubted = {
        line: above_what_passed(each.pallets, each.passed, pack_span(plant, line, span)) for line, each in whole.items()
    }
    days = {line: without_pallets(each, doubted[line].rows) for line, each in whole.items()}
    waited = {
        line: carried_over(each.pallets, each.passed, pack_span(plant, line, span)) for line, each in days.items()
    }
    carried = {line: carried_by_part(each, waited[line]) for line, each in days.items()}
    packed = {line: _packed(plant, each, carried[line], waited[line]) for line, each in days.items()}
    masses = {line: masses_of(plant, each, packed[line]) for line, each in days.items()}
    first = [line_reading(plant, each, packed[line], masses[line]) for line, each in days.items()]
    then = span.shifted(-melt_shift(first, {line: each.lehr for line, each in days.items()}))
    rows = reader.ask("melt_of_furnace", furnace=furnace.id, from_time=then.start, to_time=then.end)
    melt = melt_of(furnace, rows, then)
    days = {line: replace(each, melt_cut=cut_between(reader, line, then)) for line, each in days.items()}
    readings = {line: line_reading(plant, each, packed[line], masses[line]) for line, each in days.items()}
    reading = furnace_reading(furnace.id, melt, list(readings.values()))
    past = before.readings(furnace.id)
    usual = before.usual(furnace.id, usual_of(plant, reading, [this_furnace for _, _, this_furnace in past]))
    made = balanced(plant, reading, usual, [this_furnace for _, _, this_furnace in past])
    window = window_days([earlier for earlier, _, _ in past], day, made.days)
    lines = []
    for line, this_day in days.items():
        parts = _packed_by_part(plant, this_day, carried[line])
        machine = _machine_losses(plant, this_day, parts, made, readings[line], masses[line])
        lines.append(LineTold(this_day, packed[line], masses[line], readings[line], machine, doubted[line]))
    suspects, unusual = suspects_of(made, window)
    return _FurnaceParts(
        furnace_yield(plant, made, melt, usual, lines),
        [line_yield(plant, line_told, made) for line_told in lines],
        made,
        Kept(furnace.id, reading, usual, tuple((earlier, revision) for earlier, revision, _ in past)),
        suspects,
        unusual,
        could_be(made, window),
    )


def _packed(plant: Plant, day: LineDay, parts: Sequence[CarriedItems], waited: CarriedTable) -> Packed:
    units: dict[str, float] = {}
    for item, more in (row for part in parts for row in part.units.items()):
        units[item] = units.get(item, 0.0) + more
    whole = CarriedItems(units, waited.variance)
    return packed_in(day.pallets, day.passed, pack_span(plant, day.line, day.span), running_at_end(day), whole)


def _running(day: LineDay, number: int) -> Sequence[str]:
    return running_at_end(day) if number == len(day.parts) else ()


@dataclass(frozen=True)
class _Past:
    """What the closes before a day, and the day's own, kept of all furnaces. rows: of readings_before; settled: of
    usual_of_day.
    """

    rows: pl.DataFrame
    settled: pl.DataFrame

    def readings(self, furnace: str) -> list[tuple[date, int, FurnaceReading]]:
        """What a furnace's meters read on earlier days, the oldest first: by the closes that the day's first close was
        judged together with, so that a rebuild finds the same answers; by the last closes where it kept none.
        """
        mine = list(self.rows.filter(pl.col("furnace") == furnace).iter_rows(named=True))
        newest = {row["day"]: row["revision"] for row in mine}  # revisions come in order
        kept = self._settled(furnace).get(TOGETHER)
        chosen = newest if kept is None else {date.fromisoformat(day): revision for day, revision in kept}
        return [
            (row["day"], row["revision"], reading_of(json.loads(row["reading"])))
            for row in mine
            if chosen.get(row["day"]) == row["revision"]
        ]

    def usual(self, furnace: str, fresh: dict[str, ExpectedLosses]) -> dict[str, ExpectedLosses]:
        """What is expected to be lost unseen; as the day's first close settled it."""
        settled = {name: ExpectedLosses(**each) for name, each in self._settled(furnace).items() if name != TOGETHER}
        return {name: settled.get(name, expected_losses) for name, expected_losses in fresh.items()}

    def _settled(self, furnace: str) -> dict[str, Any]:
        for row in self.settled.filter(pl.col("furnace") == furnace).iter_rows(named=True):
            return dict(json.loads(row["usual"]))
        return {}


__all__ = ["Kept", "answer_yield", "yield_and_readings", "yield_as_known"]
