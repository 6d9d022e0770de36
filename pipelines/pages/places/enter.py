"""What a person types in: a form for every feed, and what was typed last. Each saves an ordinary feed file."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines.jobs.signals import days_to_follow
from pipelines.jobs.typed_in import NotRight, OtherThere, Saved, save_typed, typed_lately
from pipelines.ledger import Reader
from pipelines.pages.again import with_sent
from pipelines.pages.entry import as_typed, entered, entry_fields
from pipelines.pages.forms import Mistakes, Sent, check, form
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.reports.frame.page import GLASS, Page, Part, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import joined, say, say_n
from pipelines.words.columns import COLUMNS, FEEDS
from schemas.feeds import ALL_FEEDS
from schemas.feeds.base import Feed

DAILY = (
    "weight_checks",
    "capacity_checks",
    "density_checks",
    "temper_checks",
    "visual_checks",
    "challenge_checks",
    "mould_log",
    "job_log",
    "stoppages",
    "actions",
    "breakages",
    "complaints",
    "pallets",
)
REPLACE = "replace"
KEY = "a-row"


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["POST", "/enter/{feed}"] = partial(_stands, web)

    @routes.get("/enter")
    def forms(request: Request) -> Response:
        """What can be typed in."""
        web.must_read(request)
        return web.show_own(request, View("enter", _index(web)))

    @routes.get("/enter/{feed}")
    def one(
        request: Request,
        feed: str,
        batch: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
        row: Annotated[int, Query(ge=0, le=100_000)] = 0,
    ) -> Response:
        """The form of a feed, begun with what the address has in hand, or with a row that was typed before."""
        web.must_read(request)
        given = {name: text[:400] for name, text in request.query_params.items() if name in _feed(feed).columns}
        return web.show_own(request, entry_view(web, _feed(feed), given, (batch, row) if batch else None))

    @routes.post("/enter/{feed}")
    async def save(request: Request, feed: str) -> Response:
        """Check what was typed, and save it as a file of the feed."""
        return await with_sent(request, 300, partial(_save, web, request, _feed(feed)))

    return routes


def _feed(name: str) -> Feed:
    if name not in ALL_FEEDS:
        raise Refused(404, say("there is no feed of this name"))
    return ALL_FEEDS[name]


def _index(web: Web) -> Page:
    lines = web.desk.opened.plant.lines
    rounds = [(say("A weight round of {line}", line=line), f"/enter/weights/{line}") for line in lines]
    daily = [*rounds, *((FEEDS[feed], f"/enter/{feed}") for feed in DAILY)]
    others = [(FEEDS[feed], f"/enter/{feed}") for feed in ALL_FEEDS if feed not in DAILY]
    return Page(
        say("Enter"),
        say("what is typed here becomes a feed file like any other"),
        (_listed("daily", say("Every day"), daily), _listed("others", say("More"), others)),
        cautions=(GLASS,),
    )


def _listed(name: str, title: str, pairs: list[tuple[str, str]]) -> Section:
    rows = [{"what": words} for words, _ in pairs]
    links = {(n, "what"): address for n, (_, address) in enumerate(pairs)}
    return Section(title, sheet=Sheet(name, title, (Column("what", say("What is typed in")),), rows, links=links))


def entry_view(web: Web, feed: Feed, given: Mapping[str, str], earlier: tuple[int, int] | None = None) -> View:
    """The form of a feed and what was typed into it last. earlier: batch and row that are corrected."""
    plant, now = web.desk.opened.plant, web.desk.now()
    lately, moulds = [], []
    if web.desk.opened.ledger.exists:
        with web.desk.opened.ledger.reading() as reader:
            lately = typed_lately(web.desk.opened, reader, feed.name)
            lines = [given["line"]] if given.get("line") in plant.lines else list(plant.lines)
            moulds = [row["number"] for line in lines for row in fitted_moulds(reader, line, now)]
    if earlier is not None:
        found = next((row for row in lately if (row["batch"], row["row"]) == earlier), None)
        if found is None:
            raise Refused(404, say("this row is not among those typed last"))
        given = as_typed(feed, found, plant.clock)
    fields = entry_fields(plant, feed, given, moulds, plant.clock.typed(now))
    key = joined(", ", [COLUMNS[column] for column in feed.key])
    what = say("Corrected is the row of this key: {key}. With another key it is saved beside the old one.", key=key)
    box = check(REPLACE, say("Replace what was there before (it is kept, with the time)"), "yes", earlier is not None)
    parts: tuple[Part, ...] = (
        form(
            say("A row"),
            f"/enter/{feed.name}",
            [*fields, box],
            (("", say("Save")),),
            act="enter",
            texts=(what,) if earlier is not None else (),
            wide=True,
            kept=True,
        ),
    )
    if lately:
        parts = (*parts, typed_section(web, feed, lately))
    links = ((say("all forms"), "/enter"), (say("what each column means"), f"/help/feeds#{feed.name}"))
    return View("enter", Page(FEEDS[feed.name], feed.name, parts, links=links, cautions=(GLASS,)))


def fitted_moulds(reader: Reader, line: str, at: datetime) -> list[dict[str, Any]]:
    """The moulds of a line that are fitted at a moment: `number`, `section`, `gob`."""
    return [row for row in reader.ask("parts_at", line=line, at=at).iter_rows(named=True) if row["part"] == "mould"]


def typed_section(web: Web, feed: Feed, lately: list[dict[str, Any]]) -> Section:
    """The rows typed last, each leading back to its form."""
    clock = web.desk.opened.plant.clock
    shown = [column for column in feed.columns if any(row.get(column) for row in lately)]
    rows = [
        {
            **as_typed(feed, row, clock),
            "typed_at": clock.show(row["typed_at"]),
            "typed_by": row["typed_by"],
            "mend": say("correct"),
        }
        for row in lately
    ]
    columns = (
        Column("mend", ""),
        *(Column(column, COLUMNS[column], "id") for column in shown if column != "by"),
        Column("typed_at", say("Saved at")),
        Column("typed_by", say("By")),
    )
    links = {(n, "mend"): f"/enter/{feed.name}?batch={row['batch']}&row={row['row']}" for n, row in enumerate(lately)}
    caption = say("As they were typed. The ledger keeps each, also when it is replaced.")
    sheet = Sheet("typed", say("Typed last"), columns, rows, caption, links=links)
    return Section(say("Typed last"), sheet=sheet, wide=True)


def _save(web: Web, request: Request, feed: Feed, sent: FormData) -> Response:
    person = web.acting(request, str(sent.get("form_token", "")), "enter", feed.name)
    texts = {name: str(value) for name, value in sent.items()}
    row, wrong = entered(feed, texts, web.desk.opened.plant.clock, web.desk.now())
    if wrong:
        raise Mistakes(wrong)
    saved = checked_save(web, feed, [row], person.name, texts.get(REPLACE) == "yes", lambda n, column: column)
    told(web, request, person.name, feed, saved)
    return leads_on(request, f"/enter/{feed.name}")


def checked_save(web: Web, feed: Feed, rows: list[dict[str, str]], by: str, replaces: bool, name_of: Any) -> Saved:
    """Save rows, or Mistakes at their fields. name_of: the field of a row's column."""
    try:
        return save_typed(web.desk.opened, feed.name, rows, by, replaces)
    except NotRight as error:
        raise Mistakes({name_of(n, fault.column): fault.sentence for n, fault in error.faults}) from None
    except OtherThere as error:
        text = say_n(
            "{n} row with this key is there already with other values: tick this to replace it, or change the key.",
            "{n} rows with these keys are there already with other values: tick this to replace them.",
            error.rows,
        )
        raise Mistakes({REPLACE: text}) from None


def told(web: Web, request: Request, by: str, feed: Feed, saved: Saved) -> None:
    """What became of it: for the person, the audit trail, and the scheduler."""
    t = web.texts(request)
    tried = saved.tried
    if tried.unchanged == tried.kept:
        said = t("This was saved before; nothing changed.")
    else:
        said = t.say(say_n("Saved: {n} row.", "Saved: {n} rows.", tried.kept))
    for day in days_to_follow(web.desk.opened.plant, [at for _, at in saved.report.touched]):
        web.books.tell("add_request", flow="follow", about=day.isoformat())
    web.note(by, "enter", feed.name, f"{saved.file}: {said}")
    web.desk.wrote()
    web.say_next(request, said)


def leads_on(request: Request, to: str) -> Response:
    """After it was saved: on to the page; a script that asks is told in a way that no other server answers in."""
    if request.headers.get("x-kept") == "1":
        return Response(status_code=204, headers={"X-Saved": "1", "Cache-Control": "no-store"})
    return go(to)


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The form of the feed, with what was sent in it."""
    return entry_view(web, _feed(request.path_params["feed"]), {}), KEY
