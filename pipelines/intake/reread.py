"""A file of the archive read again as it was when it came."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl

from pipelines.errors import FileRefused
from pipelines.intake.find import kinds_of
from pipelines.intake.parse import parse_file, reading_for
from pipelines.intake.validate import sort_rows
from pipelines.plant.works import Plant
from pipelines.settings import Settings
from schemas.feeds import ALL_FEEDS


def reread(path: Path, batch: dict[str, Any], plant: Plant, settings: Settings) -> pl.DataFrame:
    """The rows of one file that are kept with a plant, with `file_line`; none where the file is refused. batch: feed,
    file, received_at.
    """
    try:
        kind = kinds_of(batch["file"], plant, batch["feed"])[0]
        raw = parse_file(path.read_bytes(), kind, settings, batch["file"])
    except FileRefused:
        feed = ALL_FEEDS[batch["feed"]]
        return pl.DataFrame(schema={**{name: feed.dtype(name) for name in feed.columns}, "file_line": pl.Int32})
    reading = reading_for(plant, kind.mapping, batch["received_at"] + settings.ahead)
    return sort_rows(kind.feed, [(0, raw)], reading).kept
