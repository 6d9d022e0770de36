"""The site as it is at this moment: works.toml, the marks of the ledger, whether a flow is at work, and the state of a
question. Safe to use from many threads.
"""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import polars as pl

from pipelines.answers.site_marks import SiteMarks, site_marks, works_mark
from pipelines.errors import PlantError, SiteError
from pipelines.ledger import Reader
from pipelines.pages.fresh import Ears, Fresh
from pipelines.pages.page_question import Key, PageQuestion, Stamp, State
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite, open_site
from pipelines.site.locks import running_flows

MOST_STATES = 2_000  # of questions that are remembered while the ledger is not written


@dataclass(frozen=True)
class LedgerSeen:
    """What the ledger held when it was last written. at: when this was seen first, by the works' clock.  states: of the
    questions asked since.
    """

    stamp: Stamp
    at: datetime
    marks: SiteMarks
    files: pl.DataFrame
    states: dict[Key, State] = field(default_factory=dict)


class SiteNow:
    """One for an application."""

    def __init__(self, root: Path, settings: Settings):
        self.site, self.settings = Site(root), settings
        self.mistake = ""
        self.writes = 0
        self._opened = open_site(root, settings)
        self._works = works_mark(self._opened.plant)
        self._plant_stamp = self._stamp_of(self.site.works_toml)
        self._known: tuple[Stamp, Plant] | None = None
        self._seen: LedgerSeen | None = None
        self._lock = threading.Lock()
        self._running: tuple[float, bool] = (0.0, False)
        self._at_work = float("-inf")
        self.ears = Ears(lambda: self.opened, self.stamp, self.flow_runs)

    @property
    def opened(self) -> OpenSite:
        """The site with works.toml as it now is; the one before while there are mistakes in it, which `mistake` then
        tells.
        """
        stamp = self._stamp_of(self.site.works_toml)
        if stamp != self._plant_stamp:
            self._plant_stamp = stamp
            try:
                self._opened, self.mistake = open_site(self.site.root, self.settings), ""
                self._works = works_mark(self._opened.plant)
            except (PlantError, SiteError) as error:
                self.mistake = str(error)
        return self._opened

    @property
    def plant(self) -> Plant:
        """The plant with the ids that it has lost and the ledger still speaks of. Those change with works.toml: nobody
        waits for a commit to be told them.
        """
        opened, stamp, known = self.opened, self.stamp(), self._known
        if known is None or known[0][2:] != stamp[2:] or (known[0] != stamp and not self.flow_runs()):
            self._known = known = (stamp, opened.known)
        return known[1]

    @staticmethod
    def _stamp_of(path: Path) -> Stamp:
        with suppress(OSError):
            found = path.stat()
            return found.st_mtime_ns, found.st_size
        return (0, 0)

    def stamp(self) -> Stamp:
        """Changes whenever the ledger or works.toml is written."""
        return (*self._stamp_of(self.site.ledger), *self._stamp_of(self.site.works_toml))

    def now(self) -> datetime:
        return self.settings.now()

    def fresh(self) -> Fresh | None:
        """How old the newest counts are at this moment; None where nothing is known."""
        return self.ears.now(self.opened.plant, self.now())

    def wrote(self) -> None:
        """Somebody has written by way of a page: whatever was made before is shown to nobody again."""
        with self._lock:
            self.writes += 1

    def flow_runs(self) -> bool:
        """Whether a flow is at work; asked of the locks at most once a second."""
        at, busy = self._running
        if time.monotonic() - at > 1.0:
            busy = bool(running_flows(self.site))
            self._running = (time.monotonic(), busy)
        if busy:
            self._at_work = time.monotonic()
        return busy

    def quiet_s(self) -> float:
        """For how long no flow was seen at work."""
        return time.monotonic() - self._at_work

    def state(self, question: PageQuestion) -> State:
        """The state of a question at this moment. The ledger is asked where it was written since it was asked last."""
        seen = self._ledger_seen()
        state = seen.states.get(question.key)
        if state is None:
            settles = question.settles(seen.files)
            unsettled = seen.stamp[:2] if settles is None or seen.at <= settles else ()
            if len(seen.states) >= MOST_STATES:
                seen.states.clear()
            seen.states[question.key] = state = replace(question.state(seen.marks, seen.files), unsettled=unsettled)
        kept = self._stamp_of(self.site.reports / question.kept_at) if question.kept_at else ()
        return replace(state, kept=kept, writes=self.writes)

    def marks(self) -> SiteMarks:
        """The marks of the site at this moment."""
        return self._ledger_seen().marks

    def state_with(self, question: PageQuestion, marks: SiteMarks) -> State:
        """The settled state of a question when the site had these marks."""
        return question.state(marks, self._ledger_seen().files)

    def _ledger_seen(self) -> LedgerSeen:
        opened, stamp, before = self.opened, self.stamp(), self._seen
        if before is not None and before.stamp == stamp:
            return before
        with opened.ledger.reading() as reader:
            marks = site_marks(reader, self._works)
            files = _files(reader, before, marks)
        self._seen = seen = LedgerSeen(stamp, self.now(), marks, files)
        return seen


def _files(reader: Reader, before: LedgerSeen | None, marks: SiteMarks) -> pl.DataFrame:
    """The files that the ledger holds; those it held before are not asked again, unless it was made anew."""
    if before is None or marks.last_batch < before.marks.last_batch:
        return reader.ask("batches_after", after_batch=0)
    return pl.concat([before.files, reader.ask("batches_after", after_batch=before.marks.last_batch)])
