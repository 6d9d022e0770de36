"""One reading of a source: the rows since its watermark, in whole files."""

from __future__ import annotations

import csv
import logging
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import IO, Any
from zoneinfo import ZoneInfo

from pipelines.plant.database import DatabaseSource
from pipelines.site.folder import OpenSite
from pipelines.site.locks import held
from pipelines.sources.database.asking import Batch, asked_from, batches, several_kinds
from pipelines.sources.database.cell_words import digest
from pipelines.sources.database.progress import Progress, ReadSoFar
from pipelines.sources.database.reach import reached
from pipelines.sources.database.trouble import SourceTrouble
from pipelines.sources.database.watermark import Watermark
from pipelines.words import say

log = logging.getLogger("coldledger.sources")
BATCH_ROWS = 20_000  # of a file
MOST_GIVEN = 300_000  # rows that are remembered
Fits = Callable[[DatabaseSource, Sequence[str]], None]  # SourceTrouble where these headings do not make the feed


@dataclass(frozen=True)
class ReadRows:
    """What a reading brought: rows that had not been given out before, and the files they are in."""

    rows: int
    files: tuple[str, ...]


def read_source(opened: OpenSite, source: DatabaseSource, fits: Fits, anew: bool = False) -> ReadRows:
    """Read a source now. anew: everything again, as if it had never been read. SourceTrouble where it cannot be; the
    trouble is noted. LedgerBusy where it is being read already.
    """
    progress, now = Progress(opened.site, source), opened.settings.now
    busy = f"{source.name} is being read just now; nothing was done"
    with held(opened.site, f"source-{source.name}", 0.0, busy):
        try:
            if anew:
                progress.forget()
            progress.settle()
            found = _SourceReading(opened, source, progress, fits).run()
        except OSError as error:
            trouble = SourceTrouble(say("its rows cannot be written ({why})", why=error.strerror or error))
            _noted(progress, opened, source, trouble)
            raise trouble from None
        except SourceTrouble as trouble:
            _noted(progress, opened, source, trouble)
            raise
        progress.read_well(now(), found.rows)
    return found


def _noted(progress: Progress, opened: OpenSite, source: DatabaseSource, trouble: SourceTrouble) -> None:
    again = progress.times().trouble == str(trouble)
    log.log(logging.DEBUG if again else logging.WARNING, "%s was not read: %s", source.name, trouble)
    try:
        progress.not_read(opened.settings.now(), trouble.words)
    except OSError as error:
        log.error("that %s was not read cannot be noted (%s)", source.name, error.strerror)


class _SourceReading:
    """One reading, a batch at a time."""

    def __init__(self, opened: OpenSite, source: DatabaseSource, progress: Progress, fits: Fits):
        self.source, self.progress, self.fits = source, progress, fits
        self.opened = opened
        self.zone = ZoneInfo(source.timezone or opened.plant.works.timezone)
        self.seen: Counter[str] = Counter()  # rows of this reading that can stand once more in it
        self.rows = 0
        self.files: list[str] = []

    def run(self) -> ReadRows:
        so_far = self.progress.so_far()
        if so_far.watermark is not None and so_far.since != self.source.since:
            raise SourceTrouble(
                say(
                    "it was read by `{old}` and `since` is `{new}` now: coldledger sources read {name} --anew",
                    old=so_far.since,
                    new=self.source.since,
                    name=self.source.name,
                )
            )
        with reached(self.opened.site.root, self.source) as here:
            asked = asked_from(here, self.source, so_far.watermark)
            for batch in batches(here, self.source, asked, BATCH_ROWS):
                if not self.files:
                    self.fits(self.source, batch.headings)
                so_far = self._take(batch, so_far)
        return ReadRows(self.rows, tuple(self.files))

    def _take(self, batch: Batch, so_far: ReadSoFar) -> ReadSoFar:
        """Give out what is new of a batch; what is known behind it."""
        new: list[list[str]] = []
        marks: dict[str, tuple[int, Any]] = {}
        for cells, value in zip(batch.cells, batch.since, strict=True):
            mark = digest(cells)
            self.seen[mark] += 1
            often, _ = so_far.given.get(mark, (0, None))
            if self.seen[mark] > often:
                new.append(cells)
            marks[mark] = (max(often, self.seen[mark]), value)
        last = batch.since[-1]  # the same row again has the same value, and they come in order
        self.seen = Counter({mark: self.seen[mark] for mark, (_, value) in marks.items() if value == last})
        after = self._after(last, so_far, marks)
        if new:
            self.files.append(self.progress.give(lambda file: write_rows(file, batch.headings, new), after))
            self.rows += len(new)
        elif after.watermark != so_far.watermark:
            self.progress.keep(after)
        return after

    def _after(self, last: Any, so_far: ReadSoFar, marks: dict[str, tuple[int, Any]]) -> ReadSoFar:
        """The watermark behind a batch, and the rows before it that can be asked again."""
        watermark = Watermark.of(last)
        before = so_far.watermark
        if before is not None and before.kind != watermark.kind:
            raise SourceTrouble(several_kinds(before.kind, watermark.kind))
        watermark = watermark.not_after(self.opened.settings.now(), self.zone)
        if before is not None and before.value > watermark.value:
            watermark = before
        least = watermark.before(self.source)
        given = {mark: kept for mark, kept in {**so_far.given, **marks}.items() if kept[1] >= least}
        if len(given) > MOST_GIVEN:  # what is left out comes twice, which the ledger tells
            given = dict(sorted(given.items(), key=lambda pair: pair[1][1])[-MOST_GIVEN:])
        return ReadSoFar(self.source.since, watermark, given)


def write_rows(file: IO[str], headings: Sequence[str], cells: Sequence[Sequence[str]]) -> None:
    """A file of rows under their headings."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows(cells)
