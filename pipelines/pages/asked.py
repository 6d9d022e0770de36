"""The words of an address. A page's address is its whole question: a word that the page does not know, or a value that
it cannot take, is told with 400, and never passed over.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError

from pipelines import typed
from pipelines.errors import WrongUse
from pipelines.pages.kept_address import kept_address
from pipelines.pages.view import View
from pipelines.reports.frame.order import Order, order_of
from pipelines.reports.frame.sorted_table import named_sheets
from pipelines.words import joined, say, sentence_of
from schemas.feeds import ALL_FEEDS

# Words of every page's address that are no part of the question: how its tables stand, one of them as a file, the wall.
OWN = ("sort", "as", "table", "wall")
# Addresses that show no page of their own: they lead on, or give a file as it lies there.
LEADING_ON = frozenset(
    {
        "/",
        "/index.html",
        "/hour",
        "/times",
        "/moulds",
        "/day",
        "/machine",
        "/machine/{line}",
        "/weights",
        "/weights/{line}",
        "/laboratory",
        "/laboratory/{furnace}",
        "/holds.html",
        "/reports/{path:path}",
    }
)
ENTERED = "/enter/{feed}"
MACHINES = frozenset({"/health", "/metrics", "/static/{name}"})  # programs may add what keeps an answer from being kept


async def whole_question(request: Request) -> None:
    """Stands before every route. WrongUse for a word that its address does not take, or that stands there twice."""
    route = request.scope["route"]
    request.state.sent = getattr(request, "_form", None)
    if request.method not in ("GET", "HEAD") or route.path in MACHINES:
        return
    takes = [str(query_param.alias) for query_param in route.dependant.query_params]
    takes += OWN if route.path not in LEADING_ON else ()
    takes += _columns(request) if route.path == ENTERED else ()
    given = Counter(name for name, _ in request.query_params.multi_items())
    for name, times in given.items():
        if name not in takes:
            known = say("it takes {takes}", takes=joined(", ", takes)) if takes else say("it takes none")
            raise WrongUse(
                say("the address of this page takes no '{shown}'; {known}", shown=typed.shown(name), known=known)
            )
        if times > 1:
            raise WrongUse(
                say("'{name}' stands {times} times in the address; it is taken once", name=name, times=times)
            )
    _own_words(dict(request.query_params))
    kept_address(request, takes)


def _columns(request: Request) -> tuple[str, ...]:
    """A feed's form begins with what its address has in hand."""
    feed = ALL_FEEDS.get(request.path_params["feed"])
    return feed.columns if feed is not None else ()


def _own_words(query: dict[str, str]) -> None:
    wall, sort = query.get("wall"), query.get("sort")
    if wall not in (None, "0", "1"):
        raise WrongUse(say("wall is 1, or is left out; not '{shown}'", shown=typed.shown(wall)))
    if sort is not None and order_of(sort) is None:
        raise WrongUse(say("sort is TABLE.COLUMN.asc or TABLE.COLUMN.desc, not '{shown}'", shown=typed.shown(sort)))
    if "table" in query and "as" not in query:
        raise WrongUse(say("table goes with as=csv or as=xlsx"))


def order_asked(sort: str | None, view: View) -> Order | None:
    """How a table of this page is to stand; WrongUse for a table or a column that it does not have. A table that the
    page has sometimes may be named while it is not there: a page that renews itself keeps its address.
    """
    order = order_of(sort)
    if order is None or order.table in view.sometimes:
        return order
    sheets = named_sheets(view.page.sheets)
    if order.table not in sheets:
        known = say("it has {sheets}", sheets=joined(", ", sheets)) if sheets else say("it has none")
        raise WrongUse(
            say("there is no table '{shown}' on this page; {known}", shown=typed.shown(order.table), known=known)
        )
    columns = [column.name for column in sheets[order.table].shown()]
    if order.column not in columns:
        raise WrongUse(
            say(
                "table {table} has no column '{shown}'; it has {columns}",
                table=order.table,
                shown=typed.shown(order.column),
                columns=joined(", ", columns),
            )
        )
    return order


def sentences(request: Request, error: RequestValidationError) -> dict[str, str]:
    """What cannot be read of an address or a form, a sentence each, by the name it has there."""
    route: Any = request.scope["route"].dependant
    fields = {str(each.alias): each for each in (*route.path_params, *route.query_params, *route.body_params)}
    return {(name := str(each["loc"][-1])): _sentence(each, fields.get(name)) for each in error.errors()[:20]}


def _sentence(row: dict[str, Any], field: Any) -> str:
    name, kind, answer = str(row["loc"][-1]), str(row["type"]), row.get("input")
    text = answer if isinstance(answer, str) else ""
    bounds = field.field_info.metadata if field is not None else []
    least, most = (next((getattr(part, end) for part in bounds if hasattr(part, end)), None) for end in ("ge", "le"))
    if least is not None and most is not None and re.match(r"int|greater|less", kind):
        return sentence_of(typed.no_whole(text, least, most, name))
    if kind == "string_too_long":
        return say(
            "{name} has at most {max_length} characters, and these are {text}",
            name=name,
            max_length=row["ctx"]["max_length"],
            text=len(text),
        )
    return (
        say("{name} is missing", name=name)
        if kind == "missing"
        else say("{name} cannot be '{shown}'", name=name, shown=typed.shown(text))
    )
