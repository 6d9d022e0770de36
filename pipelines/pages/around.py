"""What stands around every request: a form's size, the pace while a flow is at work, a crowd at the sign-in, the
headers of each answer, the log and the meter.

Plain ASGI and no more: two hundred wrong sign-ins at once pass here before health does, and what a framework does for
each of them is what health waits for.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import Counter

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipelines.pages.again import error_page
from pipelines.pages.gate import OPEN
from pipelines.pages.metrics import Meter
from pipelines.pages.tries import COME_BACK_S, place_of
from pipelines.pages.web import Web
from pipelines.words import say

LARGEST_FORM = 2 << 20
TOO_LARGE = say(
    "The form was too large, or did not say its length, and was not read. Go back: what you typed is there."
)
HELD_BACK_S = 0.15  # of an answer, while a flow is at work
SIGN_INS_EACH = 8  # of one address that are not answered yet
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; connect-src "
    "'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
log = logging.getLogger("coldledger.pages")


class Around:
    """The outermost layer of the application. patient: whether readers are held back while a flow is at work."""

    def __init__(self, app: ASGIApp, web: Web, meter: Meter, patient: bool):
        self.app, self.web, self.meter, self.patient = app, web, meter, patient
        # sign-ins not answered yet, by address; touched by the event loop alone
        self._signing: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or pass it on; every answer gets its headers and is counted."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request, begun, status = Request(scope), time.perf_counter(), 500

        async def with_headers(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        try:
            await self._answer(request, receive, with_headers)
        finally:
            self._note(request, status, time.perf_counter() - begun)

    async def _answer(self, request: Request, receive: Receive, send: Send) -> None:
        refused = _too_large(request)
        if refused:
            answer = await self.web.aside(error_page, self.web, request, refused, TOO_LARGE)
            await answer(request.scope, receive, send)
        elif request.method == "POST" and request.url.path == "/sign-in":
            await self._sign_in(request, receive, send)
        else:
            if self.patient and request.method == "GET" and request.url.path not in OPEN and self.web.desk.flow_runs():
                # many readers who click without pause must not take the computer from an intake
                await asyncio.sleep(HELD_BACK_S)
            await self.app(request.scope, receive, send)

    async def _sign_in(self, request: Request, receive: Receive, send: Send) -> None:
        place = place_of(request.client.host) if request.client else "?"
        if self._signing[place] >= SIGN_INS_EACH:
            text = self.web.texts(request).say(
                say("Too many sign-ins that failed: wait {seconds} seconds.", seconds=COME_BACK_S)
            )
            answer = PlainTextResponse(text + "\n", 429, headers={"Retry-After": str(COME_BACK_S)})
            await answer(request.scope, receive, send)
            return
        self._signing[place] += 1
        try:
            await self.app(request.scope, receive, send)
        finally:
            self._signing[place] -= 1
            if not self._signing[place]:
                del self._signing[place]

    def _note(self, request: Request, status: int, seconds: float) -> None:
        route = getattr(request.scope.get("route"), "path", "other")
        self.meter.answered(route, status, seconds)
        # a wall screen asks twice a minute, for months
        quiet = request.method in ("GET", "HEAD") and status < 500
        level = logging.DEBUG if quiet else logging.INFO
        log.log(level, "%s %s %d", request.method, request.url.path, status, extra={"seconds": round(seconds, 4)})


def _too_large(request: Request) -> int:
    """The status of a form that is not read; 0 for one that is."""
    length = request.headers.get("content-length", "0" if request.method in ("GET", "HEAD") else "")
    if not length.isdigit():
        return 411
    return 413 if int(length) > LARGEST_FORM else 0
