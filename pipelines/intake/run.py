"""The intake: everything in the inbox into the ledger, a group of whole files a transaction."""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Any

import polars as pl

from pipelines.errors import FileRefused, SiteError
from pipelines.intake.filing import archive_path, move_to_archive, settle_quarantine, sha256_of
from pipelines.intake.find import Arrival, Kind, feed_named, find_arrivals, kinds_of
from pipelines.intake.journal import note_received
from pipelines.intake.parse import parse_file, reading_for
from pipelines.intake.raw import Raw
from pipelines.intake.validate import REFUSALS, REFUSED_ROWS, Sorted, sort_rows
from pipelines.intake.vanished import vanished_ids
from pipelines.ledger import Ledger
from pipelines.ledger.delivery import Delivery, FileEntry, commit
from pipelines.ledger.history import note_repeats
from pipelines.ledger.sentences import unwritable
from pipelines.locks import held
from pipelines.plant import Plant
from pipelines.settings import Settings, Site
from schemas.feeds import ALL_FEEDS
from schemas.reasons import Reason, refusal_sentence

Progress = Callable[[int, int, str], None]
_AHEAD_BYTES = 32 << 20
LABORATORY = ("weight_checks", "capacity_checks", "density_checks", "temper_checks", "visual_checks")
_NO_CODE = pl.lit(None, dtype=pl.UInt64)  # codes of frames that were read apart cannot be compared


@dataclass
class IntakeReport:
    """What one intake did. `messages` are sentences for a person; `touched` are (line, moment) of cold-end counts kept,
    one moment in each quarter of an hour; `checked` are (line or furnace, moment) of the laboratory's rows, one an hour."""

    files: int = 0
    rows_kept: int = 0
    rows_refused: int = 0
    files_refused: int = 0
    repeated: int = 0
    first_batch: int = 0
    messages: list[str] = field(default_factory=list)
    touched: set[tuple[str, datetime]] = field(default_factory=set)
    checked: set[tuple[str, datetime]] = field(default_factory=set)
    lock_held_s: float = 0.0

    @property
    def needs_a_person(self) -> bool:
        return bool(self.rows_refused or self.files_refused or self.messages)


@dataclass
class ReadFile:
    """A file that was read: its cells, or why it could not be."""

    arrival: Arrival
    data: bytes
    sha256: str
    feed: str
    kind: Kind | None = None
    raw: Raw | None = None
    refused: FileRefused | None = None

    @property
    def rows(self) -> int:
        return self.raw.rows if self.raw else 0


@contextmanager
def intake_lock(site: Site, settings: Settings) -> Iterator[None]:
    """One intake at a time; the kernel frees it when its holder dies."""
    busy = "another intake of this site is still running; it takes the inbox in, this one ended"
    with held(site, "intake", settings.lock_wait_s, busy):
        yield


def take_in(site: Site, plant: Plant, settings: Settings, progress: Progress | None = None) -> IntakeReport:
    """Take in every whole file of the inbox. Can be killed at any instant: the next run finishes the work."""
    with intake_lock(site, settings):
        try:
            return Intake(site, plant, settings, progress).run()
        except OSError as error:
            raise SiteError(unwritable(site, error)) from error


class Intake:
    """One intake of a site, in steps that others can take one by one: `read` a file, pass over what is known (`fresh_of`), sort the rows (`delivery_of`)."""

    def __init__(self, site: Site, plant: Plant, settings: Settings, progress: Progress | None):
        self.site, self.plant, self.settings, self.progress = site, plant, settings, progress
        self.ledger = Ledger(site, settings)
        self.report = IntakeReport()
        self.taken: set[str] = set()
        self.known: dict[tuple[str, str], dict[str, Any] | None] = {}
        self.repeated: list[ReadFile] = []
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
        rows = 0
        with ThreadPoolExecutor(1) as filing:
            pending: Future[None] | None = None
            for done, reads in enumerate(_read_ahead(arrivals, self.read), start=1):
                group += reads  # all feeds of one file are committed together
                rows += sum(read.rows for read in reads)
                if self.progress:
                    self.progress(done, len(arrivals), reads[0].arrival.name)
                if rows >= self.settings.rows_at_once:
                    pending = self._settle(group, filing, pending)
                    group, rows = [], 0
            pending = self._settle(group, filing, pending)
            if pending is not None:
                pending.result()

    def read(self, arrival: Arrival) -> list[ReadFile]:
        """The file as each feed that it holds; none where it is gone or cannot be opened now."""
        self.ledger.unlocked.wait(5)  # leave the cores to a commit, so that the ledger is held as briefly as can be
        try:
            data = b"" if arrival.size > self.settings.largest_file else arrival.path.read_bytes()
        except FileNotFoundError:
            return []  # its writer took it back
        except OSError as error:
            self.report.messages.append(
                f"inbox/{arrival.name} cannot be read ({error.strerror}) and was left there for the next run"
            )
            return []
        sha256 = hashlib.sha256(data).hexdigest()
        try:
            kinds = kinds_of(arrival.name, self.plant, arrival.feed)
            if arrival.size > self.settings.largest_file:
                sha256, kinds = sha256_of(arrival.path), kinds[:1]
        except FileRefused as refused:
            feed = arrival.feed or feed_named(arrival.name)
            return [ReadFile(arrival, data, sha256, feed, refused=refused)]
        return [self._parsed(ReadFile(arrival, data, sha256, kind.feed.name, kind)) for kind in kinds]

    def _parsed(self, read: ReadFile) -> ReadFile:
        assert read.kind is not None
        try:
            if read.arrival.size > self.settings.largest_file:
                raise FileRefused(Reason.TOO_LARGE, expected=f"{self.settings.largest_file >> 20} MB")
            read.raw = parse_file(read.data, read.kind, self.settings, read.arrival.name)
        except FileRefused as refused:
            read.refused = refused
        return read

    def _settle(
        self, group: list[ReadFile], filing: ThreadPoolExecutor, pending: Future[None] | None
    ) -> Future[None] | None:
        fresh = self.fresh_of(group)
        at = self.at = max(self.settings.now(), self.at)
        delivery = self.delivery_of(fresh, at) if fresh else None
        if pending is not None:
            pending.result()
        return filing.submit(self._file, fresh, delivery, at) if delivery is not None else None

    def _file(self, fresh: list[ReadFile], delivery: Delivery, at: datetime) -> None:
        """Commit, then move the originals: what is still in the inbox after a power cut was committed or was not."""
        numbered = commit(self.ledger, delivery, at)
        note_received(self.site, numbered, at)
        self.report.first_batch = self.report.first_batch or min(numbered)
        self.report.touched |= _touched(delivery, ("station_counts", "reject_counts"), "15m")
        self.report.checked |= _touched(delivery, LABORATORY, "1h")
        for number, (read, entry) in enumerate(zip(fresh, delivery.files, strict=True)):
            move_to_archive(
                self.site, read.arrival, entry.archived_as, read.data, keep=_comes_again(read, fresh[number + 1 :])
            )
            self.count(entry, read)
        settle_quarantine(self.site, self.ledger)

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
        for number, read in enumerate(self.repeated):
            known = self.known[read.feed, read.sha256]
            if known is not None and not (self.site.archive / known["archived_as"]).exists():
                keep = _comes_again(read, self.repeated[number + 1 :])
                move_to_archive(self.site, read.arrival, known["archived_as"], keep=keep)
            else:
                again.append(read)
        if again:
            note_repeats(self.ledger, [(r.feed, r.sha256, r.arrival.name) for r in again], self.at)
        for read in again:
            read.arrival.path.unlink(missing_ok=True)
        self.report.repeated = len(again)

    def delivery_of(self, reads: list[ReadFile], at: datetime) -> Delivery:
        """All rows of some files, each kept or refused, as received at a moment; nothing is written."""
        sorted_rows: dict[str, list[Sorted]] = {}
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
            sorted_rows.setdefault(feed, []).append(rows)
        whole = [(number, read) for number, read in enumerate(reads) if read.refused is not None]
        parts = [one for many in sorted_rows.values() for one in many] + [_refused_whole(whole)]
        kept = {feed: _in_order([one.kept for one in many]) for feed, many in sorted_rows.items()}
        refused = pl.concat([one.refused_rows for one in parts])
        tallies = _tallies(kept, refused)
        files = tuple(self.entry_of(read, tallies.get(number, {}), at) for number, read in enumerate(reads))
        return Delivery(
            files,
            {f: k for f, k in kept.items() if k.height},
            refused,
            pl.concat([one.refusals for one in parts]),
        )

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
            told = read.refused
            self.report.messages.append(
                refusal_sentence(entry.file, 0, told.column, told.reason, told.value, told.expected)
            )


def _comes_again(read: ReadFile, later: list[ReadFile]) -> bool:
    """Whether a file that holds several feeds is still needed for another of them."""
    return any(other.arrival.path == read.arrival.path for other in later)


def _touched(delivery: Delivery, feeds: Iterable[str], every: str) -> set[tuple[str, datetime]]:
    """Where and when the rows kept of some feeds speak of, one moment in each `every`."""
    found: set[tuple[str, datetime]] = set()
    for name in feeds:
        if name in delivery.kept:
            where, when = ALL_FEEDS[name].where, str(ALL_FEEDS[name].when)
            rows = delivery.kept[name].select(where, when)
            first = pl.struct(where, when).ne_missing(pl.struct(where, when).shift(1))  # of its run: files are in order
            found |= set(rows.filter(first).with_columns(pl.col(when).dt.truncate(every)).unique().iter_rows())
    return found


def _in_order(frames: list[pl.DataFrame]) -> pl.DataFrame:
    """The rows of all frames in the order of receipt."""
    return (
        frames[0]
        if len(frames) == 1
        else pl.concat(frames).with_columns(key_code=_NO_CODE).sort("file_no", maintain_order=True)
    )


def _family(read: ReadFile) -> tuple[str, str]:
    mapping = read.kind.mapping if read.kind else None
    return read.feed, repr(mapping.files) if mapping else ""


def _refused_whole(reads: list[tuple[int, ReadFile]]) -> Sorted:
    rows, whys = [], []
    for number, read in reads:
        told = read.refused
        assert told is not None
        rows.append((number, 0, "{}"))
        whys.append((number, 0, told.column, told.value[:200], told.reason.code, told.expected))
    return Sorted(
        pl.DataFrame(),
        pl.DataFrame(rows, schema=REFUSED_ROWS, orient="row"),
        pl.DataFrame(whys, schema=REFUSALS, orient="row"),
    )


def _tallies(kept: dict[str, pl.DataFrame], refused: pl.DataFrame) -> dict[int, dict[str, Any]]:
    tallies: dict[int, dict[str, Any]] = {}
    for name, frame in kept.items():
        when = ALL_FEEDS[name].when
        spans = [pl.col(when).min().alias("first"), pl.col(when).max().alias("last")] if when else []
        for row in frame.group_by("file_no").agg(pl.len().alias("kept"), *spans).iter_rows(named=True):
            tallies[row.pop("file_no")] = row
    for number, count in refused.group_by("file_no").len().iter_rows():
        tallies.setdefault(number, {})["refused"] = count
    return tallies


def _read_ahead(arrivals: list[Arrival], read: Callable[[Arrival], list[ReadFile]]) -> Iterator[list[ReadFile]]:
    """Files in order, read by two threads ahead of the one that is used, by so many bytes and no more."""
    with ThreadPoolExecutor(2) as pool:
        waiting: deque[tuple[int, Future[list[ReadFile]]]] = deque()
        ahead = 0
        for arrival in [*arrivals, None]:
            while waiting and (arrival is None or ahead + arrival.size > _AHEAD_BYTES):
                size, future = waiting.popleft()
                ahead -= size
                reads = future.result()
                if reads:
                    yield reads
            if arrival is not None:
                ahead += arrival.size
                waiting.append((arrival.size, pool.submit(read, arrival)))
