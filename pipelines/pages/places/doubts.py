"""The page of clocks and counts that cannot be right."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from pipelines.answers.now import newest_count
from pipelines.answers.station_faults import answer_station_faults
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.trace.station_faults import StationFault
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure, Section
from pipelines.reports.frame.shared_parts import count
from pipelines.reports.frame.sheet import Column, Sheet

NEWEST = timedelta(hours=8)
_COLUMNS = (
    Column("line", "Line"),
    Column("station", "Station", "id"),
    Column("kind", "What"),
    Column("since", "Since", "id"),
    Column("until", "Until", "id"),
    Column("sure", "How sure"),
)
_ADVICE = (
    "Nothing was changed: a clock is set at the station, a log is corrected by whoever keeps it. Rows already kept "
    "under a wrong clock are read again with the error that [[clock]] in works.toml names by `coldledger rebuild "
    "--from-archive`."
)


def doubts_view(reader: Reader, plant: Plant, line: str | None, span: Span | None) -> View:
    """Those of the newest hours, or of a window."""
    newest = newest_count(reader)
    if span is None and newest is None:
        return View("feeds", "Clocks and counts in doubt", "nothing came yet", (), links=(("← Feeds", "/feeds"),))
    shown = span or Span(newest - NEWEST, newest)  # type: ignore[operator, arg-type]
    told = answer_station_faults(reader, plant, shown, (line,) if line else ())
    certain = sum(one.certain for one in told)
    figures = (
        Figure(count(certain), "certain", "nothing else explains them", "critical" if certain else ""),
        Figure(count(len(told) - certain), "guesses", "to be looked at"),
    )
    texts = (_ADVICE,) if told else ("Nothing was found that cannot be right.",)
    sheet = Sheet(
        "doubts",
        "Clocks and counts in doubt",
        _COLUMNS,
        [_row(plant, one) for one in told],
        "Certain ones first.",
        strong=[n for n, one in enumerate(told) if one.certain],
    )
    sources = (
        "queries: sql/out/station_minutes.sql, sql/out/arrival_leads.sql, sql/out/ware_by_window.sql, "
        "sql/out/mould_spans_of_line.sql",
    )
    when = f"{plant.clock.show(shown.start)} to {plant.clock.show(shown.end)}"
    words = tuple(f"{one.line}, {'certain' if one.certain else 'a guess'}: {one.sentence}." for one in told)
    parts = [Section("What cannot be right", texts=texts, items=words, warn=bool(certain), wide=True)]
    parts += [Section("As a table", sheet=sheet, wide=True)] if told else []
    return View(
        "feeds", "Clocks and counts in doubt", when, tuple(parts), figures, (("← Feeds", "/feeds"),), sources=sources
    )


def _row(plant: Plant, one: StationFault) -> dict[str, Any]:
    return {
        "line": one.line,
        "station": one.station,
        "kind": one.kind,
        "since": plant.clock.show(one.since),
        "until": plant.clock.show(one.until),
        "sure": "certain" if one.certain else "a guess",
    }
