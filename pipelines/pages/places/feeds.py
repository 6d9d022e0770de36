"""The page of feeds: late, silent, refused; repair and retry; what ran and what will. And the acknowledgement of
signals.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines.errors import ColdledgerError
from pipelines.intake import IntakeReport
from pipelines.jobs.repair import give_file_up, mend_file, refused_file, refused_rows, repair
from pipelines.jobs.signals import acknowledge_signal, days_to_follow
from pipelines.pages.places.doubts import doubts_view
from pipelines.pages.places.feeds_view import feeds_view, refused_view
from pipelines.pages.web import Refused, Web, go, local, span_asked

Token = Annotated[str, Form(max_length=400)]
Batch = Annotated[int, Path(ge=1, le=2**31 - 1)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    _reading(routes, web)
    _writing(routes, web)
    return routes


def _reading(routes: APIRouter, web: Web) -> None:
    @routes.get("/feeds")
    def feeds(request: Request) -> Response:
        """What came, what is late or silent, what was refused and why; what ran, and what will run when."""
        return web.show(request, ("feeds",), lambda reader, plant: feeds_view(web, reader, plant))

    @routes.get("/feeds/doubts")
    def doubts(
        request: Request,
        line: Annotated[str | None, Query(max_length=64)] = None,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """Clocks and counts that cannot be right, of all lines or of one; in the newest hours, or from one time to
        another.
        """
        span = span_asked(web, start, to, "page")
        if line is not None and line not in web.desk.plant.lines:
            raise Refused(404, f"there is no line '{line}' in works.toml; it has {', '.join(web.desk.plant.lines)}")
        return web.show(
            request, ("doubts", line, span), lambda reader, plant: doubts_view(reader, plant, line, span), span
        )

    @routes.get("/feeds/refused/{batch}")
    def refused(request: Request, batch: Batch) -> Response:
        """The refused rows of one file, to be corrected and retried."""
        who = web.asks(request, web.must_read(request))
        with web.desk.turns.wanted(who, ("refused", batch)), web.desk.turns.turn():
            view = refused_view(web, batch)
        return web.show_own(request, view)


def _writing(routes: APIRouter, web: Web) -> None:
    @routes.post("/feeds/refused/{batch}")
    async def mend(request: Request, batch: Batch) -> Response:
        """Write other values into refused rows, and take them in again."""
        from starlette.concurrency import run_in_threadpool

        form_data = await request.form(max_fields=5000, max_files=0)
        return await run_in_threadpool(_mend, web, request, batch, form_data)

    @routes.post("/feeds/retry")
    def retry(request: Request, form_token: Token = "") -> Response:
        """Take everything that was repaired in quarantine/ in again."""
        from pipelines.intake.retry import retry_quarantine

        person = web.acting(request, form_token, "repair", "retry of the quarantine")
        opened = web.desk.opened
        _tell(
            web,
            request,
            person.name,
            "retry",
            "quarantine",
            retry_quarantine(opened.site, opened.plant, opened.settings),
        )
        return go("/feeds")

    @routes.post("/signals/{signal}/acknowledge")
    def acknowledge(
        request: Request,
        signal: str,
        note: Annotated[str, Form(max_length=300)] = "",
        to: Annotated[str, Form(max_length=2000)] = "",
        form_token: Token = "",
    ) -> Response:
        """Keep that somebody has seen a signal."""
        person = web.acting(request, form_token, "acknowledge", f"signal {signal}")
        acknowledge_signal(web.desk.opened, signal, person.name, note)
        web.note(person.name, "acknowledge", signal, note or "seen")
        web.desk.wrote()
        web.say_next(request, web.texts(request)("signal.kept", signal=signal))
        return go(local(to))


def _mend(web: Web, request: Request, batch: int, form_data: FormData) -> Response:
    person = web.acting(request, str(form_data.get("form_token", "")), "repair", f"rows of file {batch}")
    rows: dict[int, dict[str, str]] = {}
    for name, value in form_data.multi_items():
        line, colon, column = name.partition(":")
        if colon and line.isdigit() and len(line) < 10:
            rows.setdefault(int(line), {})[column] = str(value)
    try:
        report = _mended(web, batch, rows, form_data)
    except ColdledgerError as error:
        web.note(person.name, "repair", f"file {batch}", f"not done: {error}")
        raise
    _tell(
        web,
        request,
        person.name,
        "repair",
        f"file {batch}, lines {', '.join(str(line) for line in sorted(rows))[:200]}",
        report,
    )
    waits = refused_rows(web.desk.opened, batch) or refused_file(web.desk.opened, batch)
    return go(f"/feeds/refused/{batch}" if waits else "/feeds")


def _mended(web: Web, batch: int, rows: dict[int, dict[str, str]], form_data: FormData) -> IntakeReport:
    """Rows by their lines; or a whole file by its name and text, or given up."""
    opened = web.desk.opened
    if form_data.get("give_up") == "yes":
        return give_file_up(opened, batch)
    if "file_name" in form_data:
        text = form_data.get("text")
        return mend_file(opened, batch, str(form_data.get("file_name", "")), str(text) if text is not None else None)
    return repair(opened, batch, rows)


def _tell(web: Web, request: Request, by: str, what: str, about: str, report: IntakeReport) -> None:
    """What a retry did: for the audit trail, for the person, and for the scheduler, which works out what follows from
    it.
    """
    plant = web.desk.opened.plant
    for day in days_to_follow(plant, [at for _, at in report.touched]):
        web.books.tell("add_request", flow="follow", about=day.isoformat())
    t = web.texts(request)
    nothing = not report.rows_kept and not report.rows_refused
    said = t("feeds.unchanged") if nothing else t("feeds.retried", kept=report.rows_kept, refused=report.rows_refused)
    web.note(by, what, about, said)
    web.desk.wrote()
    web.say_next(request, said, "wrong" if report.needs_a_person else "")
