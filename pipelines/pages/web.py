"""What every route needs: who asks, in which language, how a page is answered, and who may write."""

from __future__ import annotations

import asyncio
import gzip
import hashlib
import io
import secrets
import tempfile
import time
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import quote, urlsplit

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from pipelines.clock import utc_text
from pipelines.pages.asked import OWN, order_asked
from pipelines.pages.forms import Stands
from pipelines.pages.frame import PageReader, PageRequest, body_html, page_html, unmasked, version
from pipelines.pages.fresh import told as told_age
from pipelines.pages.kept_pages import KeptPage
from pipelines.pages.made_pages import Desk
from pipelines.pages.page_question import Key, PageQuestion
from pipelines.pages.refused import Refused
from pipelines.pages.texts import ACTIONS, FORM_TOO_OLD, Texts, preferred, texts
from pipelines.pages.tries import place_of
from pipelines.pages.view import View
from pipelines.people.access import People, Person
from pipelines.people.books import Books
from pipelines.reports.frame.page import Page
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.sorted_table import named_sheets
from pipelines.reports.frame.table_csv import page_csv
from pipelines.reports.frame.workbook import write_workbook
from pipelines.words import LANGUAGES, say, worded

T = TypeVar("T")
QUICK_THREADS = 8
_BEGUN = secrets.token_hex(8)  # a later process may write the same page in other words


@dataclass(frozen=True)
class Options:
    """How the pages are served. open_reading: no sign-in to read. address: where a reverse proxy shows them
    (https://…), empty on loopback.
    """

    open_reading: bool = True
    address: str = ""
    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    grace_s: float = 20.0

    @property
    def secure(self) -> bool:
        return self.address.startswith("https://")

    @property
    def cookie(self) -> str:
        return "__Host-coldledger" if self.secure else "coldledger"


class Web:
    """The application's hands: one for all routes."""

    def __init__(self, desk: Desk, books: Books, options: Options):
        self.desk, self.books, self.options = desk, books, options
        self.people = People(books)
        self.forms: dict[tuple[str, str], Stands] = {}  # (method, route) -> where its form stands
        self._said: dict[str, tuple[str, str, float]] = {}
        self._quick = ThreadPoolExecutor(QUICK_THREADS, thread_name_prefix="quick")
        self._aside = ThreadPoolExecutor(2, thread_name_prefix="aside")
        self._health = ThreadPoolExecutor(2, thread_name_prefix="health")

    # who and how

    def person(self, request: Request) -> Person | None:
        """Who is signed in; looked up once a request."""
        if not hasattr(request.state, "person"):
            request.state.person = self.people.of(request.cookies.get(self.options.cookie))
        this_person: Person | None = request.state.person
        return this_person

    def asks(self, request: Request, person: Person | None) -> str:
        """For whom a page is made: a person, else an address."""
        return f"person {person.name}" if person else f"from {place_of(request.client.host) if request.client else '?'}"

    def stranger(self, request: Request) -> bool:
        """Whether the one who asks may be told nothing of the works."""
        return not self.options.open_reading and self.person(request) is None

    async def quickly(self, do: Callable[..., T], *found: Any) -> T:
        """Do what must never wait behind pages being made, in threads of its own."""
        return await asyncio.get_running_loop().run_in_executor(self._quick, partial(do, *found))

    async def at_once(self, do: Callable[..., T], *found: Any) -> T:
        """Do what must not even wait behind two hundred sign-ins that are turned away: health."""
        return await asyncio.get_running_loop().run_in_executor(self._health, partial(do, *found))

    async def aside(self, do: Callable[..., T], *found: Any) -> T:
        """Write what is turned away, however many that are."""
        return await asyncio.get_running_loop().run_in_executor(self._aside, partial(do, *found))

    def close(self) -> None:
        self._aside.shutdown(wait=False, cancel_futures=True)
        self._health.shutdown(wait=False, cancel_futures=True)
        self._quick.shutdown(wait=False, cancel_futures=True)
        self.desk.close()

    def texts(self, request: Request) -> Texts:
        """By the reader's own choice, else their browser's languages if the works' is among none, else the works'
        language.
        """
        chosen = request.cookies.get("coldledger_language", "")
        if chosen in LANGUAGES:
            return texts(chosen)
        works = self.desk.opened.plant.pages.language
        return texts(works if works != "en" else preferred(request.headers.get("accept-language", ""), works))

    def must_read(self, request: Request) -> Person | None:
        """Who reads; Refused where reading needs a sign-in and nobody is signed in."""
        person = self.person(request)
        if person is None and not self.options.open_reading:
            raise Refused(401, self.texts(request).say(say("This needs somebody who is signed in.")), to_sign_in=True)
        return person

    def acting(self, request: Request, form_token: str, act: str, about: str) -> Person:
        """Who writes; Refused unless they are signed in, the form is this site's own and theirs, and their role allows
        it.
        """
        t = self.texts(request)
        self.own_form(request)
        person = self.person(request)
        if person is None:
            raise Refused(401, t("This needs somebody who is signed in."), to_sign_in=True)
        if not secrets.compare_digest(unmasked(form_token).encode(), person.form_token.encode()):
            raise Refused(403, t.say(FORM_TOO_OLD))
        if not person.may(act):
            self.note(person.name, act, about, "refused: the role does not allow it")
            raise Refused(403, t("Your role does not allow this: {act}. Nothing was changed.", act=t.say(ACTIONS[act])))
        return person

    def own_form(self, request: Request) -> None:
        """Refused where a browser says that a form of another site sends this."""
        origin, site = request.headers.get("origin"), request.headers.get("sec-fetch-site")
        foreign = (
            origin not in (None, "null")
            and urlsplit(origin).netloc != request.headers.get("host")
            and origin != self.options.address.rstrip("/")
        )
        if foreign or origin == "null" or site not in (None, "same-origin", "none"):
            raise Refused(403, self.texts(request).say(FORM_TOO_OLD))

    def note(self, who: str, what: str, about: str, outcome: str) -> None:
        """Note an act in the audit trail."""
        self.books.tell(
            "add_audit",
            at=utc_text(self.desk.now()),
            who=who[:80],
            what=what[:40],
            about=about[:300],
            outcome=outcome[:300],
        )

    # what is answered

    def say_next(self, request: Request, text: str, kind: str = "") -> None:
        """A sentence for the next page that this browser is shown."""
        token = request.cookies.get(self.options.cookie, "")
        now = time.monotonic()
        self._said = {k: v for k, v in self._said.items() if now - v[2] < 300}
        self._said[hashlib.sha256(token.encode()).hexdigest()] = (text, kind, now)

    def _take_said(self, request: Request) -> tuple[str, str]:
        token = request.cookies.get(self.options.cookie)
        found = self._said.pop(hashlib.sha256(token.encode()).hexdigest(), None) if token and self._said else None
        return (found[0], found[1]) if found else ("", "")

    def reader(self, request: Request, person: Person | None) -> PageReader:
        path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        said, kind = self._take_said(request)
        return PageReader(
            self.texts(request),
            path,
            person,
            request.query_params.get("wall") == "1",
            said,
            kind,
            "" if person is None and not self.options.open_reading else self.desk.mistake,
        )

    def show(self, request: Request, question: PageQuestion) -> Response:
        """Answer with a page that many readers share, or with one of its tables."""
        person = self.must_read(request)
        who = self.asks(request, person)
        page = self.desk.page(question, who)
        wanted = request.query_params.get("as")
        if wanted is not None:
            return self._taken(request, page, wanted, (who, question.key))
        query, t = dict(request.query_params), self.texts(request)
        words = tuple(sorted((k, v) for k, v in query.items() if k not in OWN))
        name: Key = (t.language, query.get("sort"), words)
        reader = replace(self.reader(request, person), age=self._age(page.face, t))
        tag, headers = self._tag((question.key, page.state, page.at if page.live_s else None, name), reader)
        if request.headers.get("if-none-match") == tag:
            return Response(status_code=304, headers=headers)

        def body() -> str:
            return zlib.decompress(self._body(question, page, name, query, t)).decode()

        if (
            person is not None
            or reader.said
            or reader.mistake
            or "gzip" not in request.headers.get("accept-encoding", "")
        ):
            return HTMLResponse(self._framed(page.face, body(), reader), 200, headers)
        for_all = (*name, reader.path, *reader.age.values())
        data = self.desk.kept.beside(
            question.key,
            page,
            for_all,
            lambda: gzip.compress(self._framed(page.face, body(), reader).encode(), 5, mtime=0),
        )
        return Response(data, 200, {**headers, "Content-Encoding": "gzip", "Content-Type": "text/html; charset=utf-8"})

    def _body(self, question: PageQuestion, page: KeptPage, name: Key, query: dict[str, str], t: Texts) -> bytes:
        """The content of a page in a language and order, packed: written once for all readers."""

        def write() -> bytes:
            view, every_s = page.view, self.every_s(page.face.refresh_s)
            at = f"{self.desk.opened.plant.clock.local(page.at):%H:%M:%S}"
            order = order_asked(query.get("sort"), view)
            with self.desk.turns.turn():
                return zlib.compress(body_html(view, PageRequest(query, order, t, at, every_s)).encode(), 1)

        return self.desk.kept.beside(question.key, page, name, write)

    def _framed(self, face: View, body: str, reader: PageReader) -> str:
        works = self.desk.opened.plant.works.name
        return page_html(works, face, self.every_s(face.refresh_s), body, reader)

    def _age(self, face: View, t: Texts) -> dict[str, str]:
        """What stands on a live page about the age of its counts at this moment; nothing on others."""
        fresh = self.desk.fresh() if face.refresh_s else None
        return told_age(fresh, self.desk.opened.plant, t) if fresh is not None else {}

    def every_s(self, refresh_s: float) -> float:
        """After how many seconds of the computer's clock a browser asks again."""
        return max(0.5, refresh_s / max(1.0, self.desk.settings.speed)) if refresh_s else 0

    @staticmethod
    def _tag(content: object, reader: PageReader) -> tuple[str, dict[str, str]]:
        """What names this answer among all of this process, and the headers that say how it may be kept. content: the
        question and its state; the words themselves where there is none.
        """
        whole = hashlib.sha256(repr(content).encode())
        for text in (
            _BEGUN,
            reader.path,
            reader.texts.language,
            reader.person.name if reader.person else "",
            reader.said,
            reader.mistake,
            *reader.age.values(),
            version(),
        ):
            whole.update(b"\0" + text.encode())
        tag = f'W/"{whole.hexdigest()[:24]}"'
        return tag, {
            "ETag": tag,
            "Cache-Control": "no-cache, private",
            "Vary": "Cookie, Accept-Language, Accept-Encoding",
        }

    def show_own(self, request: Request, view: View, status: int = 200) -> Response:
        """Answer with a page for this reader alone, made for this answer."""
        reader = self.reader(request, self.person(request))
        query = dict(request.query_params)
        at = f"{self.desk.opened.plant.clock.local(self.desk.now()):%H:%M:%S}"
        if query.get("as") is not None and status == 200:
            return self._taken_of(request, view, query["as"])
        order = order_asked(query.get("sort"), view) if status == 200 else None
        body = body_html(view, PageRequest(query, order, reader.texts, at))
        tag, headers = self._tag(body, reader)
        if request.headers.get("if-none-match") == tag and status == 200:
            return Response(status_code=304, headers=headers)
        return HTMLResponse(self._framed(view, body, reader), status, headers)

    def _taken(self, request: Request, page: KeptPage, wanted: str, asked: tuple[str, Key]) -> Response:
        """A workbook is made once of a page, like the page; who asks for too much at once waits."""
        name, (who, key) = request.query_params.get("table", ""), asked
        if wanted != "xlsx":
            return self._taken_of(request, page.view, wanted)
        with self.desk.turns.wanted(who, ("xlsx", name, key)):
            data = self.desk.kept.beside(
                key, page, ("xlsx", name), lambda: bytes(self._taken_of(request, page.view, wanted).body)
            )
        return _workbook_file(data, page.face.page.title, name)

    def _taken_of(self, request: Request, view: View, wanted: str) -> Response:
        """A page's tables as a workbook, or one of them as CSV."""
        sheets, t = named_sheets(view.page.sheets), self.texts(request)
        order = order_asked(request.query_params.get("sort"), view)
        name = request.query_params.get("table", "")
        if wanted == "xlsx" and sheets and (not name or name in sheets):
            with self.desk.turns.turn():
                data = workbook(view.page, [sheets[name]] if name else view.page.sheets)
            return _workbook_file(data, view.page.title, name)
        if wanted == "csv" and name in sheets:
            text = page_csv(sheets[name], order if order and order.table == name else None, t.say)
            return _file(
                b"\xef\xbb\xbf" + text.encode(), "text/csv; charset=utf-8", f"{file_name(view.page.title)}-{name}.csv"
            )
        raise Refused(404, t("This page has no such table."))


def workbook(page: Page, sheets: Sequence[Sheet]) -> bytes:
    """Tables of a page as a workbook."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tables.xlsx"
        write_workbook(path, page.title, sheets, (*page.sources, *page.cautions, page.made))
        return io.BytesIO(path.read_bytes()).getvalue()


def file_name(title: str) -> str:
    """A title as a file's name: letters, digits and dashes of ASCII."""
    plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in title)
    return "-".join(part for part in plain.split("-") if part)[:60] or "table"


def _workbook_file(data: bytes, title: str, table: str) -> Response:
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _file(data, kind, f"{file_name(title)}{'-' if table else ''}{table}.xlsx")


def _file(data: bytes, kind: str, name: str) -> Response:
    return Response(
        data,
        media_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"},
    )


def go(to: str) -> RedirectResponse:
    """After a form, or from a short address to the whole one."""
    return RedirectResponse(quote(to, safe="/?=&%#+.:-_~,"), 303, {"Cache-Control": "no-store"})


def known(web: Web, kind: str, text: str) -> str:
    """A line or furnace that works.toml has, or had; Refused for others."""
    these = getattr(web.desk.plant, f"{kind}s")
    if text not in these:
        found = {"kind": worded(kind), "text": text[:64], "these": ", ".join(these)}
        raise Refused(404, say("there is no {kind} '{text}' in works.toml; it has {these}", "", **found))
    return text


Route = Callable[..., Response]
