"""What came, what was refused, what ran and what cannot be right, as tables for pages and commands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.measures.trace.station_faults import StationFault
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, TERMINAL, Column, Sheet, in_csv

Rows = Sequence[Mapping[str, Any]]
_ARRIVALS = (
    Column("feed", "Feed", "id"),
    Column("files", "Files", "count"),
    Column("came_again", "Came again", "count"),
    Column("rows_read", "Rows read", "count", TERMINAL + CSV),
    Column("rows_kept", "Rows kept", "count"),
    Column("rows_refused", "Rows refused", "count", TERMINAL + CSV),
    Column("rows_replacing", "Replacing", "count"),
    Column("rows_still_refused", "Rows still refused", "count", short="Still refused"),
    Column("files_still_refused", "Files still refused", "count", short="Files refused"),
    Column("last", "Last received", "id", SHOWN),
    Column("until", "Newest row of", "id", SHOWN),
    *in_csv("last_received", "data_to"),
)
_STATIONS = (
    Column("line", "Line"),
    Column("station", "Station", "id"),
    Column("last", "Counts until", "id", SHOWN),
    Column("behind", "Behind the clock, min", "count", SHOWN),
    Column("state", "State", ways=SHOWN),
    *in_csv("last_window", "behind_min", "verdict"),
)
_REFUSED = (
    *in_csv("batch", "feed"),
    Column("file", "File"),
    Column("line", "Line or cell", "id", SHOWN),
    *in_csv("file_line"),
    Column("column", "Column", csv="column_name"),
    Column("value", "Value"),
    Column("why", "Why it was refused", ways=SHOWN),
    Column("mend", "What to do", ways=PAGE),
    *in_csv("reason", "expected", "place", "sentence"),
)
_RUNS = (
    Column("number", "No.", "count", PAGE),
    Column("flow", "Flow"),
    Column("why", "Why"),
    Column("begun", "Begun", "id", SHOWN),
    Column("ended", "Ended", "id", SHOWN),
    *in_csv("begun_at", "ended_at"),
    Column("state", "How it ended"),
    Column("told", "What it did"),
)
_UPCOMING = (Column("at", "When", "id"), Column("flow", "Flow"), Column("why", "Why"))
_NOTICES = (
    Column("at", "When", "id", SHOWN),
    *in_csv("told_at"),
    Column("title", "Notice"),
    Column("state", "Sending"),
)
_DOUBTS = (
    Column("line", "Line"),
    Column("station", "Station", "id"),
    Column("kind", "What"),
    Column("since", "Since", "id", SHOWN),
    Column("until", "Until", "id", SHOWN),
    *in_csv(since_utc="since", until_utc="until"),
    Column("sure", "How sure", ways=SHOWN),
    *in_csv("certain", "minutes", "size", "key", "sentence"),
)


def _local(plant: Plant, text: str | None, seconds: bool = False) -> str:
    return plant.clock.show(parse_timestamp(text), seconds=seconds) if text else ""


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def arrivals_sheet(plant: Plant, feeds: Rows) -> Sheet:
    """What came of each feed, as `answer_feeds` counts it."""
    rows = [
        {**feed, "last": _local(plant, feed["last_received"]), "until": _local(plant, feed["data_to"])}
        for feed in feeds
    ]
    return Sheet("feeds", "What came", _ARRIVALS, rows)


def stations_sheet(rows: Sequence[dict[str, Any]], strong: Sequence[int] = ()) -> Sheet:
    """How far behind each station is. rows: line, station, last, behind, state, and what the CSV has of its own."""
    caption = "Silent: over 30 min behind its line's others. Late: over 75 min behind the clock."
    return Sheet("stations", "Stations", _STATIONS, rows, caption, strong=strong)


def refused_sheet(refused: Rows, whys: Sequence[str], most: int) -> Sheet:
    """Values that were refused, as `answer_feeds` tells them, and why: a sentence each."""
    rows = [
        {
            **row,
            "line": row["place"] or (str(row["file_line"]) if row["file_line"] else None),
            "column": row["column_name"],
            "why": why,
            "mend": "correct and retry",
        }
        for row, why in zip(refused, whys, strict=True)
    ]
    caption = (
        f"The first {most} at most. Good rows beside them were kept. A file refused whole can be given "
        "another name or text, or be given up."
    )
    return Sheet("refused", "Refused", _REFUSED, rows, caption if rows else "Nothing is refused.")


def runs_sheet(plant: Plant, runs: Rows, caption: str = "") -> Sheet:
    """Runs as the books keep them; those that did not end well in bold."""
    rows = [
        {**run, "begun": _local(plant, run["begun_at"], True), "ended": _local(plant, run["ended_at"], True)}
        for run in runs
    ]
    bad = [n for n, run in enumerate(runs) if run["state"] in ("failed", "cut off")]
    return Sheet("runs", "What ran", _RUNS, rows, caption, strong=bad)


def upcoming_sheet(rows: Sequence[dict[str, Any]]) -> Sheet:
    """What will run. rows: at (local, or when it has come), flow, why."""
    return Sheet("upcoming", "What will run", _UPCOMING, rows)


def notices_sheet(plant: Plant, notices: Rows, caption: str = "") -> Sheet:
    """Notices as the books keep them."""
    rows = [{**row, "at": _local(plant, row["told_at"])} for row in notices]
    return Sheet("notices", "Notices", _NOTICES, rows, caption)


def faults_sheet(plant: Plant, faults: Sequence[StationFault], title: str, caption: str = "") -> Sheet:
    """Clocks and counts that cannot be right; those that are certain in bold."""
    rows = [
        {
            **vars(fault),
            "since": plant.clock.show(fault.since),
            "until": plant.clock.show(fault.until),
            "since_utc": _utc(fault.since),
            "until_utc": _utc(fault.until),
            "sure": "certain" if fault.certain else "a guess",
        }
        for fault in faults
    ]
    strong = [n for n, fault in enumerate(faults) if fault.certain]
    return Sheet("doubts", title, _DOUBTS, rows, caption, strong=strong)
