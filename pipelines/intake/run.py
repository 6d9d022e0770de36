"""The intake: everything in the inbox into the ledger, a group of whole files a transaction."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from functools import partial
from itertools import groupby
from typing import Any

import polars as pl

from pipelines.errors import FileRefused, SiteError
from pipelines.intake.ahead import read_ahead
from pipelines.intake.by_bytes import check_unnamed
from pipelines.intake.filing import archive_path, move_to_archive, settle_quarantine, sha256_of
from pipelines.intake.find import Arrival, feed_named, find_arrivals, kinds_of
from pipelines.intake.gather import in_order, refused_whole, tallies_of, touched_by
from pipelines.intake.journal import note_received
from pipelines.intake.net import OneFileFailed, net
from pipelines.intake.parse import parse_file, reading_for
from pipelines.intake.taken import IntakeReport, ReadFile
from pipelines.intake.validate import Sorted, TooManyWrong, sort_rows
from pipelines.intake.vanished import vanished_ids
from pipelines.ledger import Ledger
from pipelines.ledger.delivery import Delivery, FileEntry, commit
from pipelines.ledger.history import note_repeats
from pipelines.ledger.sentences import must_have_its_ledger, unwritable
from pipelines.ledger.windows import without_overlaps
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from pipelines.site.locks import held
from schemas.reasons import Reason, refusal_sentence

Progress = Callable[[int, int, str], None]
_ALONE_BYTES, _ALONE_LINES = 64 << 20, 1_000_000  # what unpacks to more is read with nothing beside it
_GROUP_BYTES = 96 << 20
LABORATORY = ("weight_checks", "capacity_checks", "density_checks", "temper_checks", "visual_checks")


@contextmanager
def intake_lock(site: Site, settings: Settings) -> Iterator[None]:
    """One intake at a time; the kernel frees it when its holder dies."""
    busy = "another intake of this site is still running; it takes the inbox in, this one ended"
    with held(site, "intake", settings.lock_wait_s, busy):
        yield


@contextmanager
def taking_in(site: Site, settings: Settings) -> Iterator[None]:
    """What every way of taking in stands in: the lock, a ledger where there was one, and what a disk says in words."""
    with intake_lock(site, settings):
        try:
            must_have_its_ledger(site)
            yield
        except OSError as error:
            raise SiteError(unwritable(site, error)) from error


def take_in(site: Site, plant: Plant, settings: Settings, progress: Progress | None = None) -> IntakeReport:
    """Take in every whole file of the inbox. Can be killed at any instant: the next run finishes the work."""
    with taking_in(site, settings):
        return Intake(site, plant, settings, progress).run()


class Intake:
    """One intake of a site, in steps that others can take one by one: `read` a file, pass over what is known
    (`fresh_of`), sort the rows (`delivery_of`).
    """

    def __init__(self, site: Site, plant: Plant, settings: Settings, progress: Progress | None):
        self.site, self.plant, self.settings, self.progress = site, plant, settings, progress
        self.ledger = Ledger(site, settings)
        self.report = IntakeReport()
        self.taken: set[str] = set()
        self.known: dict[tuple[str, str], dict[str, Any] | None] = {}
        self.repeated: list[ReadFile] = []
        self._rows = self._bytes = 0  # of the group that is being gathered
        self.at = settings.now()
        self.rolled_until: datetime | None = None
        if self.ledger.exists:
            with self.ledger.reading() as reader:
                self.rolled_until = reader.ask("rolled_until").item()

    def run(self, arrivals: list[Arrival] | None = None) -> IntakeReport:
        if arrivals is None:
            arrivals, strays = find_arrivals(self.site.inbox)
            self.report.messages += strays
        self.report.messages += vanished_ids(self.ledger, self.plant, self.site, self.at)
        self.known = self._known(arrivals)
        self._all(arrivals)
        self._repeats()
        if self.ledger.exists:
            settle_quarantine(self.site, self.ledger)
        self.report.lock_held_s = self.ledger.held_s
        return self.report

    def _all(self, arrivals: list[Arrival]) -> None:
        """Read and sort one group of files while the one before it is committed and filed away."""
        group: list[ReadFile] = []
        with ThreadPoolExecutor(1) as filing:
            pending: Future[None] | None = None
            read = partial(self.read, alone=False)
            for done, (arrival, reads) in enumerate(read_ahead(arrivals, read), start=1):
                if self.progress:
                    self.progress(done, len(arrivals), arrival.name)
                if any(read_file.heavy for read_file in reads):
                    self._alone(arrival, group, filing, pending)
                    group, pending = [], None
                    continue
                group += reads  # all feeds of one file are committed together
                if self._full(reads):
                    pending = self._settle(group, filing, pending)
                    group = []
            pending = self._settle(group, filing, pending)
            if pending is not None:
                pending.result()

    def _full(self, reads: list[ReadFile]) -> bool:
        """Whether these files make the group as large as it may be."""
        self._rows += sum(read_file.rows for read_file in reads)
        self._bytes += sum(read_file.held_bytes for read_file in reads)
        return self._rows >= self.settings.rows_at_once or self._bytes >= _GROUP_BYTES

    def _alone(
        self, arrival: Arrival, group: list[ReadFile], filing: ThreadPoolExecutor, pending: Future[None] | None
    ) -> None:
        """Read, commit and file away one great file when nothing else is in memory."""
        for part in (group, None):
            reads = part if part is not None else self.read(arrival)
            pending = self._settle(reads, filing, pending)
            if pending is not None:
                pending.result()
                pending = None

    def read(self, arrival: Arrival, alone: bool = True) -> list[ReadFile]:
        """The file as each feed that it holds; none where it is gone or cannot be opened now. Not alone: one that
        unpacks to much comes back `heavy` and unread.
        """
        self.ledger.unlocked.wait(5)  # leave the cores to a commit, so that the ledger is held as briefly as can be
        great = arrival.size > _ALONE_BYTES
        if great and not alone:
            return [ReadFile(arrival, b"", "", "", heavy=True)]
        try:
            file = arrival.path.open("rb") if great else None
            data = b"" if self._too_large(arrival) else file.read() if file else arrival.path.read_bytes()
        except FileNotFoundError:
            return []  # its writer took it back
        except OSError as error:
            self.report.messages.append(
                f"inbox/{arrival.name} cannot be read ({error.strerror}) and was left there for the next run"
            )
            return []
        sha256 = sha256_of(arrival.path) if self._too_large(arrival) else hashlib.sha256(data).hexdigest()
        try:
            with net():
                kinds = kinds_of(arrival.name, self.plant, arrival.feed)
        except (FileRefused, OneFileFailed) as told:
            refused = told.refused if isinstance(told, OneFileFailed) else _by_its_bytes(data, told)
            return [ReadFile(arrival, data, sha256, arrival.feed or feed_named(arrival.name), refused=refused)]
        if self._too_large(arrival):
            kinds = kinds[:1]
        kept = file or data
        return [self._parsed(ReadFile(arrival, kept, sha256, kind.feed.name, kind), data, alone) for kind in kinds]

    def _too_large(self, arrival: Arrival) -> bool:
        return arrival.size > self.settings.largest_file

    def _parsed(self, read: ReadFile, data: bytes, alone: bool) -> ReadFile:
        assert read.kind is not None
        settings = self.settings
        if not alone:
            least = min(_ALONE_BYTES, settings.largest_file), min(_ALONE_LINES, settings.most_lines)
            settings = replace(settings, largest_file=least[0], most_lines=least[1])
        try:
            if self._too_large(read.arrival):
                raise FileRefused(Reason.TOO_LARGE, expected=f"{self.settings.largest_file >> 20} MB")
            with net():
                read.raw = parse_file(data, read.kind, settings, read.arrival.name)
        except FileRefused as refused:
            if refused.reason is Reason.TOO_LARGE and settings != self.settings:
                return ReadFile(read.arrival, b"", read.sha256, read.feed, heavy=True)
            read.refuse(refused)
        except OneFileFailed as failed:
            read.refuse(failed.refused)
        return read

    def _settle(
        self, group: list[ReadFile], filing: ThreadPoolExecutor, pending: Future[None] | None
    ) -> Future[None] | None:
        self._rows = self._bytes = 0
        fresh = self.fresh_of(group)
        at = self.at = max(self.settings.now(), self.at)
        delivery = self.delivery_of(fresh, at) if fresh else None
        if len(fresh) == 1:
            # its rows are in the delivery now; where a great file stands twice in memory it may be too much
            fresh[0].raw = None
        if pending is not None:
            pending.result()
        return filing.submit(self._file, fresh, delivery, at) if delivery is not None else None

    def _file(self, fresh: list[ReadFile], delivery: Delivery, at: datetime) -> None:
        """Commit, then move the originals: what is still in the inbox after a power cut was committed or was not."""
        try:
            with net():
                delivery = without_overlaps(self.ledger, delivery)
                numbered = commit(self.ledger, delivery, at)
        except OneFileFailed as failed:
            return self._one_by_one(fresh, delivery, at, failed)
        note_received(self.site, numbered, at)
        self.report.first_batch = self.report.first_batch or min(numbered)
        self.report.touched |= touched_by(delivery, ("station_counts", "reject_counts"), "15m")
        self.report.checked |= touched_by(delivery, LABORATORY, "1h")
        last = {read.arrival.path: number for number, read in enumerate(fresh)}
        for number, (read, entry) in enumerate(zip(fresh, delivery.files, strict=True)):
            self._move(read, entry.archived_as, keep=last[read.arrival.path] > number)
            self.count(entry, read)
        settle_quarantine(self.site, self.ledger)
        return None

    def _one_by_one(self, fresh: list[ReadFile], delivery: Delivery, at: datetime, failed: OneFileFailed) -> None:
        """Commit the files of a group that failed each on its own; the one that fails alone is set aside whole."""
        self.taken -= {entry.archived_as for entry in delivery.files}
        if len(fresh) == 1:
            if fresh[0].refused is not None:
                raise SiteError(f"{fresh[0].arrival.name} can be neither taken in nor set aside: {failed}") from failed
            fresh[0].refuse(failed.refused)
        for read in fresh:
            self._file([read], self.delivery_of([read], at), at)

    def _move(self, read: ReadFile, archived_as: str, keep: bool) -> None:
        """Into the archive. A file that cannot be moved is known, and the next run moves it."""
        try:
            move_to_archive(self.site, read.arrival, archived_as, read.data, keep)
        except PermissionError as error:
            self.report.messages.append(
                f"inbox/{read.arrival.name} is taken in, but cannot be moved to archive/ ({error.strerror}); the "
                "next run tries again"
            )
        if not isinstance(read.data, bytes):
            read.data.close()

    def fresh_of(self, group: list[ReadFile]) -> list[ReadFile]:
        """The files whose content is not known yet; the others are noted as repeated."""
        fresh: list[ReadFile] = []
        for read in group:
            content = (read.feed, read.sha256)
            if read.arrival.retry_of is not None:
                fresh.append(read)
            elif content in self.known:
                read.raw, read.data = None, b""
                self.repeated.append(read)
            else:
                self.known[content] = None
                fresh.append(read)
        return fresh

    def _known(self, arrivals: list[Arrival]) -> dict[tuple[str, str], dict[str, Any] | None]:
        """The contents received before that have the size of one of these files."""
        if not self.ledger.exists or not arrivals:
            return {}
        with self.ledger.reading() as reader:
            found = reader.ask("known_contents", sizes=list({arrival.size for arrival in arrivals}))
        return {(row["feed"], row["sha256"]): row for row in found.iter_rows(named=True)}

    def _repeats(self) -> None:
        """The same bytes again: noted, and nothing else. What a killed run had committed and not moved is moved now."""
        again = []
        last = {read.arrival.path: number for number, read in enumerate(self.repeated)}
        for number, read in enumerate(self.repeated):
            known = self.known[read.feed, read.sha256]
            if known is not None and not (self.site.archive / known["archived_as"]).exists():
                self._move(read, known["archived_as"], keep=last[read.arrival.path] > number)
            else:
                again.append(read)
        if again:
            note_repeats(self.ledger, [(r.feed, r.sha256, r.arrival.name) for r in again], self.at)
        for read in again:
            read.arrival.path.unlink(missing_ok=True)
        self.report.repeated = len(again)

    def delivery_of(self, reads: list[ReadFile], at: datetime) -> Delivery:
        """All rows of some files, each kept or refused, as received at a moment; nothing is written. A file that cannot
        be sorted is set aside whole.
        """
        try:
            with net():
                return self._delivery(reads, at)
        except TooManyWrong as told:
            for number in told.files:
                reads[number].refuse(told)
        except OneFileFailed as failed:
            self._refuse_those_that_fail(reads, at, failed)
        return self.delivery_of(reads, at)

    def _refuse_those_that_fail(self, reads: list[ReadFile], at: datetime, failed: OneFileFailed) -> None:
        found = False
        for read in reads if len(reads) > 1 else ():
            if read.refused is not None:
                continue
            try:
                with net():
                    self._sorted([read], at)
            except TooManyWrong as told:
                read.refuse(told)
                found = True
            except OneFileFailed as alone:
                read.refuse(alone.refused)
                found = True
        for read in reads if not found else ():  # none fails alone: what they have in common does
            if read.refused is not None:
                raise SiteError(f"{read.arrival.name} can be neither taken in nor set aside: {failed}") from failed
            read.refuse(failed.refused)

    def _delivery(self, reads: list[ReadFile], at: datetime) -> Delivery:
        parts = self._sorted(reads, at)
        kept = {feed: in_order([this_sorted.kept for this_sorted in many]) for feed, many in parts.items() if feed}
        every = [this_sorted for many in parts.values() for this_sorted in many]
        refused = pl.concat([this_sorted.refused_rows for this_sorted in every])
        tallies = tallies_of(kept, refused)
        files = tuple(self.entry_of(read, tallies.get(number, {}), at) for number, read in enumerate(reads))
        return Delivery(
            files,
            {f: k for f, k in kept.items() if k.height},
            refused,
            pl.concat([this_sorted.refusals for this_sorted in every]),
        )

    def _sorted(self, reads: list[ReadFile], at: datetime) -> dict[str, list[Sorted]]:
        """The rows by feed; under no feed the files that are refused whole."""
        found: dict[str, list[Sorted]] = {}
        numbered = [
            (number, read) for number, read in enumerate(reads) if read.raw is not None and read.kind is not None
        ]
        numbered.sort(key=lambda pair: _family(pair[1]))
        for (feed, _), part in groupby(numbered, key=lambda pair: _family(pair[1])):
            members = list(part)
            kind = members[0][1].kind
            assert kind is not None
            reading = reading_for(self.plant, kind.mapping, at + self.settings.ahead, self.rolled_until)
            rows = sort_rows(kind.feed, [(n, read.raw) for n, read in members if read.raw is not None], reading)
            found.setdefault(feed, []).append(rows)
        whole = [(number, read.refused) for number, read in enumerate(reads) if read.refused is not None]
        return {**found, "": [refused_whole(whole)]}

    def entry_of(self, read: ReadFile, tally: dict[str, Any], at: datetime) -> FileEntry:
        """What the ledger says of a file. tally: rows kept and refused, first and last moment."""
        first = tally.get("first")
        day = self.plant.clock.day_of(first if first is not None else at)
        refused, kept = tally.get("refused", 0), tally.get("kept", 0)
        return FileEntry(
            feed=read.feed,
            sha256=read.sha256,
            file=read.arrival.name,
            archived_as=archive_path(self.site, read.feed, day.isoformat(), read.arrival.name, read.sha256, self.taken),
            bytes=read.arrival.size,
            rows_read=read.rows,
            rows_kept=kept,
            rows_refused=refused if read.raw is not None else 0,
            data_from=first,
            data_to=tally.get("last"),
            retry_of=read.arrival.retry_of,
            note=read.raw.note if read.raw is not None else "refused whole",
        )

    def count(self, entry: FileEntry, read: ReadFile) -> None:
        """Put a file that was committed into the report."""
        self.report.files += 1
        self.report.rows_kept += entry.rows_kept
        self.report.rows_refused += entry.rows_refused
        if read.refused is not None:
            self.report.files_refused += 1
            file_refused = read.refused
            sentence = refusal_sentence(
                entry.file, 0, file_refused.column, file_refused.reason, file_refused.value, file_refused.expected
            )
            self.report.messages.append(sentence)
            self.report.refused_whole.append(sentence)


def _by_its_bytes(data: bytes, refused: FileRefused) -> FileRefused:
    """Why a file is refused that its name does not explain: told for what it is, where its bytes say so."""
    if refused.reason in (Reason.UNKNOWN_FEED, Reason.UNKNOWN_FORMAT):
        try:
            check_unnamed(data)
        except FileRefused as binary:
            return binary
    return refused


def _family(read: ReadFile) -> tuple[str, str]:
    mapping = read.kind.mapping if read.kind else None
    return read.feed, repr(mapping.files) if mapping else ""
