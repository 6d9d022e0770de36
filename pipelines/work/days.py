"""Closing and rebuilding production days."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import polars as pl

from pipelines.answers.day import Day, answer_day, digest, kept_answers
from pipelines.errors import WrongUse
from pipelines.ledger import Reader
from pipelines.ledger.history import confirm_close, keep_close
from pipelines.plant import Plant
from pipelines.reports import ALL_REPORTS, write_page
from pipelines.reports.day import page_of
from pipelines.site import OpenSite

AROUND = timedelta(hours=12)  # feeds this far around a day can change it, through the lehr and open pallets


@dataclass(frozen=True)
class Closed:
    """One close. `changed` is None at the first close, else whether the answers differ from the close before."""

    day: date
    revision: int
    changed: bool | None
    page: Path
    missing: tuple[str, ...] = ()


def days_to_close(opened: OpenSite) -> list[date]:
    """Every production day with cold-end counts that is over, and was not closed since the last feed that touches it."""
    clock, now = opened.plant.clock, opened.settings.now()
    with opened.ledger.reading() as reader:
        spans = reader.ask("span_of_ledger")
        if spans.is_empty():
            return []
        closed = {row["day"]: row["last_batch"] for row in reader.ask("last_closes").iter_rows(named=True)}
        first: datetime = spans["first_window"].min()  # type: ignore[assignment]
        last: datetime = spans["last_window"].max()  # type: ignore[assignment]
        days = [day for day in clock.days_between(first, last) if clock.day(day).end <= now]
        return [day for day in days if day not in closed or _touched(reader, opened.plant, day, closed[day])]


def _touched(reader: Reader, plant: Plant, day: date, after_batch: int) -> bool:
    span = plant.clock.day(day)
    told = reader.ask(
        "batches_touching", after_batch=after_batch, from_time=span.start - AROUND, to_time=span.end + AROUND
    )
    return bool(told.item())


def close_day(opened: OpenSite, day: date) -> Closed:
    """Answer a day, keep the answers if they are new, write its page. WrongUse for a day that is not over or unknown."""
    plant = opened.known
    end = plant.clock.day(day).end
    if end > opened.settings.now():
        raise WrongUse(f"production day {day} ends at {plant.clock.show(end)}; it can be closed after that")
    told, before = _answered(opened, plant, day)
    if all(pareto.ware == 0 for pareto in told.paretos.values()):
        raise WrongUse(f"the ledger holds no cold-end count of production day {day}; see `coldledger feeds`")
    answers = kept_answers(told)
    mark = digest(answers)
    changed = None if before.is_empty() else before["digest"][-1] != mark
    revision = 1 if before.is_empty() else int(before["revision"][-1]) + int(bool(changed))
    if before.is_empty() or changed:
        keep_close(opened.ledger, day, revision, opened.settings.now(), json.dumps(answers), mark)
    else:
        confirm_close(opened.ledger, day, revision)
    return Closed(day, revision, changed, _write(opened, plant, told, revision), _missing(told))


def _answered(opened: OpenSite, plant: Plant, day: date) -> tuple[Day, pl.DataFrame]:
    """The day as the ledger has it now, and its closes so far."""
    with opened.ledger.reading() as reader:
        return answer_day(reader, plant, day), reader.ask("closes_of_day", day=day)


def _missing(told: Day) -> tuple[str, ...]:
    notes = [note for line in told.told.lines for note in line.notes if not note.startswith("lehr time")]
    return (*notes, *(note for furnace in told.told.furnaces for note in furnace.notes))


def _write(opened: OpenSite, plant: Plant, told: Day, revision: int) -> Path:
    path: Path = opened.site.reports / ALL_REPORTS["day"].address(told.day)
    write_page(page_of(plant, told, f"revision {revision}"), path)
    return path


@dataclass(frozen=True)
class Rebuilt:
    """One rebuilt day. `same` is None where the day was never closed."""

    day: date
    same: bool | None
    page: Path


def rebuild_day(opened: OpenSite, day: date) -> Rebuilt:
    """Compute a day again from what was taken in and compare with its last close."""
    plant = opened.known
    told, before = _answered(opened, plant, day)
    same = None if before.is_empty() else before["digest"][-1] == digest(kept_answers(told))
    revision = 0 if before.is_empty() else int(before["revision"][-1])
    return Rebuilt(day, same, _write(opened, plant, told, revision))


def days_in(first: date, last: date) -> Sequence[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]
