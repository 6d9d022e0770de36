"""Whose turn it is: few pages are made at once, a bounded number waits, and nobody fills the row alone."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Hashable, Iterator
from contextlib import contextmanager

AT_ONCE, EACH, ALL = 2, 8, 24  # pages made at once; asked for by one reader and not answered yet; by all
RETRY_S = 5
OURS = ""  # who makes pages before anybody asks, and is never refused


class TooMany(Exception):
    """A question that is not taken on now. retry_s: after how many seconds it may be asked again."""

    retry_s = RETRY_S


class Turns:
    """One for an application; safe to use from many threads."""

    def __init__(self) -> None:
        self._lock, self._making = threading.Lock(), threading.BoundedSemaphore(AT_ONCE)
        self._asked: Counter[tuple[str, Hashable]] = Counter()

    @contextmanager
    def wanted(self, who: str, what: Hashable) -> Iterator[None]:
        """While `who` waits for `what`: TooMany where they wait for much else, or all together do. Many who wait for
        the same count as one.
        """
        mine = (who, what)
        with self._lock:
            if who != OURS and mine not in self._asked:
                others = {hashable for asker, hashable in self._asked if asker != OURS} - {what}
                if sum(asker == who for asker, _ in self._asked) >= EACH or len(others) >= ALL:
                    raise TooMany
            self._asked[mine] += 1
        try:
            yield
        finally:
            with self._lock:
                self._asked[mine] -= 1
                if not self._asked[mine]:
                    del self._asked[mine]

    @contextmanager
    def turn(self) -> Iterator[None]:
        """While something is made."""
        with self._making:
            yield
