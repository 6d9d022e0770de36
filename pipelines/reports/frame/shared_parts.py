"""What several pages share: addresses, Pareto tables and charts, sources."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.clock import Span
from pipelines.measures.pareto.kinds_of_call import apart_words
from pipelines.measures.pareto.words import doubt_words
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from schemas.answers.pareto import Pareto, ParetoRow

SHOWN = 12


def day_address(day: date) -> str:
    return f"day/{day.isoformat()}.html"


def weights_address(day: date, line: str) -> str:
    return f"weights/{day.isoformat()}/{line}.html"


def laboratory_address(day: date, furnace: str) -> str:
    return f"laboratory/{day.isoformat()}/{furnace}.html"


def hour_address(plant: Plant, line: str, span: Span) -> str:
    """The page of an hour: production day, line, number of the hour in its day, local time."""
    clock = plant.clock
    day = clock.day_of(span.start)
    number = int((span.start - clock.day(day).start).total_seconds() // 3600) + 1
    return f"hour/{day.isoformat()}/{line}-{number:02d}-{clock.local(span.start):%H%M}.html"


def percent(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{decimals(100 * value, digits)} %"


def count(value: float | None) -> str:
    return "–" if value is None else decimals(value).replace("\u2009", " ")


def waiting_words(rows: int, files: int) -> str:
    """What waits in quarantine: single rows, and files refused whole."""
    return f"{count(rows)} {waiting_after_rows(files)}"


def waiting_after_rows(files: int) -> str:
    """The same after the number of rows, which stands by itself."""
    return f"rows and {count(files)} files wait in quarantine"


def stretch(plant: Plant, start: datetime, end: datetime) -> str:
    """From when to when, by the local clock; the second day only where more than a day lies between."""
    answer, other = plant.clock.local(start), plant.clock.local(end)
    until = f"{other:%H:%M}" if other - answer < timedelta(days=1) else f"{other:%Y-%m-%d %H:%M}"
    return f"{answer:%Y-%m-%d %H:%M} to {until}"


def label(row: ParetoRow) -> str:
    """A bar's name; the severity in words, so that colour is never needed."""
    if row.severity in ("critical", "major"):
        return f"{row.key} {row.name} ({row.severity})"
    return row.name if row.key in row.name else f"{row.key} {row.name}"


def shown_rows(pareto: Pareto, most: int = SHOWN) -> list[ParetoRow]:
    """The first rows, and every later one that holds a critical call."""
    return [row for number, row in enumerate(pareto.rows) if number < most or row.critical_calls]


def pareto_chart(pareto: Pareto, words: str) -> str:
    """Bars of calls with a tick at the number the job's past would lead one to expect."""
    rows: list[dict[str, Any]] = []
    for row in shown_rows(pareto):
        expected = row.baseline * pareto.ware if row.baseline is not None else None
        rows.append(
            {
                "label": label(row),
                "value": row.calls,
                "shown": f"{row.calls}",
                "kind": row.severity or "major",
                "expected": expected,
                "top": max(row.calls, expected or 0),
            }
        )
    return charts.svg(charts.bars, words, rows, "calls") if rows else ""


PARETO_COLUMNS = (
    Column("key", "Code"),
    Column("name", "Name"),
    Column("severity", "Severity"),
    Column("calls", "Calls", "count"),
    Column("share", "Share", "percent1"),
    Column("cumulative", "Cumulative", "percent1"),
    Column("rate", "Rate on line's ware", "percent"),
    Column("baseline", "Expected", "percent"),
    Column("q", "q of the excess", "number3"),
    Column("own_ware", "Own ware", "count"),
    Column("own_rate", "Rate on own ware", "percent"),
)


def pareto_sheet(pareto: Pareto, name: str, title: str) -> Sheet:
    """The whole Pareto as a table, with both denominators in its caption."""
    rows = [
        row.model_dump()
        | {"severity": row.severity or (f"{row.critical_calls} critical" if row.critical_calls else "")}
        for row in pareto.rows
    ]
    caption = (
        f"{count(pareto.calls)} calls; rate = calls / {count(pareto.ware)} containers at the first station; own ware = "
        "containers that could have been called so."
    )
    caption += doubt_words(pareto)
    if pareto.refed:
        caption += f" {count(pareto.refed)} more went through the first station again and are no new ware."
    if pareto.apart:
        caption += f" Thrown out for no fault, and in no figure above: {apart_words(pareto.apart)}."
    if pareto.why:
        caption = pareto.why
    strong = [number for number, row in enumerate(pareto.rows) if row.critical_calls]
    return Sheet(name, title, PARETO_COLUMNS, rows, caption, strong=strong)


def queries_words(asked: Collection[str]) -> str:
    """The queries that were asked for a page, in a sentence of its sources."""
    return f"queries: {', '.join(f'sql/{name}.sql' for name in sorted(asked))}"


def sources(asked: Collection[str], files: pl.DataFrame) -> tuple[str, ...]:
    """The queries that were asked for a page, and the received files behind it."""
    named = [
        f"{row['feed']}: {row['rows_used']} rows of archive/{row['archived_as']} (SHA-256 {row['sha256'][:16]}…)"
        for row in files.head(60).iter_rows(named=True)
    ]
    more = [f"and {files.height - 60} more files"] if files.height > 60 else []
    return (queries_words(asked), *named, *more)


def uncalled_sentence(row: dict[str, Any]) -> str:
    """A station that rejected more containers than it made calls, in words."""
    return (
        f"{row['station']}: {count(row['rejected'])} containers rejected and only {count(row['calls'])} calls; "
        "reject_counts are missing or late, and the Pareto is short of them."
    )


def missing_section(items: Sequence[str]) -> Section:
    """What is missing or doubtful; said even when it is nothing."""
    texts = tuple(items) or ("Nothing known to be missing.",)
    return Section("What is missing or doubtful", items=texts, warn=bool(items), wide=True)
