"""The reference on the web: all topics, and each topic."""

from __future__ import annotations

import re
from functools import cache

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markdown_it import MarkdownIt

from pipelines.errors import WrongUse
from pipelines.help.topics import TOPICS, Topic, text_of, topic_of
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web
from pipelines.reports.frame.page import Page, Special
from pipelines.words import say

_TOPIC = re.compile(r"<code>coldledger help ([a-z-]+)</code>")
_TABLE = re.compile(r"<table>.*?</table>", re.S)  # on a phone it scrolls by itself
_BACK = ((say("← Help"), "/help"),)


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/help")
    def topics(request: Request) -> Response:
        """All topics with a line each."""
        web.must_read(request)
        return web.show_own(request, _view(say("Help"), "", say("Topics"), _listed()))

    @routes.get("/help/{topic}")
    def topic(request: Request, topic: str) -> Response:
        """One topic of the reference."""
        web.must_read(request)
        try:
            found = topic_of(topic)
        except WrongUse as error:
            raise Refused(404, str(error)) from None
        return web.show_own(
            request,
            _view(
                found.about.replace("`", ""),
                f"coldledger help {found.name}",
                say("Reference"),
                html_of(found),
                _BACK,
            ),
        )

    return routes


def _view(title: str, when: str, part: str, html: str, links: tuple[tuple[str, str], ...] = ()) -> View:
    return View("help", Page(title, when, (Special("help", part, {"html": html}),), links=links))


@cache
def _listed() -> str:
    return as_html("".join(f"- `coldledger help {topic.name}` {topic.about}\n" for topic in TOPICS))


@cache
def html_of(topic: Topic) -> str:
    """A topic without its heading, which the page has already."""
    return as_html(text_of(topic).split("\n", 1)[1])


def as_html(text: str) -> str:
    """Markdown as HTML: headings below the page's own, no HTML passed through, commands that name a topic as links."""
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = reader.parse(text)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = f"h{min(int(token.tag[1]) + 1, 6)}"
    html: str = reader.renderer.render(tokens, reader.options, {})
    html = _TABLE.sub(r'<div class="scroll" tabindex="0">\g<0></div>', html)
    return _TOPIC.sub(r'<a href="/help/\1">\g<0></a>', html)
