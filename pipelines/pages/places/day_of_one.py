"""A report that a flow keeps for each production day of a line or a furnace, as a page with the others beside it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from pipelines.ledger import Reader
from pipelines.pages.page_question import REACH, PageQuestion, State
from pipelines.pages.view import View
from pipelines.pages.web import Web
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page


def day_of_one(
    web: Web,
    kind: str,
    of: str,
    on: date,
    address: Callable[[date, str], str],
    dressed: Callable[[Page], Page] = lambda page: page,
) -> PageQuestion:
    """kind: the report and its place; of: the line or furnace; address: of its page; dressed: what the application adds
    to it.
    """

    def make(reader: Reader, plant: Plant) -> View:
        return View(kind, dressed(ALL_REPORTS[kind].page(reader, plant, of, on)))

    def shown(page: Page, then: State, now: State) -> View | None:
        return View(kind, dressed(page)) if then == now else None

    window = web.desk.opened.plant.clock.day(on)
    return PageQuestion((kind, of, on), make, window, REACH, acts=(), kept_at=address(on, of), shown=shown)
