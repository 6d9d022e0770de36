"""The Python way in: a site opened, its tables as Polars frames, its answers typed.

    from pipelines import open_site

    site = open_site("coldledger-demo")
    site.table("pallets").group_by("item").len()
    site.pareto("K1", "2026-03-02T06:00", "2026-03-02T14:00").rows[0].name
    site.frame(site.pareto("K1", "2026-03-02T06:00", "2026-03-02T14:00").rows)

Nothing is written: a site is only read here. Times are texts as on the command line, local to the works unless they
have an offset, or aware datetimes; days are texts or dates. What cannot be read or does not exist is one of
pipelines.errors with one sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import polars as pl

from pipelines import typed
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.settings import settings_from_environment
from pipelines.site.folder import OpenSite
from pipelines.site.folder import open_site as open_folder
from schemas.answers.holds import HeldPallet
from schemas.answers.laboratory import LaboratoryDay
from schemas.answers.pareto import Pareto
from schemas.answers.shape import Result
from schemas.answers.signals import Signal
from schemas.answers.trace import Trace
from schemas.answers.weights import Weights
from schemas.answers.yields import Yield

if TYPE_CHECKING:
    from schemas.feeds import Feed

Answer = TypeVar("Answer")


class Inquiry:
    """A site that is asked from Python. Every question opens the ledger to read and lets it go again, so that an intake
    is never kept waiting.
    """

    def __init__(self, opened: OpenSite):
        self._opened = opened

    @property
    def path(self) -> Path:
        """The site's folder."""
        return self._opened.site.root

    @property
    def lines(self) -> list[str]:
        """The lines of works.toml."""
        return list(self._opened.plant.lines)

    @property
    def tables(self) -> dict[str, str]:
        """The tables that `table` reads, each with what one row of it is."""
        from schemas.feeds import ALL_FEEDS

        return {name: feed.grain for name, feed in ALL_FEEDS.items()}

    def table(self, name: str) -> pl.DataFrame:
        """Every row in force of one feed's table: the feed's columns, times in UTC, and `batch` and `file_line` of the
        file it came from.
        """
        known = self._feed(name).name
        return self._ask(lambda reader: reader.current(known))

    def columns(self, name: str) -> pl.DataFrame:
        """What the columns of a table mean: name, meaning, unit."""
        feed = self._feed(name)
        known = [feed.quantity(column) for column in feed.columns]
        return pl.DataFrame(
            {
                "column": [quantity.name for quantity in known],
                "meaning": [quantity.meaning for quantity in known],
                "unit": [quantity.unit for quantity in known],
            }
        )

    def pareto(self, line: str, start: str | datetime, end: str | datetime, by: str = "defect") -> Pareto:
        """The reject Pareto of [start, end) of a line by the cold-end clock; by: defect, station, mould, section, gob,
        ...
        """
        from pipelines.answers.pareto import answer_pareto

        span = self._span(start, end, "pareto")
        return self._ask(lambda reader: answer_pareto(reader, self._opened.known, line, span, by))

    def signals(self, start: str | datetime, end: str | datetime, line: str | None = None) -> list[Signal]:
        """What was not chance in [start, end), the most harmful first, as it stands at the end."""
        from pipelines.answers.signals import answer_signals

        span = self._span(start, end, "signals")
        return self._ask(lambda reader: answer_signals(reader, self._opened.known, span, line))

    def yields(self, day: str | date, furnace: str | None = None, line: str | None = None) -> Yield:
        """The pack-to-melt of a production day, with what is not known."""
        from pipelines.answers.yields.answer import answer_yield

        return self._ask(lambda reader: answer_yield(reader, self._opened.known, self._day(day), furnace, line))

    def weights(self, line: str, start: str | datetime, end: str | datetime, item: str | None = None) -> Weights:
        """Weights of a line's containers in [start, end): moulds, gob positions, where the spread comes from."""
        from pipelines.answers.weights.answer import answer_weights

        span = self._span(start, end, "weights")
        return self._ask(lambda reader: answer_weights(reader, self._opened.known, line, span, item))

    def laboratory(self, day: str | date, furnace: str | None = None) -> LaboratoryDay:
        """Density, capacity, annealing and samples of a production day, and the checks that were missed."""
        from pipelines.answers.laboratory.answer import answer_laboratory

        return self._ask(lambda reader: answer_laboratory(reader, self._opened.known, self._day(day), furnace))

    def trace(
        self,
        *,
        complaint: str | None = None,
        pallet: str | None = None,
        item: str | None = None,
        line: str | None = None,
        mould: str | None = None,
        defect: str | None = None,
        made_from: str | datetime | None = None,
        made_to: str | datetime | None = None,
        received: str | date | None = None,
    ) -> Trace:
        """From what is in hand to cavities, evidence and pallets. made_from, made_to: forming time; received: the day
        by which the customer had it.
        """
        from pipelines.answers.trace.answer import answer_trace
        from pipelines.answers.trace.question import Question

        first, last = (None if at is None else _text(at) for at in (made_from, made_to))
        start, end = typed.part(first, last, self._opened.plant.clock.zone, "trace", ("made_from", "made_to"))
        by = None if received is None else self._day(received)
        question = Question(complaint, item, line, mould, defect, pallet, start, end, by)
        return self._ask(lambda reader: answer_trace(reader, self._opened.known, question))

    def holds(self, everything: bool = False) -> list[HeldPallet]:
        """Pallets that are held or proposed, with why; with `everything` also those released, scrapped or turned
        down.
        """
        from pipelines.answers.holds import answer_holds

        return self._ask(lambda reader: answer_holds(reader, everything=everything))

    @staticmethod
    def frame(rows: Sequence[Result]) -> pl.DataFrame:
        """Rows of an answer as a frame, a column a field; what is not a number, a text or a time stays a list or a
        struct.
        """
        return pl.DataFrame([row.model_dump() for row in rows], infer_schema_length=None)

    def _ask(self, question: Callable[[Reader], Answer]) -> Answer:
        with self._opened.ledger.reading() as reader:
            return question(reader)

    def _span(self, start: str | datetime, end: str | datetime, question: str) -> Span:
        zone = self._opened.plant.clock.zone
        return typed.span(_text(start), _text(end), zone, question, ("start", "end"))

    @staticmethod
    def _feed(name: str) -> Feed:
        from schemas.feeds import ALL_FEEDS

        if name not in ALL_FEEDS:
            raise WrongUse(f"there is no table '{name}'; there are {', '.join(ALL_FEEDS)}")
        return ALL_FEEDS[name]

    @staticmethod
    def _day(day: str | date) -> date:
        return typed.day(_text(day))


def _text(at: str | date) -> str:
    """A day or a moment as it is typed."""
    return at if isinstance(at, str) else at.isoformat()


def open_site(path: str | Path | None = None) -> Inquiry:
    """The site in a folder, else in COLDLEDGER_SITE, else in the current folder; SiteError or PlantError where it is
    none.
    """
    return Inquiry(open_folder(Path(path) if path is not None else None, settings_from_environment()))
