"""What other programs ask for: health, figures, and the assets of the pages."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from pipelines.answers.holds import answer_holds
from pipelines.answers.now import LineNow, answer_now
from pipelines.clock import parse_timestamp, utc_text
from pipelines.ledger import Reader
from pipelines.measures.holds.decisions import HELD, PROPOSED
from pipelines.pages.frame import assets
from pipelines.pages.fresh import behind
from pipelines.pages.metrics import CONTENT_TYPE, Meter
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Page, Special
from pipelines.site.locks import is_held

STALE, MINUTE = timedelta(minutes=90), timedelta(minutes=1)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/static/{name}")
    async def static(name: str) -> Response:
        found = assets().get(name)
        if found is None:
            raise Refused(404, "there is no such file")
        return Response(found[0], media_type=found[1], headers={"Cache-Control": "public, max-age=31536000, immutable"})

    @routes.get("/health")
    async def health(request: Request) -> Response:
        """Whether the ledger answers, the scheduler lives, and when the last intake ended well; 503 where it does not.
        A stranger is told no more than that.
        """
        row, stranger = await web.at_once(lambda: (_health(web), web.stranger(request)))
        shown = {"status": row["status"]} if stranger else row
        return JSONResponse(shown, 200 if row["status"] == "ok" else 503, headers={"Cache-Control": "no-store"})

    @routes.get("/metrics")
    def metrics(request: Request) -> Response:
        """Figures in the OpenMetrics text format."""
        web.must_read(request)
        meter: Meter = request.app.state.meter
        return Response(_metrics(web, meter), media_type=CONTENT_TYPE, headers={"Cache-Control": "no-store"})

    return routes


def _last(web: Web) -> dict[str, datetime]:
    return {
        row["flow"]: parse_timestamp(row["ended_at"])
        for row in web.books.ask("last_runs", state="done", or_state="needs a person")
        if row["ended_at"]
    }


def _health(web: Web) -> dict[str, Any]:
    problems: list[str] = []
    last = _last(web).get("intake")
    served, fresh = is_held(web.desk.site, "serve"), web.desk.fresh()
    if web.desk.ears.problem:
        problems.append(web.desk.ears.problem)
    late = fresh.late if fresh else ()
    if fresh and late:
        first = late[0]
        problems.append(
            f"{len(late)} of {len(fresh.stations)} stations late or silent, {first.station} by "
            f"{behind(first) / MINUTE:.0f} min"
        )
    if served and last is not None and web.desk.now() - last > STALE:
        problems.append("the last good intake ended over 90 minutes ago")
    if web.desk.mistake:
        problems.append("works.toml has mistakes; the one before is in use")
    return {
        "status": "ok" if not problems else "trouble",
        "problems": problems,
        "scheduler": "running" if served else "not started here",
        "last_intake": utc_text(last) if last else None,
        "last_batch": web.desk.ears.last_batch,
        "newest_count": utc_text(fresh.newest) if fresh and fresh.newest else None,
        "newest_count_age_s": round(fresh.age.total_seconds()) if fresh and fresh.age is not None else None,
        "late": [
            {
                "line": station.line,
                "station": station.station,
                "state": station.state,
                "behind_s": round(behind(station).total_seconds()),
            }
            for station in late
        ],
        "never_heard": [station.station for station in fresh.stations if station.state == "never"] if fresh else [],
    }


def _metrics(web: Web, meter: Meter) -> bytes:
    last = _last(web)
    values: dict[str, float | datetime | None] = {
        "inbox_files": float(
            sum(1 for p in web.desk.site.inbox.iterdir() if p.is_file() and not p.name.startswith("."))
        ),
        "last_intake_timestamp_seconds": last.get("intake"),
        "last_close_timestamp_seconds": last.get("close"),
    }
    if not web.desk.opened.ledger.exists:
        return meter.text(values, [], [])
    (part,) = web.desk.page(figures_page(web)).page.sections
    assert isinstance(part, Special)
    figures: Any = part.values
    return meter.text({**values, **figures["told"]}, figures["lines"], figures["stations"])


def figures_page(web: Web) -> PageQuestion:
    """The ledger's figures as a page that is kept like any other."""
    return PageQuestion(("metrics",), partial(_measured, web))


def _measured(web: Web, reader: Reader, plant: Plant) -> View:
    """The ledger's figures, kept like a page so that a monitor that asks often costs nothing."""
    now = answer_now(reader, plant, web.desk.now(), whole=False)
    holds = answer_holds(reader)
    values = {
        "refused_rows": float(now.waiting[0]),
        "refused_files": float(now.waiting[1]),
        "newest_count_timestamp_seconds": now.newest.timestamp() if now.newest else None,
        "holds_proposed": float(sum(h.state == PROPOSED for h in holds)),
        "holds_given_out": float(sum(bool(h.hold) and h.state == HELD and h.warehouse == "released" for h in holds)),
    }
    stations = [
        (s.line, s.station, s.behind.total_seconds())
        for line in now.lines
        for s in line.stations
        if s.behind is not None
    ]
    figures: dict[str, object] = {"told": values, "lines": [_line(line) for line in now.lines], "stations": stations}
    return View("", Page("metrics", "", (Special("metrics", "", figures),)))


def _line(line: LineNow) -> dict[str, Any]:
    beat = line.pulse
    return {
        "line": line.line,
        "line_ware": beat.ware if beat else None,
        "line_rejected": beat.rejected if beat else None,
        "line_calls": beat.calls if beat else None,
        "line_calls_expected": beat.expected if beat else None,
        "line_signals_open": len(line.open_signals),
        "line_critical_calls": beat.critical if beat else None,
    }
