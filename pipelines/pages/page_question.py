"""A page is a question and the state that answers it: what is asked, and on what of the site its answer depends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import polars as pl

from pipelines.answers.site_marks import SiteMarks
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Page

Key = tuple[object, ...]
Stamp = tuple[int, ...]
REACH = timedelta(hours=12)  # ware of a window was formed, and its signals began, so far before it
SETTLED = timedelta(minutes=10)  # after a file came, until what follows from it is worked out
ACTS = ("acknowledgements", "decisions", "closes")


@dataclass(frozen=True)
class State:
    """On what of the site a question's answer depends.

    works: what works.toml says.  last: the last file that touches it.  acts: how many of what people and closes add.
    unsettled: the ledger's stamp, while more than files and acts can change the answer.  kept: the stamp of the page
    that a flow keeps.  writes: of people by way of pages, after which nothing older is shown.
    """

    works: str
    last: int
    acts: tuple[int, ...]
    unsettled: Stamp = ()
    kept: Stamp = ()
    writes: int = 0

    @property
    def settled(self) -> State:
        """The same when what follows from its files is worked out: so a flow keeps a page."""
        return replace(self, unsettled=(), kept=(), writes=0)


Kept = Callable[[Page, State, State], View | None]


@dataclass(frozen=True)
class PageQuestion:
    """What a page answers. key: names it among all.  make: its answer, made of the ledger.

    window: what it speaks of, where files of other times leave it as it is; beyond: files so long after it touch it
    too.  acts: what of people and closes it shows.  kept_at: where under reports/ a flow keeps the same page; shown:
    that page in the application's frame, by the state it was kept in and the state now; None where it is not to be
    shown.
    """

    key: Key
    make: Callable[[Reader, Plant], View]
    window: Span | None = None
    beyond: timedelta = timedelta()
    acts: tuple[str, ...] = ACTS
    kept_at: str = ""
    shown: Kept | None = None

    def state(self, marks: SiteMarks, files: pl.DataFrame) -> State:
        """The settled state of this question in a site with these marks. files: batch, data_from, data_to of each."""
        return State(marks.works, self._last(marks, files), tuple(int(getattr(marks, name)) for name in self.acts))

    def settles(self, files: pl.DataFrame) -> datetime | None:
        """When what follows from the files that touch it is worked out; None for a question that never settles."""
        if self.window is None:
            return None
        last = self._touching(files)["received_at"].max()
        return last + SETTLED if isinstance(last, datetime) else datetime.min.replace(tzinfo=self.window.start.tzinfo)

    def _last(self, marks: SiteMarks, files: pl.DataFrame) -> int:
        if self.window is None:
            return marks.last_batch
        touching = self._touching(files.filter(pl.col("batch") <= marks.last_batch))
        return int(touching["batch"].max() or 0)  # type: ignore[arg-type]

    def _touching(self, files: pl.DataFrame) -> pl.DataFrame:
        assert self.window is not None
        return files.filter(  # those that speak of no time, as complaints, are of no window
            (pl.col("data_from") < self.window.end + self.beyond) & (pl.col("data_to") >= self.window.start - REACH)
        )
