"""What came, what was refused, what ran and what cannot be right, as tables for pages and commands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.measures.trace.station_faults import StationFault
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, TERMINAL, Column, Sheet, in_csv
from pipelines.words import say, worded

Rows = Sequence[Mapping[str, Any]]
_ARRIVALS = (
    Column("feed", say("Feed"), "id"),
    Column("files", say("Files"), "count"),
    Column("came_again", say("Came again"), "count"),
    Column("rows_read", say("Rows read"), "count", TERMINAL + CSV),
    Column("rows_kept", say("Rows kept"), "count"),
    Column("rows_refused", say("Rows refused"), "count", TERMINAL + CSV),
    Column("rows_replacing", say("Replacing"), "count"),
    Column("rows_still_refused", say("Rows still refused"), "count", short=say("Still refused")),
    Column("files_still_refused", say("Files still refused"), "count", short=say("Files refused")),
    Column("last", say("Last received"), "id", SHOWN),
    Column("until", say("Newest row of"), "id", SHOWN),
    *in_csv("last_received", "data_to"),
)
_STATIONS = (
    Column("line", say("Line")),
    Column("station", say("Station"), "id"),
    Column("last", say("Counts until"), "id", SHOWN),
    Column("behind", say("Behind the clock, min"), "count", SHOWN),
    Column("state", say("State"), ways=SHOWN),
    *in_csv("last_window", "behind_min", "verdict"),
)
_REFUSED = (
    *in_csv("batch", "feed"),
    Column("file", say("File")),
    Column("line", say("Line or cell"), "id", SHOWN),
    *in_csv("file_line"),
    Column("column", say("Column"), csv="column_name"),
    Column("value", say("Value")),
    Column("why", say("Why it was refused"), ways=SHOWN),
    Column("mend", say("What to do"), ways=PAGE),
    *in_csv("reason", "expected", "sentence", "place"),
)
_RUNS = (
    Column("number", say("No."), "count", PAGE),
    Column("flow", say("Flow")),
    Column("why", say("Why")),
    Column("begun", say("Begun"), "id", SHOWN),
    Column("ended", say("Ended"), "id", SHOWN),
    *in_csv("begun_at", "ended_at"),
    Column("state", say("How it ended")),
    Column("told", say("What it did")),
)
_UPCOMING = (Column("at", say("When"), "id"), Column("flow", say("Flow")), Column("why", say("Why")))
_NOTICES = (
    Column("at", say("When"), "id", SHOWN),
    *in_csv("told_at"),
    Column("title", say("Notice")),
    Column("state", say("Sending")),
)
_DOUBTS = (
    Column("line", say("Line")),
    Column("station", say("Station"), "id"),
    Column("kind", say("What")),
    Column("since", say("Since"), "id", SHOWN),
    Column("until", say("Until"), "id", SHOWN),
    *in_csv(since_utc="since", until_utc="until"),
    Column("sure", say("How sure"), ways=SHOWN),
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
    return Sheet("feeds", say("What came"), _ARRIVALS, rows)


def stations_sheet(rows: Sequence[dict[str, Any]], strong: Sequence[int] = ()) -> Sheet:
    """How far behind each station is. rows: line, station, last, behind, state, and what the CSV has of its own."""
    caption = say("Silent: over 30 min behind its line's others. Late: over 75 min behind the clock.")
    return Sheet("stations", say("Stations"), _STATIONS, rows, caption, strong=strong)


def refused_sheet(refused: Rows, whys: Sequence[str], most: int) -> Sheet:
    """Values that were refused, as `answer_feeds` tells them, and why: a sentence each."""
    rows = [
        {
            **row,
            "line": row["place"] or (str(row["file_line"]) if row["file_line"] else None),
            "column": row["column_name"],
            "why": why,
            "mend": say("correct and retry"),
        }
        for row, why in zip(refused, whys, strict=True)
    ]
    caption = say(
        "The first {most} at most. Good rows beside them were kept. A file refused whole can be given "
        "another name or text, or be given up.",
        most=most,
    )
    return Sheet("refused", say("Refused"), _REFUSED, rows, caption if rows else say("Nothing is refused."))


def runs_sheet(plant: Plant, runs: Rows, caption: str = "") -> Sheet:
    """Runs as the books keep them; those that did not end well in bold."""
    rows = [
        {**run, "begun": _local(plant, run["begun_at"], True), "ended": _local(plant, run["ended_at"], True)}
        for run in runs
    ]
    bad = [n for n, run in enumerate(runs) if run["state"] in ("failed", "cut off")]
    return Sheet("runs", say("What ran"), _RUNS, rows, caption, strong=bad)


def upcoming_sheet(rows: Sequence[dict[str, Any]]) -> Sheet:
    """What will run. rows: at (local, or when it has come), flow, why."""
    return Sheet("upcoming", say("What will run"), _UPCOMING, rows)


def notices_sheet(plant: Plant, notices: Rows, caption: str = "") -> Sheet:
    """Notices as the books keep them."""
    rows = [{**row, "at": _local(plant, row["told_at"])} for row in notices]
    return Sheet("notices", say("Notices"), _NOTICES, rows, caption)


def sure_words(fault: StationFault) -> str:
    """Whether nothing else explains it."""
    return say("certain") if fault.certain else say("a guess")


def faults_sheet(plant: Plant, faults: Sequence[StationFault], title: str, caption: str = "") -> Sheet:
    """Clocks and counts that cannot be right; those that are certain in bold."""
    rows = [
        {
            **vars(fault),
            "since": plant.clock.show(fault.since),
            "until": plant.clock.show(fault.until),
            "since_utc": _utc(fault.since),
            "until_utc": _utc(fault.until),
            "kind": worded(fault.kind),
            "sure": sure_words(fault),
        }
        for fault in faults
    ]
    strong = [n for n, fault in enumerate(faults) if fault.certain]
    return Sheet("doubts", title, _DOUBTS, rows, caption, strong=strong)
