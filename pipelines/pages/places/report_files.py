"""The files under reports/ as flows wrote them: given as they lie there, and the newest of a kind."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, Response

from pipelines import typed
from pipelines.answers.counted_span import counted_span
from pipelines.errors import WrongUse
from pipelines.pages.web import Refused, Web
from pipelines.words import say

MOMENT = timedelta(seconds=1)  # a window that ends as a day does is of that day


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/reports/{path:path}")
    def report(request: Request, path: str) -> Response:
        """A page or workbook as it was written under reports/."""
        return kept_file(web, request, path)

    return routes


def kept_file(web: Web, request: Request, path: str) -> Response:
    """A page or workbook under reports/ as it lies there; Refused for anything that does not."""
    web.must_read(request)
    root = web.desk.site.reports.resolve()
    try:
        target = (root / path).resolve()
        good = (
            target.is_relative_to(root)
            and target.is_file()
            and target.suffix in (".html", ".xlsx")
            and not any(part.startswith(".") for part in Path(path).parts)
        )
    except (OSError, ValueError):
        good = False
    if not good:
        raise Refused(404, web.texts(request).say(say("There is no such page here.")))
    return FileResponse(target, headers={"Cache-Control": "no-cache, private"})


def newest_close(web: Web) -> list[date]:
    """The newest day that has a report; empty where none has."""
    return newest_of(path.stem for path in (web.desk.site.reports / "day").glob("????-??-??.html"))


def newest_day(web: Web, kind: str, of: str, lines: Sequence[str]) -> date:
    """The newest day that has such a page of a line or furnace, where works.toml names such pages; else the day of the
    newest count of its lines, the clock's where there is none.
    """
    plant = web.desk.plant
    days = newest_of(path.parent.name for path in web.desk.site.reports.glob(f"{kind}/*/{_plain(of)}.html"))
    if days and kind in plant.reports.pages:
        return days[-1]
    counted = None
    if web.desk.opened.ledger.exists:
        with web.desk.opened.ledger.reading() as reader:
            counted = counted_span(reader, lines)
    return plant.clock.day_of(counted.end - MOMENT if counted else web.desk.now())


def newest_of(names: Iterable[str]) -> list[date]:
    """The newest of some folders' or files' days; what is no day among them is passed over."""
    for name in sorted(names, reverse=True):
        with suppress(WrongUse):
            return [typed.day(name)]
    return []


def _plain(of: str) -> str:
    """An id as a file's name in a pattern: what a pattern would take for more than itself is put in brackets."""
    return re.sub(r"([*?\[])", r"[\1]", of)
