"""Closing and rebuilding production days."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.answers.counted_span import counted_span
from pipelines.answers.day import Day, answer_day, digest, kept_answers
from pipelines.answers.site_marks import SiteMarks, site_marks, works_mark
from pipelines.errors import WrongUse
from pipelines.jobs.pages import join_pages, put_page
from pipelines.ledger import Reader
from pipelines.ledger.history import confirm_close, keep_close
from pipelines.measures.yields.change import Revision, moved, revision_of
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.day.report import addresses_of, pages_of
from pipelines.site.folder import OpenSite
from pipelines.words import say

AROUND = timedelta(hours=12)  # feeds this far around a day can change it, through the lehr and open pallets


@dataclass(frozen=True)
class Closed:
    """One close. `changed` is None at the first close, else whether the answers differ from the close before."""

    day: date
    revision: int
    changed: bool | None
    page: Path
    missing: tuple[str, ...] = ()
    moved: Revision | None = None


def days_to_close(opened: OpenSite) -> list[date]:
    """Every production day with cold-end counts that is over, and was not closed since the last feed that touches it.
    Days without any, of a works that stood, are none.
    """
    clock, now = opened.plant.clock, opened.settings.now()
    with opened.ledger.reading() as reader:
        span = counted_span(reader, list(opened.known.lines))
        if span is None:
            return []
        closed = {row["day"]: row["last_batch"] for row in reader.ask("last_closes").iter_rows(named=True)}
        days = [day for day in clock.days_between(span.start, span.end) if clock.day(day).end <= now]
        due = [day for day in days if day not in closed or _touched(reader, opened.plant, day, closed[day])]
        return counted_days(reader, opened.known, due)


def counted_days(reader: Reader, plant: Plant, days: Sequence[date]) -> list[date]:
    """Those of some days (in order) on which ware passed a line's first stations: asked of all together, then of
    halves, so that years without any cost little.
    """
    if not days:
        return []
    moments = {"from_time": plant.clock.day(days[0]).start, "to_time": plant.clock.day(days[-1]).end}
    if not any(_ware(reader, plant, line, moments) for line in plant.lines):
        return []
    half = len(days) // 2
    return (
        list(days) if not half else counted_days(reader, plant, days[:half]) + counted_days(reader, plant, days[half:])
    )


def _ware(reader: Reader, plant: Plant, line: str, row: dict[str, Any]) -> int:
    """The ware of a line as its Pareto counts it."""
    mine = pl.col("station").is_in(plant.first_stations(line))
    return int(reader.ask("ware", line=line, **row).filter(mine)["inspected"].sum())


def _touched(reader: Reader, plant: Plant, day: date, after_batch: int) -> bool:
    span = plant.clock.day(day)
    rows = reader.ask(
        "batches_touching", after_batch=after_batch, from_time=span.start - AROUND, to_time=span.end + AROUND
    )
    return bool(rows.item())


def close_day(opened: OpenSite, day: date) -> Closed:
    """Answer a day, keep the answers if they are new, write its page. WrongUse for a day that is not over or
    unknown.
    """
    plant = opened.known
    end = plant.clock.day(day).end
    if end > opened.settings.now():
        raise WrongUse(f"production day {day} ends at {plant.clock.show(end)}; it can be closed after that")
    answer, before, marks = _answered(opened, plant, day)
    if all(pareto.ware == 0 for pareto in answer.paretos.values()):
        raise WrongUse(f"the ledger holds no cold-end count of production day {day}; see `coldledger feeds`")
    answers = kept_answers(answer)
    mark = digest(answers)
    changed = None if before.is_empty() else before["digest"][-1] != mark
    revision = 1 if before.is_empty() else int(before["revision"][-1]) + int(bool(changed))
    now = opened.settings.now()
    if before.is_empty() or changed:
        why = _revision(opened, day, before, answers) if changed else None
        keep_close(
            opened.ledger,
            answer.yields,
            revision,
            now,
            json.dumps(answers),
            mark,
            why.told() if why else None,
            answer.kept,
        )
    else:
        why = _kept_revision(before)
        confirm_close(opened.ledger, day, revision)
    page = _write(opened, plant, answer, say("revision {number}", number=revision), revision, marks, why)
    return Closed(day, revision, changed, page, _missing(answer), why if changed else None)


def _revision(opened: OpenSite, day: date, before: pl.DataFrame, answers: dict[str, Any]) -> Revision:
    """What a new close moved, and the files that came since the one before."""
    span = opened.known.clock.day(day)
    last = before.row(-1, named=True)
    with opened.ledger.reading() as reader:
        files = reader.ask(
            "files_since", after_batch=last["last_batch"], from_time=span.start - AROUND, to_time=span.end + AROUND
        )
    return Revision(
        int(last["revision"]), last["closed_at"], moved(json.loads(last["answers"]), answers), files.to_dicts()
    )


def _kept_revision(before: pl.DataFrame) -> Revision | None:
    """What the last close moved, as it was kept."""
    kept = before["moved"][-1] if not before.is_empty() else None
    return revision_of(kept) if kept else None


def _answered(opened: OpenSite, plant: Plant, day: date) -> tuple[Day, pl.DataFrame, SiteMarks]:
    """The day as the ledger has it now, its closes so far, and what the site was when it was answered."""
    with opened.ledger.reading() as reader:
        marks = site_marks(reader, works_mark(opened.plant))
        return answer_day(reader, plant, day), reader.ask("closes_of_day", day=day), marks


def _missing(day: Day) -> tuple[str, ...]:
    notes = [note for line in day.yields.lines for note in line.notes if not note.startswith("lehr time")]
    return (*notes, *(note for furnace in day.yields.furnaces for note in furnace.notes))


def _write(
    opened: OpenSite, plant: Plant, day: Day, words: str, revision: int, marks: SiteMarks, why: Revision | None = None
) -> Path:
    """The page of a day, kept with what the site was when it was answered. The page of every earlier revision stays
    beside it, under its number.
    """
    path: Path = opened.site.reports / ALL_REPORTS["day"].address(day.day)
    earlier = []
    for number in range(1, revision):
        kept = path.with_suffix(f".r{number}.html")
        if number == revision - 1 and path.exists() and not kept.exists():
            _set_aside([opened.site.reports / address for address in addresses_of(plant, day.day)], number)
        if kept.exists():
            earlier.append((say("revision {number}", number=number), kept.name))
    pages = pages_of(plant, day, words, why, tuple(earlier))
    join_pages(opened, [put_page(opened, page, address, marks) for address, page in pages.items()])
    return path


def _set_aside(pages: Sequence[Path], number: int) -> None:
    """Keep a day's pages and their workbooks under the number of their revision, leading to each other and to their
    own workbooks.
    """
    there = [page.resolve() for page in pages if page.exists()]
    for page in there:
        kept, book = page.with_suffix(f".r{number}.html"), page.with_suffix(".xlsx")
        kept.write_text(_leading_to(page, there, number), encoding="utf-8")
        if book.exists():
            book.replace(kept.with_suffix(".xlsx"))


def _leading_to(page: Path, pages: Sequence[Path], number: int) -> str:
    """A page's text, its links to some pages and to their workbooks leading to those of a revision."""
    known = {each.with_suffix("") for each in pages}

    def link(found: re.Match[str]) -> str:
        to = (page.parent / found[2]).resolve()
        return f'{found[1]}="{found[2]}.r{number}{found[3]}"' if to in known else found[0]

    return re.sub(r'(href|data-to)="([^":#?]+)(\.html|\.xlsx)"', link, page.read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Rebuilt:
    """One rebuilt day. `same` is None where the day was never closed."""

    day: date
    same: bool | None
    page: Path


def rebuild_day(opened: OpenSite, day: date) -> Rebuilt:
    """Compute a day again from what was taken in and compare with its last close."""
    plant = opened.known
    answer, before, marks = _answered(opened, plant, day)
    same = None if before.is_empty() else before["digest"][-1] == digest(kept_answers(answer))
    revision = 0 if before.is_empty() else int(before["revision"][-1])
    words = {
        None: say("never closed"),
        True: say("revision {number}", number=revision),
        False: say("computed again, other than revision {number}: close the day", number=revision),
    }
    number = revision + 1 if same is False else revision
    return Rebuilt(day, same, _write(opened, plant, answer, words[same], number, marks, _kept_revision(before)))
