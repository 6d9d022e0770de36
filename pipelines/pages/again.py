"""A form that cannot be taken as it was sent, shown again: on its page, with what was typed, each mistake at its field.

A route that takes a form says of itself where it stands (`Web.forms`): whatever is wrong with it then leads back to it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from fastapi import Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines.errors import ColdledgerError, WrongUse
from pipelines.pages.addresses import local
from pipelines.pages.forms import SECRET, Mistakes, Sent, Stands, filled, has_form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.refused import Refused
from pipelines.pages.turns import TooMany
from pipelines.pages.view import View
from pipelines.reports.frame.page import Page, Section
from pipelines.words import Worded, say, sentence_of

if TYPE_CHECKING:
    from pipelines.pages.web import Web

MOST_SHOWN, LONGEST_SHOWN = 60, 20_000
_OURS = ("form_token", "to", "question", SECRET)


def sent_with(request: Request) -> Sent:
    """What a form sent: of the address, or of the body where it was read."""
    sent = request.query_params if request.method == "GET" else getattr(request, "_form", None)
    if sent is None:
        sent = getattr(request.state, "sent", None) or FormData()
    return {name: [str(each) for each in sent.getlist(name)] for name in sent}


async def with_sent(request: Request, most: int, act: Callable[[FormData], Response]) -> Response:
    """The answer to a form with fields of any names, at most so many; what was sent is kept, to be shown again."""
    from starlette.concurrency import run_in_threadpool

    request.state.sent = sent = await request.form(max_fields=most, max_files=0)
    return await run_in_threadpool(act, sent)


def page_of(web: Web, request: Request, question: PageQuestion) -> View:
    """The page that many share, to be shown to one reader with their form in it."""
    return web.desk.page(question, web.asks(request, web.person(request))).view


def again(web: Web, request: Request, error: WrongUse | Mapping[str, str], status: int = 400) -> Response | None:
    """The page of the form that a request sent, with the mistakes; None where it is no form's request."""
    route: Any = request.scope.get("route")
    stands: Stands | None = web.forms.get((request.method, getattr(route, "path", "")))
    if stands is None or (request.method == "GET" and isinstance(error, WrongUse) and not isinstance(error, Mistakes)):
        return None
    if isinstance(error, WrongUse):
        at: Mapping[str, str] = error.at if isinstance(error, Mistakes) else {"": sentence_of(error)}
    else:
        at = error
    with suppress(ColdledgerError, Refused, TooMany):
        sent = sent_with(request)
        view, key = stands(request, sent)
        if not has_form(view, key):  # others have decided meanwhile, or it is no button of it
            return None
        return web.show_own(request, filled(view, key, sent, at), status)
    return None


def came_from(web: Web, request: Request) -> str:
    """The page of this site that led here; empty where none did."""
    parts = urlsplit(request.headers.get("referer", ""))
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    if not parts.netloc or parts.netloc not in (request.headers.get("host"), urlsplit(web.options.address).netloc):
        return ""
    found = local(parts.path + (f"?{parts.query}" if parts.query else ""), "")
    return found if request.method != "GET" or found != here else ""


def error_page(web: Web, request: Request, status: int, text: str) -> Response:
    """One sentence as a page, that leads back and keeps what was typed; a stranger is led to the sign-in alone."""
    words = (text,) if isinstance(text, Worded) else tuple(text.splitlines())
    part, known = Section(say("What happened"), texts=words, wide=True), not web.stranger(request)
    page = Page(
        say("That did not work"),
        "",
        (part, *(kept_words(request) if known else ())),
        links=leads_back(web, request, status) if known else ((say("Sign in"), "/sign-in"),),
        cautions=(),
    )
    return web.show_own(request, View("", page), status)


def leads_back(web: Web, request: Request, status: int) -> tuple[tuple[str, str], ...]:
    """Where a page of an error leads: to where the reader was, to the sign-in where that is wanted, to Now."""
    back = came_from(web, request)
    sign_in = f"/sign-in?to={quote(back or '/now', safe='')}"
    return (
        *(((say("← back to where you were"), back),) if back else ()),
        *(((say("Sign in"), sign_in),) if status == 401 else ()),
        (say("Now"), "/now"),
    )


def kept_words(request: Request) -> tuple[Section, ...]:
    """What was typed into a form that cannot be shown again, to be copied; never a password."""
    if request.method != "POST":
        return ()
    items = [
        f"{name}: {text[:LONGEST_SHOWN]}"
        for name, texts in sent_with(request).items()
        for text in texts
        if name not in _OURS and text.strip()
    ]
    return (Section(say("What you typed"), items=tuple(items[:MOST_SHOWN]), wide=True),) if items else ()
