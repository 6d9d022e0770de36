"""What the application knows of its site: the plant file as it now is, and pages made once for many readers."""

from __future__ import annotations

import hashlib
import pickle
import threading
import time
import zlib
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import polars as pl

from pipelines.clock import Span
from pipelines.errors import ColdledgerError, PlantError, SiteError
from pipelines.ledger import Reader
from pipelines.pages.fresh import Ears, Fresh
from pipelines.pages.turns import OURS, Turns
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Page
from pipelines.reports.frame.stored_page import kept_page
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite, open_site
from pipelines.site.locks import running_flows

Make = Callable[[Reader, Plant], View]
Key = tuple[object, ...]
Stamp = tuple[int, ...]
LEAST_PAUSE_S = 0.2
MOST_PAGES, MOST_BYTES = 250, 48 << 20
REACH = timedelta(hours=12)  # ware of a window was formed, and its signals began, so far before it
SETTLED = timedelta(minutes=10)  # after a file came, until what follows from it is worked out
WHILE_A_FLOW_RUNS_S = 600.0
LIVE_AT_MOST_S = 60.0  # by the works' clock, a page of now is made anew whether anything was written or not
LIVE_S = {"now": 30.0, "feeds": 30.0}  # those that name the stations: a browser asks again within as much
LOOKED_AT_S = 600.0  # since somebody asked for it last, a page is made anew before anybody asks again
RENEWED_WITHIN_S = 60.0  # beyond the grace, where many pages wait to be made anew at once


@dataclass
class Marks:
    """What the ledger holds: pages that speak of a closed window stay as they are until one of these says otherwise."""

    stamp: Stamp
    last_batch: int
    counts: tuple[int, ...]
    files: pl.DataFrame


@dataclass(frozen=True)
class Written:
    """The HTML of a page's content, packed, and what names it among others."""

    packed: bytes
    digest: str

    @classmethod
    def of(cls, body: str) -> Written:
        data = body.encode()
        return cls(zlib.compress(data, 1), hashlib.sha256(data).hexdigest())

    @property
    def body(self) -> str:
        return zlib.decompress(self.packed).decode()


class Made:
    """A page as it was made: after which state of the ledger, when by the works' clock. Kept packed: tens of kilobytes,
    not megabytes of objects.

    face: the view without its parts.  html: by language and order, what was written of it.  whole: what anybody is
    answered.
    """

    def __init__(self, view: View, stamp: Stamp, writes: int, at: datetime, marks: Marks, window: Span | None):
        self.face = replace(view, parts=(), cautions=(), sources=())
        self.live_s = LIVE_S.get(view.kind, LIVE_AT_MOST_S) if view.refresh_s else 0.0
        self.asked = -LOOKED_AT_S
        self._packed = zlib.compress(pickle.dumps(view, protocol=5), 1)
        self.stamp, self.writes, self.at, self.window = stamp, writes, at, window
        self.batch, self.counts = marks.last_batch, marks.counts
        self.checked = self.good = time.monotonic()
        self.html: dict[Key, Written] = {}
        self.whole: dict[Key, bytes] = {}

    @property
    def view(self) -> View:
        """The page with all its parts, unpacked anew."""
        view: View = pickle.loads(zlib.decompress(self._packed))
        return view

    @property
    def size(self) -> int:
        """About so many bytes of memory."""
        html = sum(len(written.packed) for written in self.html.values())
        return len(self._packed) + html + sum(len(data) for data in self.whole.values()) + 5_000


class Desk:
    """One for an application. Safe to use from many threads."""

    def __init__(self, root: Path, settings: Settings, grace_s: float = 20.0):
        self.site, self.settings, self.grace_s = Site(root), settings, grace_s
        self.mistake = ""
        self.writes = 0
        self._opened = open_site(root, settings)
        self._plant_stamp = self._stamp_of(self.site.works_toml)
        self._known: tuple[Stamp, Plant] | None = None
        self._marks: Marks | None = None
        self._made: OrderedDict[Key, Made] = OrderedDict()
        self.turns, self.ears = Turns(), Ears(lambda: self.opened, self.stamp, self.flow_runs)
        self._lock, self._making = threading.Lock(), {}  # type: ignore[var-annotated]
        self._later = ThreadPoolExecutor(1, thread_name_prefix="renew")
        self._queued: set[Key] = set()
        self._running: tuple[float, bool] = (0.0, False)

    # the site

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
        return busy

    # pages

    def page(self, key: Key, make: Make, window: Span | None = None, who: str = OURS) -> Made:
        """The page of a question, made anew where it must be. window: what the page speaks of, where later files leave
        it as it is. who: for whom;
        TooMany where too much is made for them already."""
        with self._lock:
            made = self._made.get(key)
            if made is not None:
                self._made.move_to_end(key)
        if made is not None and who != OURS:
            made.asked = time.monotonic()
        if made is not None and made.writes == self.writes and self._shown_while_a_flow_runs(made):
            if self._aged(made):  # nobody waits for a commit; the page says at each answer how old its counts are
                self._renew(key, make, window)
            return made
        if made is not None and self._good(made):
            return made
        if made is not None and made.writes == self.writes and self._still_near(key, made):
            self._renew(key, make, window)
            return made
        return self._make(key, make, window, who)

    def _shown_while_a_flow_runs(self, made: Made) -> bool:
        """Whether a page stands as it is because a flow is at work: what it does is not done, it has the computer and
        writes the ledger, so its readers see the state before it, and nobody waits for a commit.
        """
        now = time.monotonic()
        if self.grace_s > 0 and now - made.good < WHILE_A_FLOW_RUNS_S and self.flow_runs():
            made.checked = now
            return True
        return False

    def _still_near(self, key: Key, made: Made) -> bool:
        """Whether a page that is no longer good may be shown once more: it was good a moment ago, or its renewal waits
        for its turn. Never one that the clock made old.
        """
        if self._aged(made):
            return False
        age = time.monotonic() - made.checked
        return age < self.grace_s or (key in self._queued and age < self.grace_s + RENEWED_WITHIN_S)

    def _aged(self, made: Made, part: float = 1.0) -> bool:
        """Whether a page of now is as old, by the works' clock, as it may become (or that part of it)."""
        return made.live_s > 0 and abs((self.now() - made.at).total_seconds()) >= part * made.live_s

    def _good(self, made: Made) -> bool:
        stamp = self.stamp()
        if made.writes != self.writes or self._aged(made):
            return False
        if made.stamp == stamp or (made.window is not None and self._untouched(made, stamp)):
            made.checked = made.good = time.monotonic()
            return True
        return False

    def _untouched(self, made: Made, stamp: Stamp) -> bool:
        assert made.window is not None
        marks = self.marks()
        if marks.counts != made.counts or stamp[2:] != made.stamp[2:]:
            return False
        touching = marks.files.filter(
            (pl.col("data_from").is_null() | (pl.col("data_from") < made.window.end))
            & (pl.col("data_to").is_null() | (pl.col("data_to") >= made.window.start - REACH))
        )
        if touching.filter(pl.col("batch") > made.batch).height:
            return False
        last = touching["received_at"].max()
        return not isinstance(last, datetime) or made.at - last > SETTLED

    def marks(self) -> Marks:
        """What the ledger holds, asked again when it was written."""
        stamp = self.stamp()
        these_marks = self._marks
        if these_marks is None or these_marks.stamp != stamp:
            with self.opened.ledger.reading() as reader:
                row = reader.ask("ledger_marks").row(0)
                files = reader.ask("batches_after", after_batch=these_marks.last_batch if these_marks else 0)
            files = files if these_marks is None else pl.concat([these_marks.files, files])
            self._marks = these_marks = Marks(stamp, int(row[0]), tuple(int(n) for n in row[1:]), files)
        return these_marks

    def _renew(self, key: Key, make: Make, window: Span | None) -> None:
        """Make a page anew behind the reader's back; one at a time."""
        with self._lock:
            if key in self._queued or len(self._queued) > 100:
                return
            self._queued.add(key)

        def later() -> None:
            try:
                with suppress(ColdledgerError):
                    self._make(key, make, window)
            finally:
                with self._lock:
                    self._queued.discard(key)

        self._later.submit(later)

    def _make(self, key: Key, make: Make, window: Span | None, who: str = OURS, anew: bool = False) -> Made:
        """Make a page; who asks for the same meanwhile waits for this one. anew: also while the one that is there is
        good.
        """
        with self._lock:
            mine = self._making.setdefault(key, threading.Lock())
        try:
            with self.turns.wanted(who, key), mine:
                with self._lock:
                    made = self._made.get(key)
                if made is not None and not anew and self._good(made):
                    return made
                looked = made.asked if made is not None else time.monotonic() if who != OURS else -LOOKED_AT_S
                with self.turns.turn():
                    made = self._made_now(make, window)
                made.asked = looked
                with self._lock:
                    self._made[key] = made
                    self._drop()
                return made
        finally:
            with self._lock:
                self._making.pop(key, None)

    def _made_now(self, make: Make, window: Span | None) -> Made:
        stamp, writes, at = self.stamp(), self.writes, self.now()
        plant, marks = self.plant, self.marks()
        with self.opened.ledger.reading() as reader:
            view = make(reader, plant)
        return Made(view, stamp, writes, at, marks, window)

    def _drop(self) -> None:
        while len(self._made) > MOST_PAGES or (
            len(self._made) > 1 and sum(m.size for m in self._made.values()) > MOST_BYTES
        ):
            self._made.popitem(last=False)

    def kept(self, address: str, window: Span, anyway: bool = False) -> tuple[Page, bool] | None:
        """The page that a flow kept under reports/, and whether files that came later touch it; None where there is
        none or, unless `anyway`, such files came.
        """
        found = kept_page(self.site.reports / address)
        if found is None:
            return None
        page, batch, _ = found
        later = self._came_after(batch, window, REACH)
        if later and not anyway:
            return None
        return page, later

    def kept_hour(self, address: str, window: Span) -> Page | None:
        """The page of an hour as an intake kept it, while no later file speaks of it or of what led to it, and nobody
        has acknowledged anything since.
        """
        found = kept_page(self.site.reports / address)
        if found is None or found[2] != self.marks().counts[0] or self._came_after(found[1], window, timedelta()):
            return None
        return found[0]

    def _came_after(self, batch: int, window: Span, beyond: timedelta) -> bool:
        later = self.marks().files.filter(
            (pl.col("batch") > batch)
            & (pl.col("data_from") < window.end + beyond)
            & (pl.col("data_to") >= window.start - REACH)
        )
        return bool(later.height)

    def keep_warm(self, live: Callable[[], list[tuple[Key, Make]]], stopping: threading.Event) -> None:
        """Make the pages that everybody opens before they are asked for, after each time the ledger was written; one at
        a time, never while a flow runs (but
        for the very first time: then nobody has any page yet)."""
        last: Stamp = ()
        while not stopping.wait(max(LEAST_PAUSE_S, min(1.0, 1.0 / self.settings.speed))):
            stamp = self.stamp()
            if last and not self.flow_runs():
                self._keep_live(live)
            if stamp == last or (last and self.flow_runs()):
                continue
            for key, make in live():
                if stopping.wait(0.05) or (last and self.flow_runs()):
                    break
                with suppress(ColdledgerError):
                    self.page(key, make)
            else:
                last = stamp

    def _keep_live(self, live: Callable[[], list[tuple[Key, Make]]]) -> None:
        """Make the pages of all lines that somebody looks at anew before the clock makes them old."""
        for key, make in live():
            made = self._made.get(key) if key[0] == "now" else None
            if made is not None and time.monotonic() - made.asked < LOOKED_AT_S and self._aged(made, 0.5):
                with suppress(ColdledgerError):
                    self._make(key, make, None, anew=True)

    def close(self) -> None:
        self.ears.close()
        self._later.shutdown(cancel_futures=True)
