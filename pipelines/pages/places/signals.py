"""The acknowledgement of signals."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from pipelines.jobs.signals import acknowledge_signal
from pipelines.pages.web import Web, go, local
from pipelines.words import say

Token = Annotated[str, Form(max_length=400)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.post("/signals/{signal}/acknowledge")
    def acknowledge(
        request: Request,
        signal: str,
        note: Annotated[str, Form(max_length=300)] = "",
        to: Annotated[str, Form(max_length=2000)] = "",
        form_token: Token = "",
    ) -> Response:
        """Keep that somebody has seen a signal."""
        person = web.acting(request, form_token, "acknowledge", f"signal {signal}")
        acknowledge_signal(web.desk.opened, signal, person.name, note)
        web.note(person.name, "acknowledge", signal, note or "seen")
        web.desk.wrote()
        web.say_next(
            request,
            web.texts(request).say(
                say("{signal}: kept that you have seen it. It stays open until its rate is back.", signal=signal)
            ),
        )
        return go(local(to))

    return routes
