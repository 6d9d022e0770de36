"""Databases read now, and what a reading would bring shown before anything is kept."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from functools import partial

from pipelines.errors import FileRefused, WrongUse
from pipelines.intake.find import kinds_of
from pipelines.intake.foreign.cells import parse_foreign
from pipelines.intake.foreign.trial import Tried, try_data
from pipelines.plant.database import DatabaseSource
from pipelines.plant.works import Plant
from pipelines.site.folder import OpenSite
from pipelines.sources.database.asking import asked_from, batches
from pipelines.sources.database.progress import Progress
from pipelines.sources.database.reach import reached
from pipelines.sources.database.reading import ReadRows, read_source, write_rows
from pipelines.sources.database.trouble import SourceTrouble
from pipelines.typed import shown
from pipelines.words import say

TRIED_ROWS = 500


def sources_named(plant: Plant, name: str | None) -> tuple[DatabaseSource, ...]:
    """The source of that name, or all of them. WrongUse where there is none."""
    if not plant.source:
        raise WrongUse("works.toml has no [[source]]; `coldledger help sources` shows one")
    found = tuple(source for source in plant.source if name in (None, source.name))
    if not found:
        known = ", ".join(source.name for source in plant.source)
        raise WrongUse(f"there is no [[source]] '{shown(name or '')}'; there are {known}")
    return found


def read_now(opened: OpenSite, source: DatabaseSource, anew: bool = False) -> ReadRows:
    """Read a source into the inbox. SourceTrouble, which is noted too, where it cannot be read."""
    return read_source(opened, source, partial(check_headings, opened), anew)


def check_headings(opened: OpenSite, source: DatabaseSource, headings: Sequence[str]) -> None:
    """SourceTrouble where a query's columns cannot become the feed: nothing of them is given out."""
    header, name = _data(headings, ()), _name(source)
    try:
        for kind in kinds_of(name, opened.plant):
            parse_foreign(header, kind.feed, source.mapping, name, opened.settings)
    except FileRefused as refused:
        words = refused.reason.sentence(refused.value, refused.expected)
        raise SourceTrouble(
            say("its columns do not make the feed {feed}: {words}", feed=source.feed, words=words)
        ) from None


def _data(headings: Sequence[str], cells: Sequence[Sequence[str]]) -> bytes:
    """The bytes of a file of rows."""
    file = io.StringIO()
    write_rows(file, headings, cells)
    return file.getvalue().encode("utf-8", "surrogateescape")


def _name(source: DatabaseSource) -> str:
    return f"{source.name}.read.try.csv"


def try_source(opened: OpenSite, source: DatabaseSource) -> Iterator[Tried]:
    """What the first rows of the next reading would become, those asked again among them; nothing is kept or noted.
    SourceTrouble where it cannot be read; nothing where it has no rows.
    """
    so_far = Progress(opened.site, source).so_far()
    with reached(opened.site.root, source) as here:
        first = next(batches(here, source, asked_from(here, source, so_far.watermark), TRIED_ROWS), None)
    if first is None:
        return
    check_headings(opened, source, first.headings)
    data = _data(first.headings, first.cells)
    yield from try_data(data, _name(source), opened.site, opened.plant, opened.settings)
