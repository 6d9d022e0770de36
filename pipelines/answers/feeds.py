"""What came, what is late or silent, what was refused and why."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from pipelines.answers.now import LOOK_BACK, stations_alive
from pipelines.clock import utc_text
from pipelines.errors import WrongUse
from pipelines.ledger import Ledger
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.hour_figures import REJECTS, StationLife
from pipelines.plant.works import Plant
from pipelines.words import Message, joined, say
from schemas.reasons import reason_of, refusal_sentence, shortened

ALL_TIMES = datetime(1900, 1, 1, tzinfo=UTC) + LOOK_BACK
STOPPED = ("late", "silent")  # states of a station of which somebody must learn


def answer_feeds(
    reader: Reader, plant: Plant, most: int = 200, from_batch: int = 0, now: datetime | None = None
) -> dict[str, Any]:
    """{feeds: [...], stations: [...], refused: [...]}; the stations as they stand at `now`, and none without it."""
    feeds = [_told(row) for row in reader.ask("arrivals_by_feed").iter_rows(named=True)]
    stations = [_station(station) for station in _stations(reader, plant, now)] if now is not None else []
    return {"feeds": feeds, "stations": stations, "refused": _refused(reader, most, from_batch)}


def refused_words(code: str, value: str | None, expected: str | None) -> str:
    """Why a row or a file was refused; the reason's own sentence with its value."""
    reason = reason_of(code)
    return Message(reason.value, {"value": f"'{shortened(value)}'", "expected": expected or ""})


def _refused(reader: Reader, most: int, from_batch: int) -> list[dict[str, Any]]:
    return [
        _told(row) | {"sentence": _sentence(row)}
        for row in reader.ask("refusals_open", most=most, from_batch=from_batch).iter_rows(named=True)
    ]


def first_refused(ledger: Ledger, first_batch: int, most: int) -> list[dict[str, Any]]:
    """The first wrong values of what came with and after a batch, each with its sentence; none where no batch came."""
    if not first_batch:
        return []
    with ledger.reading() as reader:
        return _refused(reader, most, first_batch)


def _stations(reader: Reader, plant: Plant, now: datetime) -> list[StationLife]:
    """Every station as the pages have it; one that they know nothing of is looked for in all times."""
    stations = stations_alive(reader, plant, now)
    if all(station.state != "never" for station in stations):
        return stations
    ever = {station.station: station for station in stations_alive(reader, plant, now, ALL_TIMES)}
    return [ever[station.station] if station.state == "never" else station for station in stations]


def answer_replaced(reader: Reader, feed: str) -> list[dict[str, Any]]:
    """The rows of a feed that are no longer in force, newest replacement first; WrongUse for an unknown feed."""
    known = reader.ask("facts")["feed"].to_list()
    if feed not in known:
        raise WrongUse(say("there is no feed '{feed}'; there are {known}", feed=feed, known=joined(", ", known)))
    rows = reader.replaced(feed).sort("replaced_at", "batch", "file_line", descending=[True, False, False])
    return [_told(row) for row in rows.iter_rows(named=True)]


def _told(row: dict[str, Any]) -> dict[str, Any]:
    return {key: utc_text(value) if hasattr(value, "tzinfo") else value for key, value in row.items()}


def _station(station: StationLife) -> dict[str, Any]:
    texts = {
        "line": station.line,
        "station": station.station,
        "last_window": utc_text(station.last) if station.last else None,
        "behind_min": round(station.behind.total_seconds() / 60) if station.behind is not None else None,
        "state": station.state,
        "verdict": _verdict(station),
    }
    return texts | {"heard": utc_text(station.heard)} if station.heard else texts


def _verdict(station: StationLife) -> str:
    behind = (
        say("{total_seconds} min behind the clock", total_seconds=f"{station.behind.total_seconds() / 60:.0f}")
        if station.behind is not None
        else ""
    )
    state = {
        "alive": "" if station.sends else "ok",
        "late": say("late: {behind}", behind=behind),
        "silent": say("silent: {behind}, its line's others go on", behind=behind),
        "never": say("never heard of"),
    }[station.state]
    return joined("; ", (words for words in (state, _sends(station.sends)) if words))


def _sends(sends: str) -> str:
    """What a station without counts by window sends, and what can be made of it."""
    if not sends:
        return ""
    if sends == REJECTS:
        return say("{sends}, no counts of ware: its calls are told without a rate of its own", sends=sends)
    return say(
        "{sends}, no counts by window: yields stand on them, Paretos and signals pass the station over", sends=sends
    )


def _sentence(row: dict[str, Any]) -> str:
    reason = reason_of(row["reason"])
    where = row["file"], row["file_line"], row["column_name"]
    return refusal_sentence(*where, reason, row["value"], row["expected"], row["place"])
