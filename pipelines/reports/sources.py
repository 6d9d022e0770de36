"""Databases that are read, as a table for pages and commands, and in sentences where one was not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from pipelines.clock import parse_timestamp, utc_text
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.sheet import SHOWN, Column, Sheet, in_csv
from pipelines.sources.database.states import SourceState
from pipelines.words import joined, say

_SOURCES = (
    Column("source", say("Source"), "id"),
    Column("feed", say("Feed"), "id"),
    Column("every_min", say("Every, min"), "number"),
    Column("watermark", say("Read up to"), "id"),
    Column("last", say("Last read"), "id", SHOWN),
    Column("rows", say("Newest rows"), "count"),
    Column("verdict", say("State"), ways=SHOWN),
    *in_csv("last_read", "not_read_since", "state", "trouble"),
)


def source_rows(plant: Plant, states: Sequence[SourceState], now: datetime) -> list[dict[str, Any]]:
    """Each source as it stands, for JSON and tables alike."""
    return [
        {
            "source": state.source.name,
            "feed": state.source.feed,
            "every_min": state.source.every_minutes,
            "watermark": state.watermark,
            "rows": state.times.rows,
            "last_read": utc_text(state.times.read_at) if state.times.read_at else None,
            "not_read_since": utc_text(state.since) if state.since else None,
            "state": state.state,
            "trouble": state.times.trouble,
            "verdict": _verdict(plant, state, now),
        }
        for state in states
    ]


def _verdict(plant: Plant, state: SourceState, now: datetime) -> str:
    if state.state == "read":
        return say("ok")
    if state.since is None:
        return say("not read yet")
    since = clock_words(plant, state.since, now)
    late = say("late: not read since {since}", since=since)
    return joined("; ", (late, state.times.trouble)) if state.times.trouble else late


def sources_sheet(plant: Plant, rows: Sequence[dict[str, Any]]) -> Sheet:
    """How each source stands, of `source_rows`; those that are late in bold."""
    rows = [
        {**row, "last": plant.clock.show(parse_timestamp(row["last_read"])) if row["last_read"] else ""} for row in rows
    ]
    strong = [n for n, row in enumerate(rows) if row["state"] == "late"]
    caption = say("A source that is away is late; nothing of it is lost. Newest rows: those of its last reading.")
    return Sheet("sources", say("Sources"), _SOURCES, rows, caption, strong=strong)


def late_sources(plant: Plant, states: Sequence[SourceState], now: datetime) -> Iterator[tuple[str, str]]:
    """A sentence a source that is late, and the page that has more."""
    for state in states:
        if state.state == "late" and state.since is not None:
            since = clock_words(plant, state.since, now)
            yield say("{source}: not read since {since}.", source=state.source.name, since=since), "/feeds"
