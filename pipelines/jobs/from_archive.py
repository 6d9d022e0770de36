"""A ledger made again from the archive: every file in the order in which it was received, at the time at which it was
received.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import groupby, zip_longest
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.errors import ColdledgerError, LedgerBusy, SiteError
from pipelines.intake.filing import renumber_quarantine, settle_quarantine
from pipelines.intake.find import Arrival
from pipelines.intake.journal import Received, journal_path, received_files
from pipelines.intake.run import Intake, intake_lock
from pipelines.intake.taken import ReadFile
from pipelines.jobs.check import file_fault
from pipelines.jobs.holds import restore
from pipelines.ledger import Ledger
from pipelines.ledger.delivery import Delivery, FileEntry, commit
from pipelines.ledger.keeping import keep_what_people_said, kept_decisions
from pipelines.ledger.sentences import unwritable
from pipelines.ledger.windows import without_overlaps
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite
from pipelines.whole_files import written_whole

Progress = Callable[[int, int, str], None]
MOST_BYTES = 96 << 20  # of files committed together


@dataclass
class MadeAgain:
    """files, rows: taken in.  refused: rows refused.  unreadable: files of the archive that could not be read or are
    not what was received, in words.
    before: where the ledger of before lies; None where there was none.  carried_over: what people had said that was
    carried
    over (closes, acknowledgements).
    """

    files: int
    rows: int
    refused: int
    unreadable: list[str]
    before: Path | None
    carried_over: dict[str, int]


class _FromArchive(Intake):
    """An intake whose files lie in the archive already and stay there. `wrong`: those that are gone, cannot be read or
    are not what was received, by their place, in words.
    """

    def __init__(self, shadow: Site, archive: Path, plant: Plant, settings: Settings, progress: Progress | None):
        super().__init__(shadow, plant, settings, None)
        self.archive, self.shown = archive, progress
        self.wrong: dict[str, str] = {}
        self.places: dict[str, Received] = {}
        self.was: dict[str, int | None] = {}
        self.numbers: dict[int, int] = {}

    def take(self, lots: Sequence[list[Received]]) -> None:
        """Commit each lot of files, while the next one is read and sorted."""
        of, done = sum(map(len, lots)), 0
        with ThreadPoolExecutor(2) as reading, ThreadPoolExecutor(1) as filing:
            pending: Future[None] | None = None
            begun: list[Future[list[ReadFile]]] = []
            for lot, following in zip_longest(lots, lots[1:]):
                if lot[0].retry_of is not None and pending is not None:
                    pending.result()  # a repair names the batch that it repairs
                begun = begun or self._begun(lot, reading)
                reads = [read for each, future in zip(lot, begun, strict=True) for read in self._good(each, future)]
                begun = self._begun(following, reading) if following and following[0].retry_of is None else []
                parts = self._parts(self.fresh_of(reads))
                if pending is not None:
                    pending.result()
                pending = filing.submit(self._kept, parts)
                done += len(lot)
                if self.shown:
                    self.shown(done, of, lot[-1].file)
            if pending is not None:
                pending.result()

    def _begun(self, lot: Sequence[Received], reading: ThreadPoolExecutor) -> list[Future[list[ReadFile]]]:
        return [reading.submit(self.read, self._arrival(received)) for received in lot]

    def _good(self, received: Received, future: Future[list[ReadFile]]) -> list[ReadFile]:
        """The file as it was received; none, and what is wrong with it, where it is not that."""
        reads = future.result()
        if reads and (not received.sha256 or reads[0].sha256 == received.sha256):
            return reads
        fault = file_fault(self.archive, {"archived_as": received.archived_as, "sha256": received.sha256})
        self.wrong[received.archived_as] = f"archive/{received.archived_as}: {fault}"
        return []

    def _parts(self, fresh: list[ReadFile]) -> list[tuple[list[ReadFile], Delivery]]:
        """What is committed together: the whole lot, or, where a file tells of times after its receipt, what was
        received together.
        """
        if not fresh:
            return []
        whole = self.delivery_of(fresh, max(map(self._received, fresh)))
        if not self._ahead_of_itself(whole):
            return [(fresh, whole)]
        groups = [list(group) for _, group in groupby(fresh, self._received)]
        return [(group, self.delivery_of(group, self._received(group[0]))) for group in groups]

    def _ahead_of_itself(self, delivery: Delivery) -> bool:
        """Whether a row was kept that was still to come when its file was received: it was refused then, and is
        again.
        """
        latest = [file.received_at + self.settings.ahead for file in delivery.files if file.received_at is not None]
        days = [self.plant.clock.local(moment).date() for moment in latest]
        for frame in delivery.kept.values():
            for name, dtype in frame.schema.items():
                if dtype.is_temporal():
                    ends = frame.group_by("file_no").agg(pl.col(name).max()).drop_nulls().iter_rows()
                    limits: Sequence[Any] = days if dtype == pl.Date else latest
                    if any(end > limits[number] for number, end in ends):
                        return True
        return False

    def _received(self, read: ReadFile) -> datetime:
        return self.places[str(read.arrival.path)].received_at

    def _kept(self, parts: list[tuple[list[ReadFile], Delivery]]) -> None:
        for fresh, sorted_rows in parts:
            delivery = without_overlaps(self.ledger, sorted_rows)
            numbered = commit(self.ledger, delivery, max(map(self._received, fresh)))
            self._note(numbered)
            for read, entry in zip(fresh, delivery.files, strict=True):
                self.count(entry, read)

    def _arrival(self, received: Received) -> Arrival:
        path = self.archive / received.archived_as
        self.places[str(path)], self.was[received.archived_as] = received, received.batch
        retry = self.numbers.get(received.retry_of) if received.retry_of is not None else None
        feed = received.feed if received.feed != "unknown" else None
        return Arrival(path, received.file, received.bytes, 0, retry_of=retry, feed=feed)

    def entry_of(self, read: ReadFile, tally: dict[str, Any], at: datetime) -> FileEntry:
        entry = super().entry_of(read, tally, at)
        place = self.places[str(read.arrival.path)]
        return replace(entry, archived_as=place.archived_as, received_at=place.received_at)

    def _note(self, numbered: dict[int, FileEntry]) -> None:
        """Remember which number a batch has now, for the repairs that name its old one."""
        for number, entry in numbered.items():
            old = self.was.get(entry.archived_as)
            if old is not None:
                self.numbers[old] = number


def rebuild_from_archive(opened: OpenSite, progress: Progress | None = None) -> MadeAgain:
    """Make the ledger again from archive/ beside the one that is there, whatever its state, and put it in its place;
    the old one is kept under another name.

    What no file brings is carried over from the old ledger where it can be read: closes, acknowledgements, former plant
    files; holds come from their copy in the archive. Killed at any instant the old ledger stands. LedgerBusy while
    flows run.
    """
    site = opened.site
    with intake_lock(site, opened.settings):
        try:
            return _made_again(opened, progress)
        except OSError as error:
            raise SiteError(unwritable(site, error)) from error


def _made_again(opened: OpenSite, progress: Progress | None) -> MadeAgain:
    site = opened.site
    shadow = Site(site.root / ".from-archive")
    for left in (shadow.ledger, shadow.ledger.with_name("ledger.duckdb.wal")):
        left.unlink(missing_ok=True)
    shadow.root.mkdir(exist_ok=True)
    run = _FromArchive(shadow, site.archive, opened.plant, opened.settings, progress)
    run.take(_lots(received_files(site)))
    if not run.ledger.exists:
        with run.ledger.writing():
            pass
    numbers = _carried_over(opened.ledger, run.ledger)
    before = _put_in_place(opened, shadow)
    _write_journal(site, opened.ledger)
    numbers["decisions about holds"] = restore(opened)
    renumber_quarantine(site, opened.ledger, run.numbers)
    settle_quarantine(site, opened.ledger)
    report = run.report
    return MadeAgain(report.files, report.rows_kept, report.rows_refused, list(run.wrong.values()), before, numbers)


def _lots(files: Sequence[Received]) -> list[list[Received]]:
    """Many files at once, in their order, so many that memory stays small; a repair alone, after what it repairs."""
    lots: list[list[Received]] = []
    size = 0
    for file in files:
        if lots and file.retry_of is None and lots[-1][-1].retry_of is None and size + file.bytes < MOST_BYTES:
            lots[-1].append(file)
            size += file.bytes
        else:
            lots.append([file])
            size = file.bytes
    return lots


def _carried_over(old: Ledger, new: Ledger) -> dict[str, int]:
    """What people and closes had said, where the old ledger can still be read."""
    if not old.exists:
        return {}
    try:
        said = kept_decisions(old)
    except ColdledgerError as error:
        if isinstance(error, LedgerBusy):
            raise
        return {}
    keep_what_people_said(new, said)
    return {name: table.num_rows for name, table in said.items() if table.num_rows}


def _put_in_place(opened: OpenSite, shadow: Site) -> Path | None:
    """Under the gate: no reader of ours begins, none writes. First the old one goes aside, then the new one comes;
    between them there is no ledger, never half of one.
    """
    site = opened.site
    before = None
    with opened.ledger.gate():
        opened.ledger.guard.drop()
        if site.ledger.exists():
            stamp = f"{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
            before = site.ledger.with_name(f"ledger.before-{stamp}.duckdb")
            log = site.ledger.with_name("ledger.duckdb.wal")
            if log.exists():
                log.rename(site.ledger.with_name(f"{before.name}.wal"))
            site.ledger.rename(before)
        shadow.ledger.rename(site.ledger)
    return before


def _write_journal(site: Site, ledger: Ledger) -> None:
    """The archive's list as the new ledger has it."""
    with ledger.reading() as reader:
        rows = reader.ask("batches_all").filter(pl.col("archived_as") != "")
    with written_whole(journal_path(site)) as part, part.open("w", encoding="utf-8") as file:
        for row in rows.iter_rows(named=True):
            fields = {
                name: row[name] for name in ("batch", "feed", "sha256", "file", "archived_as", "bytes", "retry_of")
            }
            file.write(json.dumps({**fields, "received_at": row["received_at"].isoformat()}) + "\n")
