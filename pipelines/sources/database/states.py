"""How each source stands: how far it was read, and since when it was not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from pipelines.plant.database import DatabaseSource
from pipelines.plant.works import Plant
from pipelines.settings import Site
from pipelines.sources.database.progress import LastTimes, Progress

LATE_TIMES, LATE_MORE = 3, timedelta(minutes=10)  # of its own interval, and that at least


@dataclass(frozen=True)
class SourceState:
    """state: read, late (not read when it was due, or in trouble), never (not tried yet). since: since when it has not
    been read. watermark: the greatest value of its `since` column that was read.
    """

    source: DatabaseSource
    state: str
    since: datetime | None
    watermark: str
    times: LastTimes


def source_states(site: Site, plant: Plant, now: datetime) -> list[SourceState]:
    """Every source of works.toml, in its order."""
    return [_state(Progress(site, source), source, now) for source in plant.source]


def _state(progress: Progress, source: DatabaseSource, now: datetime) -> SourceState:
    times, watermark = progress.times(), progress.watermark()
    if times.tried_at is None:
        return SourceState(source, "never", None, watermark, times)
    every = timedelta(minutes=source.every_minutes)
    overdue = times.read_at is not None and now - times.read_at > max(LATE_TIMES * every, every + LATE_MORE)
    late = bool(times.trouble) or overdue
    return SourceState(
        source, "late" if late else "read", (times.read_at or times.trouble_since) if late else None, watermark, times
    )
