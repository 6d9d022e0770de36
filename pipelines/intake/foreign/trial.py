"""What a file would become, before anything of it is kept."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

import polars as pl

from pipelines.errors import WrongUse
from pipelines.intake.find import Arrival
from pipelines.intake.run import Intake
from pipelines.intake.taken import ReadFile
from pipelines.ledger import Ledger
from pipelines.ledger.delivery import Delivery, foreseen
from pipelines.ledger.windows import without_overlaps
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from schemas.feeds import ALL_FEEDS
from schemas.reasons import reason_of

SHOWN_ROWS, SHOWN_REFUSALS = 6, 8


@dataclass(frozen=True)
class FileFault:
    """One kind of refusal: how many values, and the first of them (line 0: the file itself; place: its cell in a
    workbook).
    """

    column: str
    reason: str
    values: int
    line: int
    value: str
    sentence: str
    place: str = ""


@dataclass
class Tried:
    """What a file would become as one feed. new, unchanged, replacing: how its kept rows stand to what the ledger
    holds.
    """

    feed: str
    mapping: str | None
    rows: int = 0
    kept: int = 0
    refused: int = 0
    new: int = 0
    unchanged: int = 0
    replacing: int = 0
    first: datetime | date | None = None
    last: datetime | date | None = None
    note: str = ""
    shown: pl.DataFrame = field(default_factory=pl.DataFrame)
    faults: list[FileFault] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """Whether every row would be kept."""
        return not self.faults


def try_file(path: Path, name: str, site: Site, plant: Plant, settings: Settings) -> list[Tried]:
    """Each feed that a file of this name would become, with the site's works.toml; nothing is written. WrongUse where
    it cannot be opened.
    """
    if not path.is_file():
        raise WrongUse(f"{path} is not a file; name one export as the station writes it")
    found = path.stat()
    trial = Intake(site, plant, settings, None)
    reads = trial.read(Arrival(path, name, found.st_size, found.st_mtime_ns))
    if not reads:
        raise WrongUse(f"{path} cannot be read; is it still being written, or is the right to read it missing?")
    return [_tried(trial, read) for read in reads]


def try_data(data: bytes, name: str, site: Site, plant: Plant, settings: Settings) -> list[Tried]:
    """The same of bytes that are no file yet."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        return try_file(path, name, site, plant, settings)


def _tried(trial: Intake, read: ReadFile) -> Tried:
    delivery = without_overlaps(trial.ledger, trial.delivery_of([read], trial.at))
    entry = delivery.files[0]
    mapping = " ".join(read.kind.mapping.files) if read.kind and read.kind.mapping else None
    this_trial = Tried(
        read.feed,
        mapping,
        entry.rows_read,
        entry.rows_kept,
        entry.rows_refused,
        first=entry.data_from,
        last=entry.data_to,
        note=entry.note,
    )
    this_trial.faults = _faults(delivery)
    kept = delivery.kept.get(read.feed)
    if kept is not None:
        this_trial.shown = kept.select(ALL_FEEDS[read.feed].columns).head(SHOWN_ROWS)
        this_trial.new, this_trial.unchanged, this_trial.replacing = _against(trial.ledger, delivery, trial)
    return this_trial


def _against(ledger: Ledger, delivery: Delivery, trial: Intake) -> tuple[int, int, int]:
    rows = sum(frame.height for frame in delivery.kept.values())
    unchanged, replacing = foreseen(ledger, delivery, trial.at) if ledger.exists else (0, 0)
    return rows - unchanged - replacing, unchanged, replacing


def _faults(delivery: Delivery) -> list[FileFault]:
    if delivery.refusals is None or delivery.refusals.is_empty():
        return []
    kinds = delivery.refusals.group_by("column_name", "reason", "value", maintain_order=True).agg(
        pl.len().alias("values"), pl.col("file_line", "expected", "place").first()
    )
    return [
        FileFault(
            row["column_name"],
            row["reason"],
            row["values"],
            row["file_line"],
            row["value"] or "",
            reason_of(row["reason"]).sentence(row["value"], row["expected"]),
            row["place"],
        )
        for row in kinds.sort("values", descending=True, maintain_order=True).iter_rows(named=True)
    ]
