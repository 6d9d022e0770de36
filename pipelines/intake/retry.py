"""Repaired rows and files of the quarantine, taken in again."""

from __future__ import annotations

from pathlib import Path

from pipelines.errors import SiteError
from pipelines.intake.filing import quarantine_entries, settle_quarantine
from pipelines.intake.find import Arrival
from pipelines.intake.run import IntakeReport, _Intake, intake_lock
from pipelines.ledger import Ledger
from pipelines.ledger.store import unwritable
from pipelines.plant import Plant
from pipelines.settings import Settings, Site


def retry_quarantine(site: Site, plant: Plant, settings: Settings) -> IntakeReport:
    """Offer every file of quarantine/ to the intake again, as it now reads.

    Rows that are right now are kept; rows that are still wrong come back with their reasons. A file of which nothing
    has become right is left as it is.
    """
    with intake_lock(site, settings):
        try:
            ledger = Ledger(site, settings)
            if ledger.exists:
                settle_quarantine(site, ledger)
            return _retry(site, plant, settings)
        except OSError as error:
            raise SiteError(unwritable(site, error)) from error


def _retry(site: Site, plant: Plant, settings: Settings) -> IntakeReport:
    run = _Intake(site, plant, settings, None)
    offered, unchanged = [], 0
    trial = _Intake(site, plant, settings, None)
    for batch, path in quarantine_entries(site).items():
        arrival = _arrival(path, batch)
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


def _arrival(path: Path, batch: int) -> Arrival:
    told = path.stat()
    return Arrival(path, _name_of(path, batch), told.st_size, told.st_mtime_ns, retry_of=batch)


def _name_of(path: Path, batch: int) -> str:
    """`b000012.station_counts.rows.csv` is `station_counts.retry-12.csv`; a whole file has its own name again."""
    rest = path.name.split(".", 1)[1]
    return rest.replace(".rows.csv", f".retry-{batch}.csv") if rest.endswith(".rows.csv") else rest


def _worth_taking(run: _Intake, arrival: Arrival) -> bool:
    """Whether a row of the file would now be kept, or none is left in it because somebody gave them all up."""
    read = run._read(arrival)
    if read is None or read.raw is None:
        return False
    return read.raw.rows == 0 or run._delivery([read], run.at).files[0].rows_kept > 0
