"""What came, what is late or silent, what was refused and why."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from pipelines.answers.now import heard_otherwise
from pipelines.clock import utc_text
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.hour_figures import REJECTS, TOTALS
from pipelines.plant.works import Plant
from schemas.reasons import reason_of, refusal_sentence

SILENT_AFTER = timedelta(minutes=30)
LOOK_BACK = timedelta(days=2)
LONG_AGO = datetime(1900, 1, 1, tzinfo=UTC)


def answer_feeds(
    reader: Reader, plant: Plant, most: int = 200, from_batch: int = 0, stations: bool = True
) -> dict[str, Any]:
    """{feeds: [...], stations: [...], refused: [...]}; a station is silent when its line's others went on without it.
    stations: whether to ask for those.
    """
    feeds = [_told(row) for row in reader.ask("arrivals_by_feed").iter_rows(named=True)]
    silence = _silence(reader, plant) if stations else {}
    other = heard_otherwise(reader, plant, silence, LONG_AGO) if stations else {}
    lives = [_station(s.id, s.line, silence.get(s.id), other.get(s.id)) for s in plant.station] if stations else []
    refused = [
        _told(row) | {"sentence": _sentence(row)}
        for row in reader.ask("refusals_open", most=most, from_batch=from_batch).iter_rows(named=True)
    ]
    return {"feeds": feeds, "stations": lives, "refused": refused}


def _silence(reader: Reader, plant: Plant) -> dict[str, dict[str, Any]]:
    """Each station's last window: of the last days, and only where one has none there, of all times."""
    newest = reader.ask("newest_counts").item()
    for since in (newest - LOOK_BACK if newest is not None else LONG_AGO, LONG_AGO):
        told = {row["station"]: row for row in reader.ask("station_silence", from_time=since).iter_rows(named=True)}
        if all(station in told for station in plant.stations):
            break
    return told


def answer_replaced(reader: Reader, feed: str) -> list[dict[str, Any]]:
    """The rows of a feed that are no longer in force, newest replacement first; WrongUse for an unknown feed."""
    known = reader.ask("facts")["feed"].to_list()
    if feed not in known:
        raise WrongUse(f"there is no feed '{feed}'; there are {', '.join(known)}")
    rows = reader.replaced(feed).sort("replaced_at", "batch", "file_line", descending=[True, False, False])
    return [_told(row) for row in rows.iter_rows(named=True)]


def _told(row: dict[str, Any]) -> dict[str, Any]:
    return {key: utc_text(value) if hasattr(value, "tzinfo") else value for key, value in row.items()}


def _station(station: str, line: str, row: dict[str, Any] | None, other: dict[str, datetime] | None) -> dict[str, Any]:
    if row is None and other:
        return {
            "line": line,
            "station": station,
            "last_window": None,
            "verdict": _sends(other),
            "heard": utc_text(max(other.values())),
        }
    if row is None:
        return {"line": line, "station": station, "last_window": None, "verdict": "never heard of"}
    behind_line, behind_works = (
        row["last_of_line"] - row["last_window"],
        row["last_of_works"] - row["last_window"],
    )
    verdict = "ok"
    if behind_line > SILENT_AFTER:
        verdict = f"silent: {behind_line.total_seconds() / 60:.0f} min behind its line's other stations"
    elif behind_works > SILENT_AFTER:
        verdict = f"late: {behind_works.total_seconds() / 60:.0f} min behind the other lines"
    return {"line": line, "station": station, "last_window": utc_text(row["last_window"]), "verdict": verdict}


def _sends(other: dict[str, datetime]) -> str:
    """What a station without counts by window sends, and what can be made of it."""
    if "counter_reads" in other:
        return f"{TOTALS}, no counts by window: yields stand on them, Paretos and signals pass the station over"
    return f"{REJECTS}, no counts of ware: its calls are told without a rate of its own"


def _sentence(row: dict[str, Any]) -> str:
    reason = reason_of(row["reason"])
    return refusal_sentence(row["file"], row["file_line"], row["column_name"], reason, row["value"], row["expected"])
