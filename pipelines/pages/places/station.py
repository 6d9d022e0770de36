"""A station: what it was challenged with, what it lets by, and the pallets that nobody can vouch for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from functools import partial
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from pipelines.answers.line_times import OnlyOf
from pipelines.answers.now import newest_count
from pipelines.answers.trace.trust import answer_trust
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.numbers import count
from pipelines.pages.addresses import station_address
from pipelines.pages.again import page_of
from pipelines.pages.forms import Sent
from pipelines.pages.in_time import drawn_around, time_parts
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import span_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, known
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import Figure, Page, Part, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.trace.detection import assumed_sheet, doubts_sheet, rates_sheet
from pipelines.words import joined, say
from schemas.answers.trust import StationDoubt, Trust

SPAN = timedelta(hours=24)
MOST_PALLETS = 100
PALLETS = (
    Column("pallet", say("Pallet"), "id"),
    Column("defect", say("Defect")),
    Column("why", say("Challenge")),
    Column("state", say("State")),
)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    web.forms["GET", "/station/{station}"] = partial(_stands, web)

    @routes.get("/station/{station}")
    def station(
        request: Request,
        station: str,
        start: Annotated[str | None, Query(alias="from", max_length=40)] = None,
        to: Annotated[str | None, Query(max_length=40)] = None,
    ) -> Response:
        """How far a station's word can be taken, in the newest hours or from one time to another."""
        known(web, "station", station)
        return web.show(request, _asked(web, station, span_asked(web, start, to, "page")))

    return routes


def _asked(web: Web, station: str, chosen: Span | None) -> PageQuestion:
    return PageQuestion(("station", station, chosen), partial(_made, web, station, chosen))


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The form of a window stands under the newest hours of the station."""
    station = known(web, "station", request.path_params["station"])
    return page_of(web, request, _asked(web, station, None)), "a-window"


def _made(web: Web, station: str, chosen: Span | None, reader: Reader, plant: Plant) -> View:
    reader, line, now = reader.noting(), plant.stations[station].line, web.desk.now()
    newest = newest_count(reader)
    if newest is None:
        return View("feeds", Page(station, say("no count was taken in yet"), ()))
    span = chosen or Span(newest - SPAN, newest)
    drawn = drawn_around(reader, plant, line, chosen, now)
    parts = time_parts(reader, plant, line, OnlyOf(station=station), drawn, chosen, station_address(station), now)
    trust = answer_trust(reader, plant, span, line)
    mine = trust.model_copy(
        update={
            name: tuple(each for each in getattr(trust, name) if each.station == station)
            for name in ("rates", "doubts", "assumed")
        }
    )
    return View("feeds", _page(plant, station, mine, (span, parts), queries_words(frozenset(reader.asked))))


def _page(plant: Plant, station: str, trust: Trust, drawn: tuple[Span, tuple[Part, ...]], sources: str) -> Page:
    shown, (span, parts) = trust.shown, drawn
    pallets = {pallet for doubt in shown for pallet in doubt.pallets}
    settings = plant.stations[station]
    able = [code for code in plant.faults if settings.can_call(code)]
    known = bool(trust.rates or shown)  # else nobody challenged it, and what is in doubt is not known
    return Page(
        say("Station {station}", station=station),
        say("{line}; {span}", line=settings.line, span=span_words(plant, span)),
        (
            Section(say("What to do"), _advice(trust), wide=True, warn=bool(shown)),
            *_doubtful(plant, shown),
            *parts,
            Section(say("What challenges say of it"), _unchallenged(trust), sheet=_rates(plant, trust), wide=True),
            *_assumed(trust),
        ),
        (
            Figure(count(len(shown)) if known else "–", say("defects in doubt"), "", "critical" if shown else ""),
            Figure(
                count(len(pallets)) if known else "–", say("pallets in doubt"), say("packed of what passed meanwhile")
            ),
            Figure(count(len(able)), say("defects it can call"), joined(", ", able[:8]) + (" …" if able[8:] else "")),
        ),
        (
            *_to_a_hold(shown),
            (say("← Feeds"), "/feeds"),
            (say("its line in time"), f"/times/{settings.line}"),
        ),
        (CAUTION, GLASS),
        (sources,),
    )


def _to_a_hold(shown: Sequence[StationDoubt]) -> tuple[tuple[str, str], ...]:
    """To the form that proposes a hold, with the pallets in doubt in it, as many as the page lists."""
    pallets = list(dict.fromkeys(pallet for doubt in shown for pallet in doubt.pallets))[:MOST_PALLETS]
    if not pallets:
        return ()
    return ((say("a hold on these pallets"), f"/holds?pallets={quote(' '.join(pallets))}#form-place-a-hold"),)


def _advice(trust: Trust) -> tuple[str, ...]:
    if not trust.rates:
        return _unchallenged(trust)
    if not trust.shown:
        return (say("Nothing of the last hours is in doubt: challenges vouch for it, or failed no more than usual."),)
    return (
        say("Challenge the station again, and set it right where it fails."),
        say("What passed since its last good challenge lies on the pallets below."),
        say("Whether they are held and inspected again is decided by an authorised person, on the page of holds."),
    )


def _unchallenged(trust: Trust) -> tuple[str, ...]:
    return () if trust.rates else (say("Nobody challenged it in the last 30 days: what it lets by is not known."),)


def _assumed(trust: Trust) -> list[Section]:
    if not trust.assumed:
        return []
    return [Section(say("Never challenged"), sheet=assumed_sheet(trust.assumed), wide=True)]


def _rates(plant: Plant, trust: Trust) -> Sheet | None:
    return rates_sheet(plant, trust) if trust.rates else None


def _doubtful(plant: Plant, shown: Sequence[StationDoubt]) -> list[Section]:
    if not shown:
        return []
    return [
        Section(say("In doubt"), sheet=doubts_sheet(plant, shown), wide=True, warn=True),
        Section(say("Pallets in doubt"), _count(shown), sheet=_pallets(shown), wide=True),
    ]


def _count(shown: Sequence[StationDoubt]) -> tuple[str, ...]:
    every = sum(len(doubt.pallets) for doubt in shown)
    more = (say("The first {most} of {pallets}.", most=MOST_PALLETS, pallets=count(every)),)
    return more if every > MOST_PALLETS else ()


def _pallets(shown: Sequence[StationDoubt]) -> Sheet:
    """Every pallet of every doubt, those released first."""
    rows = [
        {
            "pallet": pallet,
            "defect": doubt.defect,
            "why": doubt.why,
            "state": say("released") if number < doubt.released else say("in the works"),
        }
        for doubt in shown
        for number, pallet in enumerate(doubt.pallets)
    ][:MOST_PALLETS]
    return Sheet("pallets-in-doubt", say("Pallets in doubt"), PALLETS, rows)
