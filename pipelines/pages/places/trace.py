"""The page of a trace: what the manager has in hand, the answer, the proposal of a hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from pipelines import typed
from pipelines.answers.trace.answer import Question, answer_trace
from pipelines.errors import WrongUse
from pipelines.jobs.holds import propose
from pipelines.jobs.traces import write_trace
from pipelines.ledger import Reader
from pipelines.local_times import is_plain, local_moment
from pipelines.numbers import count
from pipelines.pages.again import page_of
from pipelines.pages.forms import Mistakes, choice, field, form
from pipelines.pages.forms import moment as moment_field
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.times_asked import moment, part_asked
from pipelines.pages.view import View
from pipelines.pages.web import Web, go
from pipelines.plant.tables import Defect
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page, Special
from pipelines.reports.trace.whereabouts import trace_title
from pipelines.words import defect_name, say, sentence_of
from schemas.answers.trace import Trace

NAMES = ("complaint", "item", "line", "mould", "defect", "pallet", "made_from", "made_to", "received")
MOST_COMPLAINTS = 20
Text = Annotated[str, Query(max_length=400)]


@dataclass(frozen=True)
class InHand:
    """What was filled in, as it was written."""

    given: tuple[tuple[str, str], ...]

    def __getattr__(self, name: str) -> str:
        return dict(self.given).get(name, "")

    @property
    def empty(self) -> bool:
        return not self.given

    @property
    def address(self) -> str:
        return f"/trace?{urlencode(self.given)}"


def in_hand(texts: dict[str, str]) -> InHand:
    return InHand(tuple((name, texts[name].strip()) for name in NAMES if texts.get(name, "").strip()))


def questions(web: Web, hand: InHand) -> tuple[Question, list[Question]]:
    """The question of each complaint, or the one question where there is none. WrongUse for times and days that are
    none.
    """
    complaints = [text for text in hand.complaint.replace(",", " ").split() if text]
    if len(complaints) > MOST_COMPLAINTS:
        text = say("at most {most_complaints} complaints are traced together", most_complaints=MOST_COMPLAINTS)
        raise Mistakes({"complaint": text})
    received = _day(web, hand.received) if hand.received else None
    ends = (hand.made_from or None, hand.made_to or None)
    made = part_asked(web, ends, ("made_from", "made_to"), "trace", (say("made from"), say("made until")))
    asked = Question(
        complaints[0] if complaints else None,
        hand.item or None,
        hand.line or None,
        hand.mould or None,
        hand.defect or None,
        hand.pallet or None,
        *made,
        received,
    )
    return asked, [replace(asked, complaint=complaint) for complaint in complaints[1:]]


def _day(web: Web, text: str) -> date:
    """A day, as an address has it or as people write it."""
    try:
        clock = web.desk.opened.plant.clock
        return typed.day(text) if is_plain(text) else clock.local(local_moment(text, clock, web.desk.now())).date()
    except WrongUse as error:
        raise Mistakes({"received": sentence_of(error)}) from None


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["GET", "/trace"] = lambda request, sent: (page_of(web, request, _empty(web)), "what-is-in-hand")
    _proposing(routes, web)

    @routes.get("/trace")
    def trace(
        request: Request,
        complaint: Text = "",
        item: Text = "",
        line: Text = "",
        mould: Text = "",
        defect: Text = "",
        pallet: Text = "",
        made_from: Text = "",
        made_to: Text = "",
        received: Text = "",
        customer: Annotated[int, Query(ge=0, le=1)] = 0,
    ) -> Response:
        """From what is in hand to cavities, evidence and pallets at risk; with `customer` the report that goes out."""
        hand = in_hand(
            dict(zip(NAMES, (complaint, item, line, mould, defect, pallet, made_from, made_to, received), strict=True))
        )
        if hand.empty:
            return web.show(request, _empty(web))
        asked, also = questions(web, hand)

        def make(reader: Reader, plant: Plant) -> View:
            try:
                answer = answer_trace(reader, plant, asked, also)
            except WrongUse as error:
                raise Mistakes({"complaint" if asked.complaint else "": sentence_of(error)}) from None
            return _customer(reader, plant, answer, hand) if customer else _answered(web, reader, plant, answer, hand)

        return web.show(request, PageQuestion(("trace", hand.given, customer), make))

    return routes


def _empty(web: Web) -> PageQuestion:
    """The page that asks what is in hand."""
    return PageQuestion(("trace",), lambda reader, plant: _asking(web, reader, plant, InHand(())))


def _proposing(routes: APIRouter, web: Web) -> None:
    @routes.post("/trace/propose")
    def propose_hold(
        request: Request,
        which: Annotated[str, Form(max_length=10)] = "",
        question: Annotated[str, Form(max_length=2000)] = "",
        form_token: Annotated[str, Form(max_length=400)] = "",
    ) -> Response:
        """Propose a hold on what a trace lists; it holds nothing until a person confirms it."""
        person = web.acting(request, form_token, "place", f"propose after a trace of {question[:200]}")
        if which not in ("fewest", "all"):
            raise WrongUse(say("a hold is proposed on the fewest pallets or on all that are possible"))
        return _propose(web, request, person.name, which, question)


def _propose(web: Web, request: Request, by: str, which: str, question: str) -> Response:
    from urllib.parse import parse_qsl

    hand = in_hand(dict(parse_qsl(question, max_num_fields=20)))
    if hand.empty:
        raise WrongUse(say("say what is in hand"))
    asked, also = questions(web, hand)
    opened = web.desk.opened
    with opened.ledger.reading() as reader:
        trace = answer_trace(reader, web.desk.plant, asked, also)
    path, _ = write_trace(opened, trace)
    decision = propose(opened, trace, which == "all", path)
    web.note(by, "propose", decision.hold, f"{len(decision.pallets)} pallets after a trace of {trace_title(trace)}")
    web.desk.wrote()
    web.say_next(
        request,
        web.texts(request).say(
            say(
                "{hold}: {count} pallets proposed. Nobody holds them until an authorised person confirms.",
                hold=decision.hold,
                count=len(decision.pallets),
            )
        ),
    )
    return go(f"/holds/{decision.hold}")


def _complaints(reader: Reader) -> list[str]:
    return [
        str(each) for each in reader.current("complaints").sort("received_on", descending=True)["complaint"].head(200)
    ]


def _choice(key: str, each: Any) -> str:
    """A code with its name, where it has one."""
    if isinstance(each, Defect):
        return say("{code} {name}", code=key, name=defect_name(each.name))
    return f"{key} {getattr(each, 'name', '')}".strip()


def _local(web: Web, text: str) -> str:
    """A time of the address as the works' clock shows it; one that only an offset tells apart stays as it is."""
    clock = web.desk.opened.plant.clock
    found = moment(web, text)
    shown = clock.typed(found) if found is not None else ""
    try:
        return shown if moment(web, shown) == found else text
    except Mistakes:
        return text


def _fields(web: Web, reader: Reader, plant: Plant, hand: InHand) -> list[dict[str, Any]]:
    def some(name: str, label: str, of: dict[str, Any]) -> dict[str, Any]:
        return choice(
            name,
            label,
            [("", "–"), *((key, _choice(key, each)) for key, each in of.items())],
            getattr(hand, name),
        )

    return [
        field(
            "complaint",
            say("Complaint"),
            hand.complaint,
            choices=_complaints(reader),
            hint=say("its number; several of one defect with blanks between are traced together"),
        ),
        field("pallet", say("Pallet"), hand.pallet, hint=say("the number on its label")),
        some("item", say("Item"), plant.items),
        field("mould", say("Mould number on the container"), hand.mould, most=64),
        some("defect", say("Defect"), plant.defects),
        some("line", say("Line"), plant.lines),
        moment_field(
            "made_from",
            say("Made from"),
            _local(web, hand.made_from),
            plant,
            say("forming time by the customer's code or label"),
        ),
        moment_field("made_to", say("Made until"), _local(web, hand.made_to), plant),
        field("received", say("The customer had it by"), hand.received, kind="date"),
    ]


def _ask_form(web: Web, reader: Reader, plant: Plant, hand: InHand) -> Special:
    texts = (
        say(
            "Fill in what is in hand and leave the rest: a complaint's number alone is enough, and so is a "
            "pallet, a mould number or an item with a time."
        ),
    )
    return form(
        say("What is in hand"),
        "/trace",
        _fields(web, reader, plant, hand),
        (("", say("Trace")),),
        texts=texts,
        method="get",
        wide=True,
    )


def _asking(web: Web, reader: Reader, plant: Plant, hand: InHand) -> View:
    return View(
        "trace",
        Page(
            say("Trace"),
            say("from what is in hand to cavity, evidence and pallets"),
            (_ask_form(web, reader, plant, hand),),
        ),
    )


def _answered(web: Web, reader: Reader, plant: Plant, trace: Trace, hand: InHand) -> View:
    page = ALL_REPORTS["trace"].page(reader, plant, trace)
    outer = f"{hand.address}&customer=1"
    parts: list[Any] = [
        Special("print", say("On paper"), {"links": ((say("the report for the customer"), outer),)}, wide=False)
    ]
    if trace.proposed is not None and trace.proposed.pallets:
        parts.append(_proposal(trace, hand))
    again = replace(_ask_form(web, reader, plant, hand), folded=say("Ask with more or other things in hand"))
    sections = (*page.sections[:2], *parts, *page.sections[2:], again)
    return View("trace", replace(page, sections=sections, links=()))


def _proposal(trace: Trace, hand: InHand) -> Special:
    fewest, everything = trace.proposed, trace.possible
    assert fewest is not None
    texts = [
        say(
            "A proposal holds nothing: an authorised person confirms or dismisses it on the page of holds, "
            "and the warehouse must be told."
        )
    ]
    buttons = [
        (
            "fewest",
            say(
                "Propose the shortest list: {pallets} pallets, {units} containers",
                pallets=count(len(fewest.pallets)),
                units=count(fewest.units),
            ),
        )
    ]
    if everything is not None and everything.pallets and everything.pallets != fewest.pallets:
        buttons.append(
            (
                "all",
                say(
                    "Propose everything possible: {pallets} pallets, {units} containers",
                    pallets=count(len(everything.pallets)),
                    units=count(everything.units),
                ),
            )
        )
    return form(
        say("Propose a hold"),
        "/trace/propose",
        (),
        buttons,
        act="place",
        texts=texts,
        hidden=(("question", urlencode(hand.given)),),
        button_name="which",
    )


def _customer(reader: Reader, plant: Plant, trace: Trace, hand: InHand) -> View:
    page = ALL_REPORTS["trace for the customer"].page(reader, plant, trace)
    sections = (
        Special("print", say("On paper"), {"links": ((say("the trace itself"), hand.address),)}, wide=False),
        *page.sections,
    )
    return View("trace", replace(page, sections=sections, links=((say("the trace itself"), hand.address),)))
