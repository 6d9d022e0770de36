"""What was refused, to be corrected and taken in again."""

from __future__ import annotations

import re
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import Response
from starlette.datastructures import FormData

from pipelines import typed
from pipelines.answers.feeds import answer_feeds
from pipelines.errors import ColdledgerError
from pipelines.intake import IntakeReport
from pipelines.jobs.repair import GIVE_UP as GIVE_UP_ROW
from pipelines.jobs.repair import LARGEST_TEXT, give_file_up, mend_file, refused_file, refused_rows, repair
from pipelines.jobs.signals import days_to_follow
from pipelines.pages.again import with_sent
from pipelines.pages.forms import Group, Mistakes, Sent, check, field, form
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.reports.frame.page import Page, Section
from pipelines.words import say

Token = Annotated[str, Form(max_length=400)]
Batch = Annotated[int, Path(ge=1, le=2**31 - 1)]
MOST_ROWS = 100
REFUSED_FORMS = ("refused-rows", "correct-the-file")


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["POST", "/feeds/refused/{batch}"] = partial(_stands, web)

    @routes.get("/feeds/refused/{batch}")
    def refused(request: Request, batch: Batch) -> Response:
        """The refused rows of one file, to be corrected and retried."""
        who = web.asks(request, web.must_read(request))
        with web.desk.turns.wanted(who, ("refused", batch)), web.desk.turns.turn():
            view = refused_view(web, batch)
        return web.show_own(request, view)

    @routes.post("/feeds/refused/{batch}")
    async def mend(request: Request, batch: Batch) -> Response:
        """Write other values into refused rows, and take them in again."""
        return await with_sent(request, 5000, partial(_mend, web, request, batch))

    @routes.post("/feeds/retry")
    def retry(request: Request, form_token: Token = "") -> Response:
        """Take everything that was repaired in quarantine/ in again."""
        from pipelines.intake.retry import retry_quarantine

        person = web.acting(request, form_token, "repair", "retry of the quarantine")
        opened = web.desk.opened
        _tell(
            web,
            request,
            person.name,
            "retry",
            "quarantine",
            retry_quarantine(opened.site, opened.plant, opened.settings),
        )
        return go("/feeds")

    return routes


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """The rows of a file, or the file that was refused whole."""
    batch = str(request.path_params["batch"])
    return refused_view(web, typed.whole(batch, 1, 2**31 - 1, "batch")), REFUSED_FORMS["file_name" in sent]


def _mend(web: Web, request: Request, batch: int, form_data: FormData) -> Response:
    person = web.acting(request, str(form_data.get("form_token", "")), "repair", f"rows of file {batch}")
    rows: dict[int | str, dict[str, str]] = {}
    for name, value in form_data.multi_items():
        line, colon, column = name.partition(":")
        if colon and re.fullmatch(r"\d{1,9}(-\d{1,9})?", line):
            rows.setdefault(line, {})[column] = str(value)
    _given_up_on_purpose(form_data)
    try:
        report = _mended(web, batch, rows, form_data)
    except ColdledgerError as error:
        web.note(person.name, "repair", f"file {batch}", f"not done: {error}")
        raise
    _tell(
        web,
        request,
        person.name,
        "repair",
        f"file {batch}, lines {', '.join(str(line) for line in rows)[:200]}",
        report,
    )
    waits = refused_rows(web.desk.opened, batch) or refused_file(web.desk.opened, batch)
    return go(f"/feeds/refused/{batch}" if waits else "/feeds")


def _given_up_on_purpose(form_data: FormData) -> None:
    """What is ticked to be given up wants its own button pressed: Enter in a cell gives nothing up."""
    if form_data.get("action") == GIVING_UP:
        return
    ticked = [name for name in form_data if name == GIVE_UP_ROW or name.endswith(f":{GIVE_UP_ROW}")]
    if ticked:
        text = say("Ticked to be given up: press the button that gives up, or take the tick away.")
        raise Mistakes(dict.fromkeys(ticked, text))


def _mended(web: Web, batch: int, rows: dict[int | str, dict[str, str]], form_data: FormData) -> IntakeReport:
    """Rows by their lines; or a whole file by its name and text, or given up."""
    opened = web.desk.opened
    if form_data.get("give_up") == "yes":
        return give_file_up(opened, batch)
    if "file_name" in form_data:
        text = form_data.get("text")
        return mend_file(opened, batch, str(form_data.get("file_name", "")), str(text) if text is not None else None)
    return repair(opened, batch, rows)


def _tell(web: Web, request: Request, by: str, what: str, about: str, report: IntakeReport) -> None:
    """What a retry did: for the audit trail, for the person, and for the scheduler, which works out what follows from
    it.
    """
    plant = web.desk.opened.plant
    for day in days_to_follow(plant, [at for _, at in report.touched]):
        web.books.tell("add_request", flow="follow", about=day.isoformat())
    t = web.texts(request)
    nothing = not report.rows_kept and not report.rows_refused
    said = (
        t("Nothing of it has become right: every row waits on with its reason.")
        if nothing
        else t(
            "{kept} rows are kept now; {refused} are still refused.", kept=report.rows_kept, refused=report.rows_refused
        )
    )
    web.note(by, what, about, said)
    web.desk.wrote()
    web.say_next(request, said, "wrong" if report.needs_a_person else "")


CORRECT = say(
    "Correct what is wrong and retry: rows that are right then are kept, the others come back with their reasons. The "
    "file as it came stays in the archive."
)


GIVE_ROW_UP = say("Give this row up: it stays in the archive and is not asked for again")
GIVING_UP = "give_up"  # the button that must be pressed for what is ticked
BUTTONS = (("", say("Correct and retry")), (GIVING_UP, say("Correct and retry, and give up what is ticked")))
MENDING: dict[str, Any] = {
    "act": "repair",
    "wide": True,
    "button_name": "action",
    "careful": (),
    "marked": (GIVING_UP,),
}


def _more(rows: int) -> tuple[str, ...]:
    words = say("The first {most} of {rows} rows; the others follow when these are done.", most=MOST_ROWS, rows=rows)
    return (words,) if rows > MOST_ROWS else ()


def refused_view(web: Web, batch: int) -> View:
    """The refused rows of a file, or the file that was refused whole, to be corrected. Refused where nothing of it
    waits.
    """
    found, whole = refused_rows(web.desk.opened, batch), refused_file(web.desk.opened, batch)
    if whole is not None:
        return _refused_file(web, batch, *whole)
    if found is None:
        raise Refused(404, say("nothing of file {batch} waits to be corrected", batch=batch))
    name, frame = found
    rows = []
    for row in frame.head(MOST_ROWS).iter_rows(named=True):
        wrong = row["refused_why"] or ""
        line = row["refused_line"]
        cells = [
            field(
                f"{line}:{column}",
                say("{column} – wrong", column=column) if f"{column}: " in wrong else column,
                value or "",
                most=1000,
            )
            for column, value in row.items()
            if not column.startswith("refused_")
        ]
        ticked = check(f"{line}:{GIVE_UP_ROW}", GIVE_ROW_UP, "yes")
        rows.append(Group(say("Line {line} of the file", line=line), (*cells, ticked), wrong))
    first = frame["refused_file"][0] if frame.height else name
    texts = (CORRECT, *_more(frame.height))
    parts = (
        Section(say("Before you correct"), texts, wide=True),
        form(say("Refused rows"), f"/feeds/refused/{batch}", (), BUTTONS, groups=rows, **MENDING),
    )
    return View(
        "feeds",
        Page(
            say("Refused rows of {first}", first=first),
            f"quarantine/{name}",
            parts,
            links=((say("all feeds"), "/feeds"),),
        ),
    )


GIVE_UP = say("give this file up: it stays in the archive and is not asked for again")
UNREADABLE = say("Its content cannot be shown here: give it another name, send it again, or give it up.")


def _refused_file(web: Web, batch: int, name: str, text: str | None) -> View:
    """A file refused whole: its name and, where it is text, what is in it."""
    fields = [
        field(
            "file_name",
            say("Name of the file"),
            name,
            needed=True,
            most=200,
            hint=say("<feed>.<anything>.csv, .csv.gz, .parquet or .jsonl; the feeds: coldledger feeds --describe"),
        )
    ]
    if text is not None:
        fields.append(field("text", say("What is in it"), text, kind="long", most=LARGEST_TEXT))
    fields.append(check("give_up", GIVE_UP, "yes"))
    with web.desk.opened.ledger.reading() as reader:
        whys = [
            each["sentence"]
            for each in answer_feeds(reader, web.desk.plant, most=20, from_batch=batch)["refused"]
            if each["batch"] == batch
        ]
    words = [*whys, *([] if text is not None else [UNREADABLE])]
    parts = (
        Section(say("Why it was refused"), items=tuple(words), wide=True, warn=True),
        form(
            say("Correct the file"),
            f"/feeds/refused/{batch}",
            fields,
            BUTTONS,
            **MENDING,
        ),
    )
    return View(
        "feeds",
        Page(
            say("Refused file {name}", name=name),
            f"quarantine/b{batch:06d}.{name}",
            parts,
            links=((say("all feeds"), "/feeds"),),
        ),
    )
