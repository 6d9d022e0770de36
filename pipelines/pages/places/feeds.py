"""Feeds: what came, what is late, silent or refused; what ran and what will."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines.answers.feeds import answer_feeds, refused_words
from pipelines.answers.now import stations_alive
from pipelines.clock import parse_timestamp
from pipelines.jobs.due import upcoming
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.forms import form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Web
from pipelines.plant.works import Plant
from pipelines.reports.feeds import (
    arrivals_sheet,
    notices_sheet,
    refused_sheet,
    runs_sheet,
    stations_sheet,
    upcoming_sheet,
)
from pipelines.reports.frame.page import Figure, Page, Section
from pipelines.reports.missing import waiting_after_rows
from pipelines.reports.sources import source_rows, sources_sheet
from pipelines.sources.database.states import source_states
from pipelines.words import say, worded

LIVE_S = 30
MOST_REFUSED = 300


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/feeds")
    def feeds(request: Request) -> Response:
        """What came, what is late or silent, what was refused and why; what ran, and what will run when."""
        return web.show(request, PageQuestion(("feeds",), partial(feeds_view, web)))

    return routes


_SOURCES = say(
    "queries: sql/out/arrivals_by_feed.sql, sql/out/refusals_open.sql, sql/out/last_windows.sql, "
    "sql/out/heard_otherwise.sql; runs and notices: .serve/serve.db"
)


def feeds_view(web: Web, reader: Reader, plant: Plant) -> View:
    """What came, what is late, silent or refused; what ran, and what will."""
    row, now = answer_feeds(reader, plant, most=MOST_REFUSED), web.desk.now()
    life = stations_alive(reader, plant, now)
    dead = [station for station in life if station.state != "alive"]
    waiting = [
        p
        for p in web.desk.site.inbox.iterdir()
        if p.is_file() and not p.name.startswith(".") and not p.name.endswith(".part")
    ]
    runs = web.books.ask("newest_runs", most=30)
    ran = say("The newest 30 runs.") if runs else say("`coldledger serve` has begun no run yet.")
    figures = (
        _dead(len(dead), len(life)),
        _quarantine(row["feeds"]),
        Figure(count(len(waiting)), say("files in the inbox"), say("taken in by the next intake")),
        _last_intake(web, plant, now),
    )
    parts = (
        _stations(plant, life),
        *_sources(web, plant, now),
        *_refusals(row["refused"]),
        Section(say("What came"), sheet=arrivals_sheet(plant, row["feeds"]), wide=True),
        Section(say("What ran"), sheet=runs_sheet(plant, runs, ran), wide=True),
        _upcoming(web, reader, plant),
        *_notices(web, plant),
    )
    links = ((say("clocks and counts in doubt"), "/feeds/doubts"),)
    return View(
        "feeds",
        Page(say("Feeds"), say("at {now}", now=plant.clock.show(now)), parts, figures, links, sources=(_SOURCES,)),
        refresh_s=LIVE_S,
        sometimes=("notices", "sources"),
    )


def _dead(dead: int, stations: int) -> Figure:
    kind = "critical" if dead else ""
    return Figure(count(dead), say("stations silent or late"), say("of {stations}", stations=stations), kind)


def _quarantine(feeds: list[dict[str, Any]]) -> Figure:
    rows, files = (sum(int(feed[f"{what}_still_refused"]) for feed in feeds) for what in ("rows", "files"))
    under = say("nothing of them is lost; correct them below")
    return Figure(count(rows), waiting_after_rows(files), under, "critical" if rows or files else "")


def _last_intake(web: Web, plant: Plant, now: datetime) -> Figure:
    last = {row["flow"]: row["ended_at"] for row in web.books.ask("last_runs", state="done", or_state="needs a person")}
    if "intake" not in last:
        return Figure("–", say("last good intake"), say("none yet"))
    at = parse_timestamp(last["intake"])
    minutes = (now - at).total_seconds() / 60
    return Figure(
        f"{plant.clock.local(at):%H:%M}",
        say("last good intake"),
        say("{minutes} min ago", minutes=f"{minutes:.0f}"),
        "critical" if minutes > 90 else "",
    )


STATES = {
    "alive": say("alive"),
    "silent": say("silent: its line's others go on"),
    "late": say("late"),
    "never": say("nothing heard"),
}


def _state(station: Any) -> str:
    state = STATES[station.state]
    return say("{state}: {sends}", state=state, sends=worded(station.sends)) if station.sends else state


def _stations(plant: Plant, life: list[Any]) -> Section:
    rows = [
        {
            "line": each.line,
            "station": each.station,
            "last": plant.clock.show(each.last or each.heard) if each.last or each.heard else "",
            "behind": each.behind.total_seconds() / 60 if each.behind else None,
            "state": _state(each),
        }
        for each in life
    ]
    bad = [n for n, each in enumerate(life) if each.state != "alive"]
    return Section(say("Stations"), sheet=stations_sheet(rows, bad), warn=bool(bad))


def _sources(web: Web, plant: Plant, now: datetime) -> list[Section]:
    rows = source_rows(plant, source_states(web.desk.site, plant, now), now)
    late = any(row["state"] == "late" for row in rows)
    return [Section(say("Sources"), sheet=sources_sheet(plant, rows), warn=late)] if rows else []


def _refusals(refused: list[dict[str, Any]]) -> list[Any]:
    whys = [refused_words(row["reason"], row["value"], row["expected"]) for row in refused]
    links = {(n, "mend"): f"/feeds/refused/{each['batch']}" for n, each in enumerate(refused)}
    sheet = replace(refused_sheet(refused, whys, MOST_REFUSED), links=links)
    parts: list[Any] = [Section(say("Refused"), sheet=sheet, wide=True, warn=bool(refused))]
    if refused:
        parts.append(
            form(
                say("Retry"),
                "/feeds/retry",
                (),
                (("", say("Retry everything in quarantine/")),),
                act="repair",
                texts=(say("Takes in again what was corrected in quarantine/ by hand."),),
            )
        )
    return parts


def _upcoming(web: Web, reader: Reader, plant: Plant) -> Section:
    now, closed = web.desk.now(), reader.ask("last_closes")["day"].to_list()
    rows = [
        {"at": plant.clock.show(due.at) if due.at else say("when it has come"), "flow": due.flow, "why": due.why}
        for due in upcoming(plant, now, closed=closed)
    ]
    return Section(say("What will run"), sheet=upcoming_sheet(rows))


def _notices(web: Web, plant: Plant) -> list[Section]:
    notices = web.books.ask("newest_notices", most=20)
    sheet = notices_sheet(plant, notices, say("Each goes to each address once at the most."))
    return [Section(say("Notices"), sheet=sheet)] if notices else []
