"""The page of holds, and every decision about one."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from pipelines.answers.holds import all_holds, answer_holds, plans_of_hold
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.errors import WrongUse
from pipelines.jobs.holds import decide
from pipelines.ledger import Reader
from pipelines.measures.holds.decisions import HELD, PROPOSED, Hold
from pipelines.pages.forms import check, choice, field, form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.holds import decisions_sheet, held_sheet
from pipelines.reports.trace.plan import plans_sheet
from pipelines.words import joined, say, worded
from schemas.answers.holds import HeldPallet

DECISIONS = {"confirm": "decide", "dismiss": "decide", "release": "decide", "scrap": "decide", "extend": "place"}
_WORDS = {
    "confirm": say("Confirm: hold these pallets"),
    "dismiss": say("Dismiss: do not hold them"),
    "release": say("Release them"),
    "scrap": say("Scrap them: give them to cullet"),
    "extend": say("Extend: hold more pallets"),
}
Why = Annotated[str, Form(max_length=1000)]
Token = Annotated[str, Form(max_length=400)]


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    _reading(routes, web)
    _deciding(routes, web)
    return routes


def _reading(routes: APIRouter, web: Web) -> None:
    @routes.get("/holds")
    def holds(request: Request) -> Response:
        """What is held, why, since when, by whom; first what was given out all the same."""
        return web.show(request, PageQuestion(("holds",), _all))

    @routes.get("/holds.html")
    def old_address() -> Response:
        return go("/holds")

    @routes.get("/holds/{name}")
    def hold(
        request: Request,
        name: str,
        severity: Annotated[str, Query(max_length=10)] = "",
        past: Annotated[str, Query(max_length=200)] = "",
        steady: Annotated[int, Query(ge=0, le=1)] = 0,
    ) -> Response:
        """One hold: every decision, its pallets, the decisions that can be made, and what to look at before it is
        released.
        """

        def make(reader: Reader, plant: Plant) -> View:
            known = all_holds(reader)
            if name not in known:
                raise Refused(404, say("there is no hold '{name}'; see the page of holds", name=name[:40]))
            return _one(reader, plant, known[name], severity, past, bool(steady))

        return web.show(request, PageQuestion(("hold", name, severity, past, steady), make))


def _decided(
    web: Web, request: Request, action: str, name: str | None, pallets: list[str], by: str, why: str, evidence: str
) -> Response:
    decision = decide(web.desk.opened, action, name, pallets, by, why, evidence)
    web.note(by, action, decision.hold, f"{len(decision.pallets)} pallets: {', '.join(decision.pallets)}")
    web.desk.wrote()
    web.say_next(
        request,
        web.texts(request).say(
            say(
                "{hold}: decided for {count} pallets in your name. Tell the warehouse: this page moves nothing.",
                hold=decision.hold,
                count=len(decision.pallets),
            )
        ),
    )
    return go(f"/holds/{decision.hold}")


def _deciding(routes: APIRouter, web: Web) -> None:
    @routes.post("/holds")
    def place(
        request: Request,
        pallets: Annotated[str, Form(max_length=20000)] = "",
        why: Why = "",
        evidence: Why = "",
        form_token: Token = "",
    ) -> Response:
        """Place a new hold."""
        person = web.acting(request, form_token, "place", f"place a hold on {pallets[:200]}")
        return _decided(web, request, "place", None, pallets.replace(",", " ").split(), person.name, why, evidence)

    @routes.post("/holds/{name}")
    def act(
        request: Request,
        name: str,
        action: Annotated[str, Form(max_length=20)] = "",
        pallet: Annotated[list[str], Form()] = [],  # noqa: B006
        more: Annotated[str, Form(max_length=20000)] = "",
        why: Why = "",
        evidence: Why = "",
        form_token: Token = "",
    ) -> Response:
        """Confirm, dismiss, extend, release or scrap."""
        if action not in DECISIONS:
            web.acting(request, form_token, "place", f"{action} of {name}")
            raise WrongUse(say("a decision about a hold is one of {decisions}", decisions=joined(", ", DECISIONS)))
        person = web.acting(request, form_token, DECISIONS[action], f"{action} of {name}")
        chosen = more.replace(",", " ").split() if action == "extend" else pallet
        if not chosen:
            raise WrongUse(say("say which pallets: tick them, or write their numbers"))
        return _decided(web, request, action, name, chosen, person.name, why, evidence)


def _reasons() -> list[dict[str, Any]]:
    return [
        field("why", say("Why"), needed=True, most=1000),
        field(
            "evidence",
            say("On what evidence"),
            needed=True,
            most=1000,
            hint=say("a trace, a report, the count of a re-inspection"),
        ),
    ]


def _all(reader: Reader, plant: Plant) -> View:
    page = ALL_REPORTS["holds"].page(reader, plant)
    parts = []
    for part in page.sections:
        if isinstance(part, Section) and part.sheet is not None and "hold" in {c.name for c in part.sheet.shown()}:
            links = {(n, "hold"): f"/holds/{row['hold']}" for n, row in enumerate(part.sheet.rows) if row.get("hold")}
            part = replace(part, sheet=replace(part.sheet, links=links))
        parts.append(part)
    fields = [
        field(
            "pallets",
            say("Pallets"),
            kind="long",
            needed=True,
            most=20000,
            hint=say("their numbers, with blanks or line ends between"),
        ),
        *_reasons(),
    ]
    placing = form(
        say("Place a hold"),
        "/holds",
        fields,
        (("", say("Place the hold")),),
        act="place",
        texts=(say("It is decided in your name. The warehouse must be told: this page moves nothing."),),
    )
    return View("holds", replace(page, sections=(*parts, placing), links=()))


def _one(reader: Reader, plant: Plant, hold: Hold, severity: str, past: str, steady: bool) -> View:
    pallets = answer_holds(reader, True, hold.name)
    made = decisions_sheet(plant, say("Decisions"), hold.decisions[::-1], without=("hold",))
    parts: list[Any] = [
        Section(
            say("Its pallets"),
            sheet=held_sheet(plant, "pallets", say("Its pallets"), pallets, without=("hold", "by", "why")),
            wide=True,
            warn=any(h.disagrees for h in pallets),
        ),
        *_decision_forms(hold, pallets),
        Section(say("Every decision, the newest first"), sheet=made, wide=True),
        *_plan(reader, plant, hold, pallets, severity, past, steady),
    ]
    states = [worded(state) for state in sorted({h.state for h in pallets})]
    return View(
        "holds",
        Page(
            say("Hold {name}", name=hold.name),
            say("{pallets} pallets: {states}", pallets=len(pallets), states=joined(", ", states)),
            tuple(parts),
            cautions=(CAUTION, GLASS),
            links=((say("all holds"), "/holds"),),
        ),
    )


def _decision_forms(hold: Hold, these_pallets: list[HeldPallet]) -> list[Any]:
    forms = []
    waiting, held = (
        [h.pallet for h in these_pallets if h.state == PROPOSED],
        [h.pallet for h in these_pallets if h.state == HELD],
    )
    for pallets, actions, title in (
        (waiting, ("confirm", "dismiss"), say("Decide about the proposal")),
        (held, ("release", "scrap"), say("Release or scrap")),
    ):
        if pallets:
            ticks = [check("pallet", pallet, pallet, on=title.startswith("Decide")) for pallet in pallets]
            forms.append(
                form(
                    title,
                    f"/holds/{hold.name}",
                    [*ticks, *_reasons()],
                    [(a, _WORDS[a]) for a in actions],
                    act="decide",
                    button_name="action",
                )
            )
    fields = [field("more", say("More pallets"), kind="long", needed=True, most=20000), *_reasons()]
    forms.append(
        form(
            say("Extend"),
            f"/holds/{hold.name}",
            fields,
            (("extend", _WORDS["extend"]),),
            act="place",
            button_name="action",
        )
    )
    return forms


_STEADY = say("production is steady and the responsible authority wants reduced inspection")


def _plan(
    reader: Reader, plant: Plant, hold: Hold, pallets: list[HeldPallet], severity: str, past: str, steady: bool
) -> list[Any]:
    if not any(h.state == HELD for h in pallets):
        return []
    fields = [
        choice(
            "severity",
            say("Severity of the defect"),
            [(each, worded(each)) for each in ("major", "minor", "critical")],
            severity or "major",
        ),
        field(
            "past",
            say("Lots of this kind inspected before"),
            past,
            hint=say("the oldest first: + accepted, - not accepted"),
        ),
        check("steady", _STEADY, "1", steady),
    ]
    parts: list[Any] = [
        form(
            say("What to look at before release"),
            f"/holds/{hold.name}",
            fields,
            (("", say("Show the plan")),),
            method="get",
        )
    ]
    if not severity:
        return parts
    if set(past) - {"+", "-"}:
        raise WrongUse(say("lots inspected before are told as a row of + and -, such as ++-+"))
    state, plans = plans_of_hold(reader, plant, hold.name, severity, [mark == "+" for mark in past], steady)
    words = say(
        "Inspection that the switching rules call for: {state}. ISO 2859-1 single sampling; the plan "
        "advises, an authorised person releases.",
        state=worded(state),
    )
    parts.append(Section(say("The plan"), (words,), sheet=plans_sheet(plans, state)))
    return parts
