"""Beyond this computer: nothing but the sign-in, its style and a bare health answers a stranger."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pipelines.pages.again import error_page
from pipelines.pages.web import go
from pipelines.words import say

if TYPE_CHECKING:
    from pipelines.pages.web import Web

OPEN, STYLE = ("/sign-in", "/health", "/language"), "/static/"


class Gate:
    """Stands before every route, so that what a route would say (names in a sentence, where it leads, that it is there)
    is said to people of the works alone.
    """

    def __init__(self, app: ASGIApp, web: Web):
        self.app, self.web = app, web

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with the way to the sign-in."""
        answer = await self._instead(Request(scope)) if scope["type"] == "http" else None
        await (answer or self.app)(scope, receive, send)

    async def _instead(self, request: Request) -> Response | None:
        path = request.url.path
        if self.web.options.open_reading or path in OPEN or path.startswith(STYLE):
            return None
        if await self.web.quickly(self.web.person, request) is not None:
            return None
        if request.method in ("GET", "HEAD"):
            return go(f"/sign-in?to={quote(path + (f'?{request.url.query}' if request.url.query else ''), safe='')}")
        return await self.web.aside(error_page, self.web, request, 401, say("This needs somebody who is signed in."))
