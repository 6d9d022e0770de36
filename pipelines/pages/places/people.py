"""Signing in and out, the language, who may do what, and what was done."""

from __future__ import annotations

import asyncio
import time
from concurrent.futures import ThreadPoolExecutor
from math import ceil
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from pipelines.errors import WrongUse
from pipelines.pages.addresses import local
from pipelines.pages.forms import Mistakes, Sent, check, field, filled, form
from pipelines.pages.tries import COME_BACK_S, MOST_KEPT, Tries, pair_of
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.people.access import OLD_S, ROLES, Person
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.people import audit_sheet, people_sheet
from pipelines.words import LANGUAGES, say, sentence_of

Token = Annotated[str, Form(max_length=400)]
SIGN_IN, LET_IN, TAKE_OUT = "sign-in", "let-somebody-sign-in", "take-somebody-out"
MOST_WAITING, AT_ONCE = 20, 4  # sign-ins that wait for their turn, that are looked at together
WHY = say(
    "Reading needs no sign-in on the works' own computer; holding, releasing, acknowledging and correcting do: each is "
    "kept with a name."
)
WHY_BEYOND = say(
    "Here reading needs a sign-in too. Holding, releasing, acknowledging and correcting are kept with a name."
)
ROLE_WORDS = {
    "reader": say("reader: reads"),
    "laboratory": say("laboratory: types in what was measured or done"),
    "supervisor": say("supervisor: types in, acknowledges signals, corrects rows, places and extends holds"),
    "quality": say("quality: types in, acknowledges, places, confirms, releases, scraps"),
    "admin": say("admin: says who may do what"),
}
DOOR_KEPT_S = 400 * 86400.0  # since the last good sign-in of a name from an address


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    _signing(routes, web)
    _people(routes, web)
    return routes


def _signing(routes: APIRouter, web: Web) -> None:
    door = Door(web)

    @routes.get("/sign-in")
    async def sign_in(request: Request, to: Annotated[str, Query(max_length=2000)] = "") -> Response:
        return await web.quickly(lambda: web.show_own(request, _sign_in_view(web, request, local(to))))

    @routes.post("/sign-in")
    async def signing_in(
        request: Request,
        name: Annotated[str, Form(max_length=100)] = "",
        password: Annotated[str, Form(max_length=300)] = "",
        to: Annotated[str, Form(max_length=2000)] = "",
    ) -> Response:
        """Sign in with a name and a password."""
        return await door.open(request, name, password, local(to))

    @routes.post("/sign-out")
    def sign_out(request: Request, form_token: Token = "") -> Response:
        web.acting(request, form_token, "read", "sign out")
        web.people.sign_out(request.cookies.get(web.options.cookie, ""))
        answer = go("/now")
        answer.delete_cookie(web.options.cookie, path="/", secure=web.options.secure, httponly=True, samesite="lax")
        return answer

    _language(routes, web)


def _language(routes: APIRouter, web: Web) -> None:
    @routes.post("/language")
    def language(
        request: Request,
        language: Annotated[str, Form(max_length=10)] = "",
        to: Annotated[str, Form(max_length=2000)] = "",
    ) -> Response:
        """Choose the language of this browser."""
        web.own_form(request)
        on = local(to)
        if web.stranger(request) and not on.startswith("/sign-in"):
            on = f"/sign-in?to={quote(on, safe='')}"
        answer = go(on)
        if language in LANGUAGES:
            answer.set_cookie(
                "coldledger_language",
                language,
                max_age=365 * 86400,
                httponly=True,
                secure=web.options.secure,
                samesite="lax",
                path="/",
            )
        return answer


class Door:
    """Where people sign in: tries are counted before a password is looked at, few passwords are looked at at once, and
    none of it waits for a page.
    """

    def __init__(self, web: Web):
        known = web.books.ask("known_doors", most=MOST_KEPT)
        self.web, self.tries = web, Tries(known=((row["name"], row["place"]) for row in known))
        self._hands = ThreadPoolExecutor(AT_ONCE, thread_name_prefix="door")
        self._waiting = 0  # touched by the event loop alone

    async def open(self, request: Request, name: str, password: str, to: str) -> Response:
        """Sign somebody in; Refused with 429 for who must wait."""
        web, t = self.web, self.web.texts(request)
        web.own_form(request)
        address = request.client.host if request.client else ""
        wait = self.tries.begin(name, address)
        if wait:
            raise Refused(
                429, t("Too many sign-ins that failed: wait {seconds} seconds.", seconds=ceil(wait)), retry_s=ceil(wait)
            )
        if self._waiting >= MOST_WAITING:
            raise Refused(
                429,
                t("Too many sign-ins that failed: wait {seconds} seconds.", seconds=COME_BACK_S),
                retry_s=COME_BACK_S,
            )
        self._waiting += 1
        try:
            loop = asyncio.get_running_loop()
            token = await loop.run_in_executor(self._hands, web.people.sign_in, name, password)
        finally:
            self._waiting -= 1
        if token is not None:
            self.tries.good(name, address)
            await web.quickly(self._keep, name, address)
        return await web.quickly(self._opened, request, name, token, to)

    def _keep(self, name: str, address: str) -> None:
        """That this name has signed in well from this address: over a restart too."""
        answer, place, now = self.web.books.tell, pair_of(name, address), time.time()
        answer("drop_old_doors", before=now - DOOR_KEPT_S)
        answer("add_door", name=place[0], place=place[1], now=now)

    def _opened(self, request: Request, name: str, token: str | None, to: str) -> Response:
        web = self.web
        if token is None:
            web.note(name.strip() or "nobody", "sign in", "", "refused: name and password do not fit")
            view, wrong = _sign_in_view(web, request, to), say("Name and password do not fit. Nothing was changed.")
            return web.show_own(request, filled(view, SIGN_IN, {"name": [name], "to": [to]}, {"name": wrong}), 401)
        web.note(name.strip(), "sign in", "", "done")
        answer = go(to)
        answer.set_cookie(
            web.options.cookie,
            token,
            max_age=int(OLD_S),
            httponly=True,
            secure=web.options.secure,
            samesite="lax",
            path="/",
        )
        return answer


def _sign_in_view(web: Web, request: Request, to: str) -> View:
    t = web.texts(request)
    fields = [
        field("name", say("Name"), needed=True, most=100, complete="username"),
        field("password", say("Password"), kind="password", needed=True, most=300, complete="current-password"),
    ]
    texts = (
        []
        if web.people.everybody()
        else [t("Nobody can sign in yet: on the works' computer run `coldledger people add NAME --role admin`.")]
    )
    asking = form(
        say("Sign in"),
        "/sign-in",
        fields,
        (("", say("Sign in")),),
        texts=[*texts, WHY if web.options.open_reading else WHY_BEYOND],
        hidden=(("to", to),),
        wide=True,
    )
    return View("", Page(say("Sign in"), "", (asking,), cautions=()))


def _admin(web: Web, request: Request) -> None:
    """Refused for whoever is no admin."""
    person = web.person(request)
    if person is None:
        raise Refused(401, web.texts(request).say(say("This needs somebody who is signed in.")), to_sign_in=True)
    if not person.may("people"):
        raise Refused(
            403,
            web.texts(request).say(
                say(
                    "Your role does not allow this: {act}. Nothing was changed.",
                    act=web.texts(request).say(say("change who may do what")),
                )
            ),
        )


def _people(routes: APIRouter, web: Web) -> None:
    def stands(request: Request, sent: Sent) -> tuple[View, str]:
        _admin(web, request)
        return _people_view(web, request), TAKE_OUT if {"end", "look"} & {*sent} else LET_IN

    web.forms["POST", "/people"] = stands

    @routes.get("/people")
    def people(request: Request) -> Response:
        """Who may do what, and what was done."""
        _admin(web, request)
        return web.show_own(request, _people_view(web, request))

    @routes.post("/people")
    def change(
        request: Request,
        name: Annotated[str, Form(max_length=100)] = "",
        password: Annotated[str, Form(max_length=300)] = "",
        role: Annotated[list[str], Form()] = [],  # noqa: B006
        end: Annotated[str, Form(max_length=100)] = "",
        sure: Annotated[str, Form(max_length=10)] = "",
        look: Annotated[str, Form(max_length=20)] = "",
        form_token: Token = "",
    ) -> Response:
        """Add a person or give them other roles and another password; or take one out."""
        by = web.acting(request, form_token, "people", f"people: {end or name}")
        if look:
            raise Mistakes({} if sure == "yes" else {"sure": say("Tick this to take somebody out.")})
        if end:
            _take_out(web, by, end, sure)
        else:
            _let_in(web, by, name, password, role)
        web.say_next(request, web.texts(request).say(say("{name}: changed.", name=end or name)))
        return go("/people")


def _take_out(web: Web, by: Person, name: str, sure: str) -> None:
    if sure != "yes":
        raise Mistakes({"sure": say("Tick this to take {name} out.", name=name)})
    web.people.end(name, web.desk.now())
    web.note(by.name, "people", name, "taken out")


def _let_in(web: Web, by: Person, name: str, password: str, role: list[str]) -> None:
    try:
        web.people.add(name, role, password, web.desk.now())
    except WrongUse as error:
        sentence = str(error)
        at = "password" if sentence.startswith("a password") else "name" if sentence.startswith("a name") else "role"
        raise Mistakes({at: sentence_of(error)}) from None
    web.note(by.name, "people", name, f"may sign in as {', '.join(role)}")


def _people_view(web: Web, request: Request) -> View:
    t, plant = web.texts(request), web.desk.opened.plant
    everybody = web.people.everybody()
    acts = web.books.ask("newest_audit", most=500)
    active = [str(texts["name"]) for texts in everybody if texts["ended_at"] is None]
    ending = form(
        say("Take somebody out"),
        "/people",
        [check("sure", say("Yes: they can no longer sign in"), "yes")],
        [(name, say("Take out {name}", name=name)) for name in active],
        act="people",
        texts=(say("What they did stays in the audit trail."),),
        button_name="end",
        careful=active,
        harmless="take out",
    )
    parts = (
        Section(t("Who may do what"), sheet=people_sheet(plant, everybody), wide=True),
        form(
            say("Let somebody sign in"),
            "/people",
            _person_fields(),
            (("", say("Save")),),
            act="people",
            texts=(
                t("A name that is there already gets the new password and these roles, and is signed out everywhere."),
            ),
        ),
        ending,
        Section(
            t("What was done"),
            sheet=audit_sheet(plant, acts, say("The newest 500 acts; added to, never changed.")),
            wide=True,
        ),
    )
    return View("people", Page(t("People"), "", parts, cautions=()))


def _person_fields() -> list[dict[str, Any]]:
    return [
        field("name", say("Name"), needed=True, most=80),
        field("password", say("Password"), kind="password", needed=True, most=200, complete="new-password"),
        *(check("role", ROLE_WORDS[role], role) for role in ROLES),
    ]
