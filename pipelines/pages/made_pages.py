"""Pages made once for many readers: when one is shown, when it is made anew, and by whom."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

from pipelines.errors import ColdledgerError
from pipelines.pages.kept_pages import LOOKED_AT_S, KeptPage, KeptPages
from pipelines.pages.page_question import Key, PageQuestion, Stamp
from pipelines.pages.site_now import SiteNow
from pipelines.pages.turns import OURS, Turns
from pipelines.pages.view import View
from pipelines.reports.frame.kept_page import kept_page
from pipelines.settings import Settings

LEAST_PAUSE_S = 0.2
LAST_SEEN_S = 600.0  # so long ago at most a page was right that stands for a moment more
RENEWED_WITHIN_S = 60.0  # beyond the grace, where many pages wait to be made anew at once
MOST_RENEWED = 100  # that wait to be made anew


class Desk(SiteNow):
    """The site as it is, and its pages: one for an application. Safe to use from many threads."""

    def __init__(self, root: Path, settings: Settings, grace_s: float = 20.0):
        super().__init__(root, settings)
        self.grace_s, self.kept, self.turns = grace_s, KeptPages(), Turns()
        self._making: dict[Key, threading.Lock] = {}
        self._later = ThreadPoolExecutor(1, thread_name_prefix="renew")
        self._queued: set[Key] = set()

    def page(self, question: PageQuestion, who: str = OURS) -> KeptPage:
        """The page of a question, made anew where it must be. who: for whom; TooMany where too much is made for them
        already.
        """
        page = self.kept.get(question.key)
        if page is None:
            return self._make(question, who)
        if who != OURS:
            page.asked = time.monotonic()
        busy = self.grace_s > 0 and self.flow_runs()
        if not busy and page.is_of(self.state(question), self.now()):
            return page
        if not self._stands(question.key, page):
            return self._make(question, who)
        if not busy or page.aged(self.now()):
            self._renew(question)
        return page

    def _stands(self, key: Key, page: KeptPage) -> bool:
        """The one grace: while a flow is at work and a moment after, the state last seen stands, and its page is made
        anew behind the reader.

        What a flow does is not done: it has the computer and writes the ledger, so nobody waits for a commit, and a
        live page says at each answer how old its counts are. The moment is longer for a page whose renewal waits for
        its turn. Nothing stands that is older than what a person wrote by a page, and afterwards no live page beyond
        its time.
        """
        if self.grace_s <= 0 or page.state.writes != self.writes:
            return False
        since_good = time.monotonic() - page.good
        if since_good >= LAST_SEEN_S or self.flow_runs():
            return since_good < LAST_SEEN_S
        moment = self.grace_s + (RENEWED_WITHIN_S if key in self._queued else 0.0)
        return min(since_good, self.quiet_s()) < moment and not page.aged(self.now())

    def _renew(self, question: PageQuestion) -> None:
        """Make a page anew behind the reader's back; one at a time."""
        with self._lock:
            if question.key in self._queued or len(self._queued) > MOST_RENEWED:
                return
            self._queued.add(question.key)

        def later() -> None:
            try:
                with suppress(ColdledgerError):
                    self._make(question)
            finally:
                with self._lock:
                    self._queued.discard(question.key)

        self._later.submit(later)

    def _make(self, question: PageQuestion, who: str = OURS, anew: bool = False) -> KeptPage:
        """Make a page; who asks for the same meanwhile waits for this one. anew: also while the one that is there is
        good.
        """
        key = question.key
        with self._lock:
            mine = self._making.setdefault(key, threading.Lock())
        try:
            with self.turns.wanted(who, key), mine:
                page = self.kept.get(key)
                if page is not None and not anew and page.is_of(self.state(question), self.now()):
                    return page
                asked = page.asked if page is not None else time.monotonic() if who != OURS else -LOOKED_AT_S
                with self.turns.turn():
                    page = self._made_now(question)
                page.asked = asked
                self.kept.keep(key, page)
                return page
        finally:
            with self._lock:
                self._making.pop(key, None)

    def _made_now(self, question: PageQuestion) -> KeptPage:
        at, plant, state, marks = self.now(), self.plant, self.state(question), self.marks()
        view = self._from_disk(question)
        if view is None:
            with self.opened.ledger.reading() as reader:
                view = question.make(reader, plant)
        return KeptPage(view, state, marks, at)

    def _from_disk(self, question: PageQuestion) -> View | None:
        """The page as a flow kept it, where it is to be shown in the state that the question has now."""
        if question.shown is None:
            return None
        found = kept_page(self.site.reports / question.kept_at)
        if found is None:
            return None
        page, marks = found
        return question.shown(page, self.state_with(question, marks), self.state(question).settled)

    def keep_warm(self, live: Callable[[], list[PageQuestion]], stopping: threading.Event) -> None:
        """Make the pages that everybody opens before they are asked for, after each time the ledger was written; one at
        a time, never while a flow runs (but for the very first time: then nobody has any page yet).
        """
        last: Stamp = ()
        while not stopping.wait(max(LEAST_PAUSE_S, min(1.0, 1.0 / self.settings.speed))):
            stamp = self.stamp()
            if last and not self.flow_runs():
                self._keep_live(live)
            if stamp == last or (last and self.flow_runs()):
                continue
            for question in live():
                if stopping.wait(0.05) or (last and self.flow_runs()):
                    break
                with suppress(ColdledgerError):
                    self.page(question)
            else:
                last = stamp

    def _keep_live(self, live: Callable[[], list[PageQuestion]]) -> None:
        """Make the pages of all lines that somebody looks at anew before the clock makes them old."""
        for question in live():
            page = self.kept.get(question.key) if question.key[0] == "now" else None
            if page is not None and time.monotonic() - page.asked < LOOKED_AT_S and page.aged(self.now(), 0.5):
                with suppress(ColdledgerError):
                    self._make(question, anew=True)

    def close(self) -> None:
        self.ears.close()
        self._later.shutdown(cancel_futures=True)
