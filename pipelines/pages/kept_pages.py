"""The pages kept in memory, within bytes and number: each packed as a flow keeps it on disk, and what was written of it
beside it.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from cachetools import LRUCache

from pipelines.answers.site_marks import SiteMarks
from pipelines.pages.page_question import Key, State
from pipelines.pages.view import View
from pipelines.reports.frame.kept_page import packed_page, unpacked_page
from pipelines.reports.frame.page import Page

MOST_PAGES, MOST_BYTES = 250, 48 << 20
MOST_BESIDE = 24  # things written of one page: languages, orders, ages, workbooks
LIVE_AT_MOST_S = 60.0  # by the works' clock, a page of now is made anew whether anything was written or not
LIVE_S = {"now": 30.0, "feeds": 30.0}  # those that name the stations: a browser asks again within as much
LOOKED_AT_S = 600.0  # since somebody asked for it last, a page is made anew before anybody asks again
_AROUND_IT = 5_000  # bytes of a page's objects, about


class KeptPage:
    """A page as it was made: of which state, when by the works' clock. Kept packed: tens of kilobytes, not megabytes of
    objects.

    face: the view without what its page is packed for.  good: when its state was last seen to be that of its question;
    asked: when somebody asked for it, both by this process's clock.
    """

    def __init__(self, view: View, state: State, marks: SiteMarks, at: datetime):
        self.face = replace(view, page=replace(view.page, sections=(), cautions=(), sources=()))
        self.live_s = LIVE_S.get(view.kind, LIVE_AT_MOST_S) if view.refresh_s else 0.0
        self.state, self.at = state, at
        self.good, self.asked = time.monotonic(), -LOOKED_AT_S
        self._packed = packed_page(view.page, marks)
        self.beside: OrderedDict[Key, bytes] = OrderedDict()

    @property
    def page(self) -> Page:
        """The page with all its sections, unpacked anew."""
        return unpacked_page(self._packed)[0]

    @property
    def view(self) -> View:
        """The same in the application's frame."""
        return replace(self.face, page=self.page)

    @property
    def size(self) -> int:
        """About so many bytes of memory."""
        return len(self._packed) + sum(len(data) for data in self.beside.values()) + _AROUND_IT

    def aged(self, now: datetime, part: float = 1.0) -> bool:
        """Whether a page of now is as old, by the works' clock, as it may become (or that part of it)."""
        return self.live_s > 0 and abs((now - self.at).total_seconds()) >= part * self.live_s

    def is_of(self, state: State, now: datetime) -> bool:
        """Whether this is what the question is answered at this moment. What was made when everything was worked out
        stays right while the ledger may still be written.
        """
        same = self.state in (state, replace(state, unsettled=()))
        if same and not self.aged(now):
            self.good = time.monotonic()
            return True
        return False


class KeptPages:
    """At most so many pages in so many bytes; the ones asked for longest ago go first. Safe to use from many
    threads.
    """

    def __init__(self) -> None:
        # a page counts for at least its share, so that one bound is that of the number too
        least = MOST_BYTES // MOST_PAGES
        self._pages: LRUCache[Key, KeptPage] = LRUCache(MOST_BYTES, lambda page: max(page.size, least))
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._pages)

    def get(self, key: Key) -> KeptPage | None:
        with self._lock:
            page: KeptPage | None = self._pages.get(key)
            return page

    def keep(self, key: Key, page: KeptPage) -> None:
        """Keep a page, or count it anew; one that is larger than all room there is is not kept."""
        with self._lock:
            try:
                self._pages[key] = page
            except ValueError:
                self._pages.pop(key, None)

    def beside(self, key: Key, page: KeptPage, name: Key, write: Callable[[], bytes]) -> bytes:
        """What was written of a page under this name, kept with it; written where it was not."""
        data = page.beside.get(name)
        if data is None:
            data = write()
            with self._lock:
                page.beside[name] = data
                while len(page.beside) > MOST_BESIDE:
                    page.beside.popitem(last=False)
            if self.get(key) is page:
                self.keep(key, page)
        return data

    def clear(self) -> None:
        with self._lock:
            self._pages.clear()
