"""Repaired rows and files of the quarantine, taken in again."""

from __future__ import annotations

from pathlib import Path

from pipelines.intake.filing import quarantine_entries, quarantine_name, settle_quarantine
from pipelines.intake.find import UNKNOWN, Arrival
from pipelines.intake.net import plain_name
from pipelines.intake.run import Intake, taking_in
from pipelines.intake.taken import IntakeReport
from pipelines.ledger import Ledger
from pipelines.ledger.windows import without_overlaps
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site


def retry_quarantine(site: Site, plant: Plant, settings: Settings) -> IntakeReport:
    """Offer every file of quarantine/ to the intake again, as it now reads.

    Rows that are right now are kept; rows that are still wrong come back with their reasons. A file of which nothing
    has become right is left as it is.
    """
    with taking_in(site, settings):
        ledger = Ledger(site, settings)
        if ledger.exists:
            settle_quarantine(site, ledger)
        return _retry(site, plant, settings)


def _retry(site: Site, plant: Plant, settings: Settings) -> IntakeReport:
    run = Intake(site, plant, settings, None)
    offered, unchanged = [], 0
    trial = Intake(site, plant, settings, None)
    refused = _refused(run.ledger)
    for batch, path in quarantine_entries(site).items():
        arrival = _arrival(path, batch, *refused.get(batch, (None, "")))
        if _worth_taking(trial, arrival):
            offered.append(arrival)
        else:
            unchanged += 1
    report = run.run(offered)
    if unchanged:
        report.messages.append(
            f"{unchanged} files in quarantine/ are as wrong as before and were left there; `coldledger feeds` says why"
        )
    return report


def _refused(ledger: Ledger) -> dict[int, tuple[str | None, str]]:
    """The feed, where it is known, and the file's name of every batch of which something is still refused."""
    if not ledger.exists:
        return {}
    with ledger.reading() as reader:
        rows = reader.ask("open_refused_batches")
    known = rows.select("batch", "feed", "file").iter_rows()
    return {batch: (None if feed == UNKNOWN else feed, file) for batch, feed, file in known}


def _arrival(path: Path, batch: int, feed: str | None, file: str) -> Arrival:
    found = path.stat()
    return Arrival(path, _name_of(path, batch, file), found.st_size, found.st_mtime_ns, retry_of=batch, feed=feed)


def _name_of(path: Path, batch: int, file: str) -> str:
    """`b000012.station_counts.rows.csv` is `station_counts.retry-12.csv`; a whole file has its own name again, or the
    one that a person gave it.
    """
    if path.name == quarantine_name(batch, file):
        return file
    rest = plain_name(path.name.split(".", 1)[1])
    return rest.replace(".rows.csv", f".retry-{batch}.csv") if rest.endswith(".rows.csv") else rest


def _worth_taking(run: Intake, arrival: Arrival) -> bool:
    """Whether a row of the file would now be kept, or none is left in it because somebody gave them all up."""
    reads = [read for read in run.read(arrival) if read.raw is not None]
    if not reads:
        return False
    empty = any(read.rows == 0 for read in reads)
    return empty or any(entry.rows_kept for entry in without_overlaps(run.ledger, run.delivery_of(reads, run.at)).files)
