"""A weight round: the moulds of a line that are fitted now, each with its field, the item's limits beside them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines.jobs.typed_in import typed_lately
from pipelines.ledger import Reader
from pipelines.pages.again import with_sent
from pipelines.pages.entry import entered
from pipelines.pages.forms import Field, Group, Mistakes, Sent, check, choice, field, form, moment
from pipelines.pages.places.enter import REPLACE, checked_save, fitted_moulds, leads_on, told, typed_section
from pipelines.pages.view import View
from pipelines.pages.web import Web, known
from pipelines.plant.tables import Item
from pipelines.reports.frame.page import GLASS, Page, Section
from pipelines.words import joined, say
from schemas.feeds import ALL_FEEDS

WEIGHT = "w:"  # before a mould number, the name of its field
KEY, MEANT = "a-round", "meant"
FAR_BELOW, FAR_ABOVE = 0.7, 1.3  # of the limits: beyond them a weight is asked back (common practice has no figure)
FEED = ALL_FEEDS["weight_checks"]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["POST", "/enter/weights/{line}"] = partial(_stands, web)

    @routes.get("/enter/weights/{line}")
    def weight_round(request: Request, line: str) -> Response:
        """The grid of the moulds fitted now."""
        web.must_read(request)
        return web.show_own(request, round_view(web, known(web, "line", line)))

    @routes.post("/enter/weights/{line}")
    async def save(request: Request, line: str) -> Response:
        """Save the weights that were typed; fields left empty are no weighings."""
        return await with_sent(request, 400, partial(_save, web, request, known(web, "line", line)))

    return routes


def round_view(web: Web, line: str) -> View:
    """Fields by section, in the order of the gob positions."""
    plant, now = web.desk.opened.plant, web.desk.now()
    rows, items, lately = _known(web, line)
    limits = tuple(_limit_words(item) for item in items)
    title = say("A weight round of {line}", line=line)
    links = ((say("all forms"), "/enter"), (say("weights {line}", line=line), f"/weights/{line}"))
    if not rows:
        nothing = say("No mould of this line is known: a mould log has to come first, or each weighing by itself.")
        single = (say("one weighing"), f"/enter/weight_checks?line={line}")
        return View("enter", Page(title, "", (Section(title, (nothing,), warn=True),), links=(*links, single)))
    groups = _by_section(rows)
    about = [
        moment("sampled_at", say("Taken at"), plant.clock.typed(now), plant),
        choice("point", say("Weighed where"), [("cold", say("cold")), ("hot", say("hot"))], "cold"),
        {**field("sample", say("Sample number"), "1", most=6), "mode": "numeric"},
        check(REPLACE, say("Replace what was there before (it is kept, with the time)"), "yes"),
        check(MEANT, say("Weights far from the limits are meant"), "yes"),
    ]
    fields = form(
        say("A round"),
        f"/enter/weights/{line}",
        about,
        (("", say("Save the round")),),
        act="enter",
        texts=(*limits, say("Enter leads to the next field; a scale that types does too. Empty fields are not saved.")),
        wide=True,
        groups=groups,
        kept=True,
    )
    below = (typed_section(web, FEED, lately),) if lately else ()
    return View("enter", Page(title, say("grams"), (fields, *below), links=links, cautions=(GLASS,)))


def _by_section(rows: list[dict[str, Any]]) -> list[Group]:
    """A field for each mould; one that the log has in two places is weighed once."""
    places: dict[str, list[str]] = {}
    for row in rows:
        places.setdefault(row["number"], []).append(f"{row['section']}{row['gob']}")
    sections: dict[int, list[Field]] = {}
    for row in rows:
        mine = places.pop(row["number"], None)
        if mine is not None:
            label = say("{place}, mould {number}", number=row["number"], place=", ".join(mine))
            plain = {**field(WEIGHT + row["number"], label, most=12), "mode": "decimal"}
            sections.setdefault(row["section"], []).append(plain)
    return [Group(say("Section {number}", number=n), tuple(fields)) for n, fields in sections.items()]


def _known(web: Web, line: str) -> tuple[list[dict[str, Any]], list[Item], list[dict[str, Any]]]:
    """The moulds that are fitted now, the items made now, and what was typed last; nothing before anything came."""
    opened, now = web.desk.opened, web.desk.now()
    if not opened.ledger.exists:
        return [], [], []
    with opened.ledger.reading() as reader:
        lately = [row for row in typed_lately(opened, reader, FEED.name) if row["line"] == line]
        return fitted_moulds(reader, line, now), _items(reader, web, line), lately


def _items_now(web: Web, line: str) -> list[Item]:
    if not web.desk.opened.ledger.exists:
        return []
    with web.desk.opened.ledger.reading() as reader:
        return _items(reader, web, line)


def _items(reader: Reader, web: Web, line: str) -> list[Item]:
    now, plant = web.desk.now(), web.desk.opened.plant
    jobs = reader.ask("jobs_of_line", line=line, from_time=now, to_time=now)
    return [plant.items[code] for code in dict.fromkeys(jobs["item"].to_list()) if code in plant.items]


def _limit_words(item: Item) -> str:
    low, high = (f"{v:g}" if v is not None else "–" for v in (item.weight_min_g, item.weight_max_g))
    return say("{item}: {low} to {high} g", item=joined(" ", (item.id, item.name)), low=low, high=high)


def _far(items: list[Item], row: Mapping[str, str]) -> bool:
    """Whether a weight is that of no item made now by far: a figure or a point was missed."""
    lows = [item.weight_min_g for item in items if item.weight_min_g is not None]
    highs = [item.weight_max_g for item in items if item.weight_max_g is not None]
    try:
        grams = float(row.get("weight_g", ""))
    except ValueError:
        return False  # the intake says what it is
    return bool(lows and grams < FAR_BELOW * min(lows)) or bool(highs and grams > FAR_ABOVE * max(highs))


def _save(web: Web, request: Request, line: str, sent: FormData) -> Response:
    person = web.acting(request, str(sent.get("form_token", "")), "enter", f"a weight round of {line}")
    texts = {name: str(value) for name, value in sent.items()}
    rows, names = _rows(web, line, texts)
    saved = checked_save(
        web,
        FEED,
        rows,
        person.name,
        texts.get(REPLACE) == "yes",
        lambda n, column: names[n] if column in ("weight_g", "mould") and n < len(names) else column,
    )
    told(web, request, person.name, FEED, saved)
    return leads_on(request, f"/enter/weights/{line}")


def _rows(web: Web, line: str, texts: Mapping[str, str]) -> tuple[list[dict[str, str]], list[str]]:
    """A row for each field that was filled in, and the names of the fields. Mistakes where nothing was typed, or the
    time is none.
    """
    clock, now = web.desk.opened.plant.clock, web.desk.now()
    names = [name for name, text in texts.items() if name.startswith(WEIGHT) and text.strip()]
    if not names:
        raise Mistakes({"": say("No weight was typed in: fill in at least one field.")})
    rows, wrong = [], {}
    for name in names:
        about = {column: texts.get(column, "") for column in ("sampled_at", "point", "sample")}
        row, faults = entered(
            FEED, {**about, "line": line, "mould": name.removeprefix(WEIGHT), "weight_g": texts[name]}, clock, now
        )
        rows.append(row)
        wrong.update(faults)
    items = _items_now(web, line) if texts.get(MEANT) != "yes" else []
    for name, row in zip(names, rows, strict=True):
        if _far(items, row) and name not in wrong:
            wrong[name] = say("Far from the limits: correct it, or tick above that it is meant.")
    if wrong:
        raise Mistakes(wrong)
    return rows, names


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The round, with what was sent in it."""
    return round_view(web, known(web, "line", request.path_params["line"])), KEY
