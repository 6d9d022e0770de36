"""The site's one run history, in its books: what ran, when, why, how it ended. `coldledger runs` and Feeds show it.

A run of `coldledger serve` is noted by its clerk, who also sees a run that dies; every other run notes itself. Books
that cannot be written stop no work.
"""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable
from typing import Any

from pipelines.clock import utc_text
from pipelines.errors import ColdledgerError, SiteError, first_line, named_line
from pipelines.flows.steps import in_words
from pipelines.people.books import KEEP_RUNS, Books
from pipelines.site.folder import OpenSite

BY_COMMAND, BY_DEPLOYMENT = "by a command", "by its deployment"
_LOG = logging.getLogger(__name__)


class NotedRun:
    """A run in the books, from its begin on; to be begun under the flow's own lock."""

    def __init__(self, opened: OpenSite, flow: str, why: str):
        self.opened, self.flow, self.number = opened, flow, 0
        try:
            self._books = Books(opened.site.serve)
            self._books.tell("crash_runs_of", flow=flow, why=BY_COMMAND, or_why=BY_DEPLOYMENT)
            self.number = self._books.tell("begin_run", flow=flow, why=why, at=self._now())[1]
        except (SiteError, sqlite3.Error, OSError) as error:
            _LOG.warning("the run cannot be noted: %s", error)

    def _now(self) -> str:
        return utc_text(self.opened.settings.now())

    def ended(self, answer: Any) -> None:
        """It went well, with this answer."""
        needs = self.flow == "intake" and answer[0].needs_a_person
        self._end("needs a person" if needs else "done", in_words(self.flow, answer))

    def failed(self, error: BaseException) -> None:
        """It ended by an error, or was interrupted."""
        if not isinstance(error, Exception):
            return self._end("cut off", "interrupted; the next run takes up what it left")
        return self._end("failed", first_line(error) if isinstance(error, ColdledgerError) else named_line(error))

    def _end(self, state: str, words: str) -> None:
        if not self.number:
            return
        try:
            self._books.tell("end_run", number=self.number, at=self._now(), state=state, told=words[:500])
            self._books.tell("drop_old_runs", keep=KEEP_RUNS)
        except (sqlite3.Error, OSError) as error:
            _LOG.warning("the run's end cannot be noted: %s", error)


def noted(opened: OpenSite, flow: str, why: str, work: Callable[[], Any]) -> Any:
    """Do a flow's work and note how it went; gives back what the work gives."""
    run = NotedRun(opened, flow, why)
    try:
        answer = work()
    except BaseException as error:
        run.failed(error)
        raise
    run.ended(answer)
    return answer
