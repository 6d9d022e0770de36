"""The application: its routes, what every answer carries, and how errors become a sentence."""

from __future__ import annotations

import logging
import threading
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from pipelines.errors import ColdledgerError, LedgerBusy, SiteError, WrongUse
from pipelines.pages.again import again, error_page
from pipelines.pages.around import Around
from pipelines.pages.asked import sentences, whole_question
from pipelines.pages.gate import Gate
from pipelines.pages.kept_address import Elsewhere
from pipelines.pages.made_ahead import made_ahead
from pipelines.pages.made_pages import Desk
from pipelines.pages.metrics import Meter
from pipelines.pages.places import (
    day,
    enter,
    feeds,
    find,
    holds,
    hour,
    laboratory,
    line_times,
    machine,
    machine_readable,
    mould,
    moulds,
    now,
    pallet,
    people,
    repair,
    report_files,
    signals,
    station,
    station_faults,
    trace,
    weight_round,
    weights,
)
from pipelines.pages.places import help as help_pages
from pipelines.pages.turns import TooMany
from pipelines.pages.web import Options, Refused, Web, go
from pipelines.people.books import Books
from pipelines.settings import Settings, Site
from pipelines.words import joined, say, sentence_of, template

MOST_ASIDE = 12  # sentences that wait to be written as a page; who comes beyond them is told in plain text
PLACES = (
    now,
    hour,
    line_times,
    moulds,
    day,
    weights,
    laboratory,
    trace,
    holds,
    signals,
    pallet,
    mould,
    station,
    find,
    feeds,
    weight_round,
    enter,
    station_faults,
    repair,
    people,
    machine,
    machine_readable,
    report_files,
    help_pages,
)
log = logging.getLogger("coldledger.pages")


def create_app(root: Path, settings: Settings, options: Options | None = None) -> FastAPI:
    """The pages of a site. Reads the ledger, writes only what a signed-in person tells it to."""
    these_options = options or Options()
    web = Web(Desk(root, settings, these_options.grace_s), Books(Site(root).serve), these_options)

    @asynccontextmanager
    async def life(app: FastAPI) -> Any:
        stopping, keeper = threading.Event(), web.desk.opened.ledger.keeper()
        keeper.begin()
        if these_options.grace_s > 0:
            threading.Thread(target=web.desk.keep_warm, args=(partial(made_ahead, web), stopping), daemon=True).start()
        yield
        stopping.set()
        web.close()
        keeper.end()

    described = "/openapi.json" if these_options.open_reading else None
    app = FastAPI(
        title="coldledger",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url=described,
        lifespan=life,
        dependencies=[Depends(whole_question)],
    )
    app.state.web, app.state.meter = web, Meter()
    for place in PLACES:
        app.include_router(place.router(web))
    _errors(app, web)
    app.add_middleware(Gate, web=web)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(
        TrustedHostMiddleware,
        allowed_hosts=[host.strip("[]") if host.startswith("[") else host for host in these_options.hosts] or ["*"],
    )
    app.add_middleware(Around, web=web, meter=app.state.meter, patient=these_options.grace_s > 0)
    return app


FAILED = template("The page failed; what happened is in the log. Nothing was changed.")
CROWDED = template("Too many pages are being made just now: ask again in {seconds} seconds.")
BUSY = say("Somebody is writing into the ledger just now; try again in a few seconds.")
NO_LEDGER = say("Nothing was taken in yet: put feed files into inbox/; the next intake takes them.")


class _Sentences:
    """Writes what is turned away: a page each, for the first of a crowd; plain text beyond them."""

    def __init__(self, web: Web):
        self.web, self._waiting = web, 0  # touched by the event loop alone

    async def page(self, request: Request, status: int, text: str, retry_s: int = 0) -> Response:
        """One sentence; with the seconds after which to come again, where there are any."""
        answer = Response(text + "\n", status, media_type="text/plain; charset=utf-8")
        if self._waiting < MOST_ASIDE:
            self._waiting += 1
            try:
                answer = await self.web.aside(error_page, self.web, request, status, text)
            finally:
                self._waiting -= 1
        if retry_s:
            answer.headers["Retry-After"] = str(retry_s)
        return answer


def _errors(app: FastAPI, web: Web) -> None:
    """What goes wrong is a page with one sentence; nobody is shown a traceback."""

    page = _Sentences(web).page

    async def refused(request: Request, error: Refused) -> Response:
        if error.to_sign_in and request.method == "GET":
            return go(f"/sign-in?to={_to(request)}")
        return await page(request, error.status, error.text, error.retry_s)

    async def too_many(request: Request, error: TooMany) -> Response:
        return await page(request, 429, say(CROWDED, seconds=error.retry_s), error.retry_s)

    async def http(request: Request, error: HTTPException) -> Response:
        text = say("There is no such page here.") if error.status_code == 404 else str(error.detail)
        answer = await page(request, error.status_code, text)
        answer.headers.update(error.headers or {})
        return answer

    async def invalid(request: Request, error: RequestValidationError) -> Response:
        wrong = sentences(request, error)
        answer = await web.aside(again, web, request, wrong)
        return answer or await page(request, 400, joined("\n", wrong.values()))

    async def ours(request: Request, error: ColdledgerError) -> Response:
        return await web.aside(_ours, web, request, error)

    handlers: dict[Any, Any] = {
        Refused: refused,
        TooMany: too_many,
        ColdledgerError: ours,
        HTTPException: http,
        RequestValidationError: invalid,
    }
    for kind, handler in handlers.items():
        app.add_exception_handler(kind, handler)
    _failures(app, web, page)


def _failures(app: FastAPI, web: Web, page: Callable[..., Awaitable[Response]]) -> None:
    """What is nobody's mistake; and what has another address."""

    async def unknown(request: Request, error: Exception) -> Response:
        log.error("%s %s", request.method, request.url.path, exc_info=error)
        try:
            return await page(request, 500, say(FAILED))
        except Exception:  # what failed may be what every page needs
            return Response(web.texts(request).say(say(FAILED)) + "\n", 500, media_type="text/plain; charset=utf-8")

    async def elsewhere(request: Request, error: Elsewhere) -> Response:
        return go(error.address)

    app.add_exception_handler(Exception, unknown)
    app.add_exception_handler(Elsewhere, elsewhere)  # type: ignore[arg-type]


def _ours(web: Web, request: Request, error: ColdledgerError) -> Response:
    if isinstance(error, LedgerBusy):
        answer = error_page(web, request, 503, BUSY)
        answer.headers["Retry-After"] = "5"
        return answer
    if isinstance(error, SiteError) and not web.desk.opened.ledger.exists:
        return error_page(web, request, 503, NO_LEDGER)
    if not isinstance(error, WrongUse):
        return error_page(web, request, 503, sentence_of(error))
    return again(web, request, error) or error_page(web, request, 400, sentence_of(error))


def _to(request: Request) -> str:
    from urllib.parse import quote

    return quote(request.url.path + (f"?{request.url.query}" if request.url.query else ""), safe="")
