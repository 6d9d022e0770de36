"""The page of feeds: late, silent, refused; repair and retry; what ran and what will. And the acknowledgement of signals."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines.answers.feeds import answer_feeds
from pipelines.answers.now import newest_count, stations_alive
from pipelines.clock import parse_timestamp
from pipelines.errors import ColdledgerError
from pipelines.intake import IntakeReport
from pipelines.ledger import Reader
from pipelines.pages.forms import form
from pipelines.pages.view import Special, View
from pipelines.pages.web import Refused, Web, go, local
from pipelines.plant import Plant
from pipelines.reports.common import count
from pipelines.reports.page import Figure, Section
from pipelines.reports.sheet import Column, Sheet
from pipelines.serve.schedule import upcoming
from pipelines.work.repair import refused_rows, repair
from pipelines.work.signals import acknowledge_signal, days_to_follow

LIVE_S = 60
MOST_REFUSED, MOST_ROWS = 300, 100
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
        return web.show(request, ("feeds",), lambda reader, plant: _feeds(web, reader, plant))

    @routes.get("/feeds/refused/{batch}")
    def refused(request: Request, batch: Batch) -> Response:
        """The refused rows of one file, to be corrected and retried."""
        web.must_read(request)
        return web.show_own(request, _refused(web, batch))


def _writing(routes: APIRouter, web: Web) -> None:
    @routes.post("/feeds/refused/{batch}")
    async def mend(request: Request, batch: Batch) -> Response:
        """Write other values into refused rows, and take them in again."""
        from starlette.concurrency import run_in_threadpool

        told = await request.form(max_fields=5000, max_files=0)
        return await run_in_threadpool(_mend, web, request, batch, told)

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
        request: Request, signal: str, note: Annotated[str, Form(max_length=300)] = "", to: Annotated[str, Form(max_length=2000)] = "", form_token: Token = ""
    ) -> Response:  # fmt: skip
        """Keep that somebody has seen a signal."""
        person = web.acting(request, form_token, "acknowledge", f"signal {signal}")
        acknowledge_signal(web.desk.opened, signal, person.name, note)
        web.note(person.name, "acknowledge", signal, note or "seen")
        web.desk.wrote()
        web.say_next(request, web.texts(request)("signal.kept", signal=signal))
        return go(local(to))


def _mend(web: Web, request: Request, batch: int, told: FormData) -> Response:
    person = web.acting(request, str(told.get("form_token", "")), "repair", f"rows of file {batch}")
    rows: dict[int, dict[str, str]] = {}
    for name, value in told.multi_items():
        line, colon, column = name.partition(":")
        if colon and line.isdigit() and len(line) < 10:
            rows.setdefault(int(line), {})[column] = str(value)
    try:
        report = repair(web.desk.opened, batch, rows)
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
    waits = refused_rows(web.desk.opened, batch) is not None
    return go(f"/feeds/refused/{batch}" if waits else "/feeds")


def _tell(web: Web, request: Request, by: str, what: str, about: str, report: IntakeReport) -> None:
    """What a retry did: for the audit trail, for the person, and for the scheduler, which works out what follows from it."""
    plant = web.desk.opened.plant
    for day in days_to_follow(plant, [moment for _, moment in report.touched]):
        web.books.tell("add_request", flow="follow", about=day.isoformat())
    t = web.texts(request)
    nothing = not report.rows_kept and not report.rows_refused
    said = t("feeds.unchanged") if nothing else t("feeds.retried", kept=report.rows_kept, refused=report.rows_refused)
    web.note(by, what, about, said)
    web.desk.wrote()
    web.say_next(request, said, "wrong" if report.needs_a_person else "")


def _feeds(web: Web, reader: Reader, plant: Plant) -> View:
    told, now = answer_feeds(reader, plant, most=MOST_REFUSED, stations=False), web.desk.now()
    life = stations_alive(reader, plant, now, newest_count(reader))
    dead = [one for one in life if one.state != "alive"]
    waiting = [
        p
        for p in web.desk.site.inbox.iterdir()
        if p.is_file() and not p.name.startswith(".") and not p.name.endswith(".part")
    ]
    refused = sum(int(one["still_refused"]) for one in told["feeds"])
    runs = web.books.ask("newest_runs", most=30)
    figures = (
        Figure(count(len(dead)), "stations silent or late", f"of {len(life)}", "critical" if dead else ""),
        Figure(
            count(refused),
            "rows wait in quarantine",
            "nothing of them is lost; correct them below",
            "critical" if refused else "",
        ),
        Figure(count(len(waiting)), "files in the inbox", "taken in by the next intake"),
        _last_intake(web, plant, now),
    )
    parts = (
        _stations(plant, life),
        *_refusals(told["refused"]),
        _arrivals(plant, told["feeds"]),
        _runs(plant, runs),
        _upcoming(web, reader, plant),
        *_notices(web, plant),
    )
    sources = "queries: sql/out/arrivals_by_feed.sql, sql/out/refusals_open.sql, sql/out/last_windows.sql; runs and notices: .serve/serve.db"
    return View("feeds", "Feeds", f"at {plant.clock.show(now)}", parts, figures, sources=(sources,), refresh_s=LIVE_S)


def _last_intake(web: Web, plant: Plant, now: datetime) -> Figure:
    last = {row["flow"]: row["ended_at"] for row in web.books.ask("last_runs", state="done", or_state="needs a person")}
    if "intake" not in last:
        return Figure("–", "last good intake", "none was begun by `coldledger serve` yet")
    at = parse_timestamp(last["intake"])
    minutes = (now - at).total_seconds() / 60
    return Figure(
        f"{plant.clock.local(at):%H:%M}",
        "last good intake",
        f"{minutes:.0f} min ago",
        "critical" if minutes > 90 else "",
    )


def _stations(plant: Plant, life: list[Any]) -> Section:
    columns = (
        Column("line", "Line"),
        Column("station", "Station", "id"),
        Column("last", "Counts until", "id"),
        Column("behind", "Behind the clock, min", "count"),
        Column("state", "State"),
    )
    rows = [
        {
            "line": one.line, "station": one.station, "last": plant.clock.show(one.last) if one.last else "", "behind": one.behind.total_seconds() / 60 if one.behind else None,
            "state": {"alive": "alive", "silent": "silent: its line's others go on", "late": "late", "never": "nothing heard"}[one.state],
        }
        for one in life
    ]  # fmt: skip
    bad = [n for n, one in enumerate(life) if one.state != "alive"]
    return Section(
        "Stations",
        sheet=Sheet(
            "stations",
            "Stations",
            columns,
            rows,
            "Silent: over 30 min behind its line's others. Late: over 75 min behind the clock.",
            strong=bad,
        ),
        warn=bool(bad),
    )


def _refusals(refused: list[dict[str, Any]]) -> list[Any]:
    columns = (
        Column("file", "File"), Column("line", "Line of the file", "count"), Column("column", "Column"), Column("value", "Value"), Column("why", "Why it was refused"), Column("mend", "Correct"),
    )  # fmt: skip
    rows = [
        {
            "file": one["file"], "line": one["file_line"] or None, "column": one["column_name"], "value": one["value"], "why": one["sentence"],
            "mend": "correct and retry" if one["file_line"] else "send the file again",
        }
        for one in refused
    ]  # fmt: skip
    links = {(n, "mend"): f"/feeds/refused/{one['batch']}" for n, one in enumerate(refused) if one["file_line"]}
    caption = f"The first {MOST_REFUSED} at most. Good rows beside them were kept. A file refused whole lies in quarantine/ under its name: mend it there, then retry."
    parts: list[Any] = [
        Section(
            "Refused",
            sheet=Sheet("refused", "Refused", columns, rows, caption if rows else "Nothing is refused.", links=links),
            wide=True,
            warn=bool(rows),
        )
    ]
    if rows:
        parts.append(
            form(
                "Retry",
                "/feeds/retry",
                (),
                (("", "Retry everything in quarantine/"),),
                act="repair",
                texts=("Takes in again what was corrected in quarantine/ by hand.",),
            )
        )
    return parts


def _arrivals(plant: Plant, feeds: list[dict[str, Any]]) -> Section:
    columns = (
        Column("feed", "Feed", "id"), Column("files", "Files", "count"), Column("came_again", "Came again", "count"), Column("rows_kept", "Rows kept", "count"),
        Column("rows_replacing", "Replacing", "count"), Column("still_refused", "Still refused", "count"), Column("last", "Last received", "id"), Column("until", "Speaks until", "id"),
    )  # fmt: skip

    def shown(text: str | None) -> str:
        return plant.clock.show(parse_timestamp(text)) if text else ""

    rows = [{**one, "last": shown(one["last_received"]), "until": shown(one["data_to"])} for one in feeds]
    return Section("What came", sheet=Sheet("feeds", "What came", columns, rows), wide=True)


_RUNS = (
    Column("number", "No.", "count"),
    Column("flow", "Flow"),
    Column("why", "Why"),
    Column("begun", "Begun", "id"),
    Column("ended", "Ended", "id"),
    Column("state", "How it ended"),
    Column("told", "What it did"),
)


def _runs(plant: Plant, runs: list[dict[str, Any]]) -> Section:
    def shown(text: str | None) -> str:
        return plant.clock.show(parse_timestamp(text), seconds=True) if text else ""

    rows = [{**one, "begun": shown(one["begun_at"]), "ended": shown(one["ended_at"])} for one in runs]
    bad = [n for n, one in enumerate(runs) if one["state"] in ("failed", "cut off")]
    return Section(
        "What ran",
        sheet=Sheet(
            "runs",
            "What ran",
            _RUNS,
            rows,
            "The newest 30 runs." if rows else "`coldledger serve` has begun no run yet.",
            strong=bad,
        ),
        wide=True,
    )


def _upcoming(web: Web, reader: Reader, plant: Plant) -> Section:
    now, closed = web.desk.now(), reader.ask("last_closes")["day"].to_list()
    rows = [
        {"at": plant.clock.show(one.at) if one.at else "when it has come", "flow": one.flow, "why": one.why}
        for one in upcoming(plant, now, closed=closed)
    ]
    return Section(
        "What will run",
        sheet=Sheet(
            "upcoming",
            "What will run",
            (Column("at", "When", "id"), Column("flow", "Flow"), Column("why", "Why")),
            rows,
        ),
    )


def _notices(web: Web, plant: Plant) -> list[Section]:
    told = web.books.ask("newest_notices", most=20)
    if not told:
        return []
    rows = [{**one, "at": plant.clock.show(parse_timestamp(one["told_at"]))} for one in told]
    columns = (Column("at", "When", "id"), Column("title", "Notice"), Column("state", "Sending"))
    return [
        Section(
            "Notices", sheet=Sheet("notices", "Notices", columns, rows, "Each goes to each address once at the most.")
        )
    ]


def _refused(web: Web, batch: int) -> View:
    found = refused_rows(web.desk.opened, batch)
    if found is None:
        raise Refused(404, f"nothing of file {batch} waits to be corrected")
    name, frame = found
    rows = []
    for row in frame.head(MOST_ROWS).iter_rows(named=True):
        wrong = row["refused_why"] or ""
        cells = [
            {"column": column, "value": value or "", "wrong": f"{column}: " in wrong}
            for column, value in row.items()
            if not column.startswith("refused_")
        ]
        rows.append({"line": row["refused_line"], "why": wrong, "cells": cells})
    first = frame["refused_file"][0] if frame.height else name
    more = (
        (f"The first {MOST_ROWS} of {frame.height} rows; the others follow when these are done.",)
        if frame.height > MOST_ROWS
        else ()
    )
    texts = (
        "Correct what is wrong and retry: rows that are right then are kept, the others come back with their reasons. The file as it came stays in the archive.",
        *more,
    )
    parts = (
        Section("Before you correct", texts, wide=True),
        Special("repair", "Refused rows", {"action": f"/feeds/refused/{batch}", "rows": rows}),
    )
    return View("feeds", f"Refused rows of {first}", f"quarantine/{name}", parts, links=(("all feeds", "/feeds"),))
