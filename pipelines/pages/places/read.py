"""The pages that are read: now, the hour, the moulds, the day, weights, the laboratory."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import FileResponse, Response

from pipelines import typed
from pipelines.answers.now import answer_now, hour_of_line, stations_alive
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger import Reader
from pipelines.pages.made_pages import Key, Make
from pipelines.pages.places.moulds import moulds_view
from pipelines.pages.places.now import now_view, wall_view
from pipelines.pages.view import View, view_of
from pipelines.pages.web import Refused, Web, go, moment, span_asked
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS, day_address, hour_address, laboratory_address, weights_address
from pipelines.reports.frame.page import Page, Section

HOUR_NAME = re.compile(r"(?P<line>[^/]+)-(?P<number>\d\d)-\d{4}")
LIVE_S = 30
HOURS, SHIFT_HOURS = 4, 8  # that the map of cavities looks back; also offered
Word = Annotated[str | None, Query(max_length=100)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    _of_now(routes, web)
    _of_hours(routes, web)
    _of_moulds(routes, web)
    _of_days(routes, web)
    _of_laboratory(routes, web)
    _newest_laboratory(routes, web)
    return routes


def _known(web: Web, kind: str, text: str) -> str:
    """A line or furnace that works.toml has, or had; Refused for others."""
    if text not in getattr(web.desk.plant, f"{kind}s"):
        raise Refused(
            404,
            f"there is no {kind} '{text[:64]}' in works.toml; it has {', '.join(getattr(web.desk.plant, f'{kind}s'))}",
        )
    return text


def _of_now(routes: APIRouter, web: Web) -> None:
    @routes.get("/")
    def first() -> Response:
        return go("/now")

    @routes.get("/index.html")
    def index() -> Response:
        return go("/now")

    @routes.get("/now")
    def now(request: Request) -> Response:
        """All lines, one row each; with `wall` for a big screen."""
        return web.show(request, *_now(web, request.query_params.get("wall") == "1"))


def live_pages(web: Web) -> list[tuple[Key, Make]]:
    """The pages that everybody opens: now, every line's newest hour and cavities (of the hours usual on the map, and of
    a shift), the newest day.
    """
    plant = web.desk.opened.plant
    days = [page for on in _newest_closed(web) for page in [(("day", on), partial(_day, web, on))]]
    return [
        _now(web, False),
        _now(web, True),
        *(_live_hour(web, line) for line in plant.lines),
        *(_moulds(web, line, None, hours, None) for hours in (HOURS, SHIFT_HOURS) for line in plant.lines),
        *days,
    ]


def _newest_closed(web: Web) -> list[date]:
    return newest_of(path.stem for path in (web.desk.site.reports / "day").glob("????-??-??.html"))


def newest_of(names: Iterable[str]) -> list[date]:
    """The newest of some folders' or files' days; what is no day among them is passed over."""
    for name in sorted(names, reverse=True):
        with suppress(WrongUse):
            return [typed.day(name)]
    return []


def _now(web: Web, wall: bool) -> tuple[Key, Make]:
    shown = wall_view if wall else now_view
    return ("now", wall), lambda reader, plant: shown(plant, answer_now(reader, plant, web.desk.now()), LIVE_S)


def _live_hour(web: Web, line: str) -> tuple[Key, Make]:
    return ("hour", line), lambda reader, plant: _hour(
        plant, line, _newest_hour(web, reader, plant, line), LIVE_S, reader
    )


def _moulds(web: Web, line: str, fixed: Span | None, hours: int, defect: str | None) -> tuple[Key, Make]:
    def make(reader: Reader, plant: Plant) -> View:
        span = fixed
        if span is None:
            end = _line_end(web, reader, plant, line)
            span = Span(end - timedelta(hours=hours), end)
        return moulds_view(reader, plant, line, span, defect, LIVE_S if fixed is None else 0, hours)

    return ("moulds", line, fixed.start if fixed else None, fixed.end if fixed else None, hours, defect), make


def _newest_hour(web: Web, reader: Reader, plant: Plant, line: str) -> Span:
    """The whole hour of a line's newest count; the clock's hour where it has none."""
    stations = [station for station in stations_alive(reader, plant, web.desk.now()) if station.line == line]
    span = hour_of_line(plant, stations)
    return plant.clock.hour_of(span.start if span is not None else web.desk.now())


def _hour(plant: Plant, line: str, span: Span, live: int, reader: Reader, kept: Page | None = None) -> View:
    page = kept or ALL_REPORTS["hour"].page(reader, plant, line, span)
    here = plant.clock.local(span.start).strftime("%Y-%m-%dT%H:%M")
    end = plant.clock.local(span.end).strftime("%Y-%m-%dT%H:%M")
    view = view_of("hour", page, live)
    moulds = ("the cavities in this hour", f"/moulds/{line}?from={here}&to={end}")
    newest = ("the newest hour", f"/hour/{line}")
    links = (*view.links, *(() if live else (newest,)), moulds)
    return View(**{**vars(view), "links": links, "sometimes": ("signals",)})


def _of_hours(routes: APIRouter, web: Web) -> None:
    @routes.get("/hour")
    def some_hour() -> Response:
        return go(f"/hour/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/hour/{line}")
    def newest(request: Request, line: str, at: Word = None) -> Response:
        """A line's newest hour, renewed by itself; or the hour that holds `at`."""
        _known(web, "line", line)
        asked = moment(web, at)
        if asked is not None:
            hour = web.desk.plant.clock.hour_of(asked)
            typed.within_days(at or "", web.desk.plant.clock.day_of(hour.start))
            return go(f"/{hour_address(web.desk.plant, line, hour)}")

        return web.show(request, *_live_hour(web, line))

    @routes.get("/hour/{day}/{name}.html")
    def hour(request: Request, day: str, name: str) -> Response:
        """One hour of one line."""
        found = HOUR_NAME.fullmatch(name)
        if not found:
            raise Refused(404, f"'{name[:80]}' is not the page of an hour")
        line, plant = _known(web, "line", found["line"]), web.desk.plant
        hours = plant.clock.hours_of(typed.day(day))
        if not 1 <= int(found["number"]) <= len(hours):
            raise Refused(404, f"production day {day} has {len(hours)} hours")
        span = hours[int(found["number"]) - 1]

        def make(reader: Reader, plant: Plant) -> View:
            kept = web.desk.kept_hour(hour_address(plant, line, span), span)
            return _hour(plant, line, span, 0, reader, kept)

        return web.show(request, ("hour", line, span.start), make, span)


def _of_moulds(routes: APIRouter, web: Web) -> None:
    @routes.get("/moulds")
    def some_moulds() -> Response:
        return go(f"/moulds/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/moulds/{line}")
    def moulds(
        request: Request,
        line: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
        hours: Annotated[int, Query(ge=1, le=168)] = HOURS,
        defect: Word = None,
    ) -> Response:
        """The cavities of a line's machine: in the newest hours, or from one time to another; of all defects, or of
        one.
        """
        _known(web, "line", line)
        fixed = span_asked(web, start, to, "page")
        return web.show(request, *_moulds(web, line, fixed, hours, defect or None), fixed)


def _line_end(web: Web, reader: Reader, plant: Plant, line: str) -> datetime:
    stations = [station for station in stations_alive(reader, plant, web.desk.now()) if station.line == line]
    span = hour_of_line(plant, stations)
    return span.end if span is not None else web.desk.now()


def _of_days(routes: APIRouter, web: Web) -> None:
    @routes.get("/day")
    def newest_day() -> Response:
        closed = _newest_closed(web)
        return go(
            f"/{day_address(closed[-1])}" if closed else f"/day/{web.desk.plant.clock.day_of(web.desk.now())}.html"
        )

    @routes.get("/day/{name}.html")
    def day(request: Request, name: str) -> Response:
        """The report of a production day as its close wrote it; an earlier revision as a file."""
        if re.fullmatch(r"\d{4}-\d\d-\d\d\.r\d+", name):
            return kept_file(web, request, f"day/{name}.html")
        on = typed.day(name)
        return web.show(request, ("day", on), partial(_day, web, on), web.desk.opened.plant.clock.day(on))


def _day(web: Web, on: date, reader: Reader, plant: Plant) -> View:
    span = plant.clock.day(on)
    kept = web.desk.kept(day_address(on), span, anyway=True)
    if kept is not None:
        page, later = kept
        note = (
            (
                "Files that speak of this day came after this report was written: the next close, or `coldledger "
                "close`, looks at it again.",
            )
            if later
            else ()
        )
        return view_of("day", page, notes=note)
    if not reader.ask("closes_of_day", day=on).is_empty():
        return view_of("day", ALL_REPORTS["day"].page(reader, plant, on))
    hours = [
        (f"{line} {plant.clock.local(h.start):%H:%M}", f"/{hour_address(plant, line, h)}")
        for line in plant.lines
        for h in plant.clock.hours_of(on)[:1]
    ]
    words = (
        f"Production day {on} is not closed: it ends at {plant.clock.show(span.end)}.",
        "Its yield, losses and laboratory are worked out at its close; its hours can be read as they come.",
    )
    links = (
        ("← day before", f"/{day_address(on - timedelta(days=1))}"),
        ("day after →", f"/{day_address(on + timedelta(days=1))}"),
    )
    return View(
        "day",
        f"Production day {on}",
        f"{plant.clock.show(span.start)} to {plant.clock.show(span.end)}",
        (Section("Not closed yet", words, items=(), wide=True),),
        links=(*links, *hours),
    )


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
        raise Refused(404, web.texts(request)("error.not_found"))
    return FileResponse(target, headers={"Cache-Control": "no-cache, private"})


ADDRESSES: dict[str, Any] = {"weights": weights_address, "laboratory": laboratory_address}


def _newest_laboratory(routes: APIRouter, web: Web) -> None:
    """Short addresses that lead to the newest page of a line or furnace."""

    def newest(kind: str, of: str) -> Response:
        days = newest_of(path.parent.name for path in web.desk.site.reports.glob(f"{kind}/*/{_plain(of)}.html"))
        on = days[-1] if days else web.desk.plant.clock.day_of(web.desk.now())
        return go(f"/{ADDRESSES[kind](on, of)}")

    @routes.get("/weights")
    def some_weights() -> Response:
        return go(f"/weights/{next(iter(web.desk.opened.plant.lines))}")

    @routes.get("/weights/{line}")
    def newest_weights(line: str) -> Response:
        return newest("weights", _known(web, "line", line))

    @routes.get("/laboratory")
    def some_laboratory() -> Response:
        return go(f"/laboratory/{next(iter(web.desk.opened.plant.furnaces))}")

    @routes.get("/laboratory/{furnace}")
    def newest_laboratory(furnace: str) -> Response:
        return newest("laboratory", _known(web, "furnace", furnace))


def _of_laboratory(routes: APIRouter, web: Web) -> None:
    def show(request: Request, kind: str, of: str, on: date) -> Response:
        span = web.desk.opened.plant.clock.day(on)

        def make(reader: Reader, plant: Plant) -> View:
            kept = web.desk.kept(ADDRESSES[kind](on, of), span)
            page = kept[0] if kept is not None else ALL_REPORTS[kind].page(reader, plant, of, on)
            others = plant.lines if kind == "weights" else plant.furnaces
            links = tuple((other, f"/{ADDRESSES[kind](on, other)}") for other in others if other != of)
            return View(**{**vars(view_of(kind, page)), "links": (*page.links, *links)})

        return web.show(request, (kind, of, on), make, span)

    @routes.get("/weights/{day}/{line}.html")
    def weights(request: Request, day: str, line: str) -> Response:
        """Weights of a line on a production day."""
        return show(request, "weights", _known(web, "line", line), typed.day(day))

    @routes.get("/laboratory/{day}/{furnace}.html")
    def laboratory(request: Request, day: str, furnace: str) -> Response:
        """The laboratory's day of a furnace."""
        return show(request, "laboratory", _known(web, "furnace", furnace), typed.day(day))


def _plain(of: str) -> str:
    """An id as a file's name in a pattern: what a pattern would take for more than itself is put in brackets."""
    return re.sub(r"([*?\[])", r"[\1]", of)
