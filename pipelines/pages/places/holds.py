"""The page of holds, and every decision about one."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
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
from pipelines.pages.again import page_of
from pipelines.pages.forms import Mistakes, Sent, begun, check, choice, field, form
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Refused, Web, go
from pipelines.plant.works import Plant
from pipelines.reports.all_reports import ALL_REPORTS
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.holds import decisions_sheet, held_sheet
from pipelines.reports.trace.plan import plans_sheet
from pipelines.words import joined, say, sentence_of, worded
from schemas.answers.holds import HeldPallet

DECISIONS = {"confirm": "decide", "dismiss": "decide", "release": "decide", "scrap": "decide", "extend": "place"}
KEYS = {"confirm": "decide-about-the-proposal", "release": "release-or-scrap", "extend": "extend"}
KEYS |= {"dismiss": KEYS["confirm"], "scrap": KEYS["release"]}
CHECKS = {"proposal": KEYS["confirm"], "held": KEYS["release"]}  # what decides nothing yet
_WORDS = {
    "confirm": say("Confirm: hold these pallets"),
    "dismiss": say("Dismiss: do not hold them"),
    "release": say("Release them"),
    "scrap": say("Scrap them: give them to cullet"),
    "extend": say("Extend: hold more pallets"),
}
Why = Annotated[str, Form(max_length=1000)]
Token = Annotated[str, Form(max_length=400)]
PLACE, PLAN = "place-a-hold", "what-to-look-at-before-release"


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()
    web.forms["POST", "/holds"] = lambda request, sent: (page_of(web, request, PageQuestion(("holds",), _all)), PLACE)
    web.forms["POST", "/holds/{name}"] = partial(_stands, web)
    web.forms["GET", "/holds/{name}"] = lambda request, sent: (_stands(web, request, sent)[0], PLAN)
    _reading(routes, web)
    _deciding(routes, web)
    return routes


def _reading(routes: APIRouter, web: Web) -> None:
    @routes.get("/holds")
    def holds(
        request: Request,
        pallets: Annotated[str, Query(max_length=2000)] = "",
        why: Annotated[str, Query(max_length=1000)] = "",
        evidence: Annotated[str, Query(max_length=1000)] = "",
    ) -> Response:
        """What is held, why, since when, by whom; first what was given out all the same. With pallets, why or evidence
        in the address the form begins with them.
        """
        in_hand = {"pallets": [pallets], "why": [why], "evidence": [evidence]}
        if not (pallets or why or evidence):
            return web.show(request, PageQuestion(("holds",), _all))
        web.must_read(request)
        view = page_of(web, request, PageQuestion(("holds",), _all))
        return web.show_own(request, begun(view, PLACE, in_hand))

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
            return _one(reader, plant, _known(reader, name), severity, past, bool(steady))

        return web.show(request, PageQuestion(("hold", name, severity, past, steady), make))


def _stands(web: Web, request: Request, sent: Sent) -> tuple[View, str]:
    """Which form of a hold's page sent this, by the button that was pressed."""
    name, action = request.path_params["name"], next(iter(sent.get("action", ())), "")
    look = next(iter(sent.get("look", ())), "")

    def make(reader: Reader, plant: Plant) -> View:
        return _one(reader, plant, _known(reader, name), "", "", False)

    view = page_of(web, request, PageQuestion(("hold", name, "", "", 0), make))
    return view, CHECKS.get(look) or KEYS.get(action, "")


def _known(reader: Reader, name: str) -> Hold:
    holds = all_holds(reader)
    if name not in holds:
        raise Refused(404, say("there is no hold '{name}'; see the page of holds", name=name[:40]))
    return holds[name]


def _said(pallets: list[str], why: str, evidence: str, of: str) -> None:
    """Mistakes where something is not said that every decision rests on."""
    said = {
        of: "" if pallets else say("say which pallets: tick them, or write their numbers"),
        "why": "" if why.strip() else say("A hold is decided for a reason: say why."),
        "evidence": "" if evidence.strip() else say("A hold is decided on evidence: say which."),
    }
    if any(said.values()):
        raise Mistakes({name: text for name, text in said.items() if text})


def _decided(
    web: Web, request: Request, action: str, name: str | None, pallets: list[str], by: str, why: str, evidence: str
) -> Response:
    of = {"place": "pallets", "extend": "more"}.get(action, "pallet")
    _said(pallets, why, evidence, of)
    try:
        decision = decide(web.desk.opened, action, name, pallets, by, why, evidence)
    except WrongUse as error:
        raise Mistakes({of: sentence_of(error)}) from None
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
        look: Annotated[str, Form(max_length=20)] = "",
        form_token: Token = "",
    ) -> Response:
        """Confirm, dismiss, extend, release or scrap."""
        if look in CHECKS:
            web.acting(request, form_token, "decide", f"look at {name}")
            _said(pallet, why, evidence, "pallet")
            raise Mistakes({})
        if action not in DECISIONS:
            web.acting(request, form_token, "place", f"{action} of {name}")
            raise WrongUse(say("a decision about a hold is one of {decisions}", decisions=joined(", ", DECISIONS)))
        person = web.acting(request, form_token, DECISIONS[action], f"{action} of {name}")
        chosen = more.replace(",", " ").split() if action == "extend" else pallet
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
    for pallets, actions, title, harmless in (
        (waiting, ("confirm", "dismiss"), say("Decide about the proposal"), "proposal"),
        (held, ("release", "scrap"), say("Release or scrap"), "held"),
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
                    careful=actions,
                    harmless=harmless,
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
        raise Mistakes({"past": say("lots inspected before are told as a row of + and -, such as ++-+")})
    state, plans = plans_of_hold(reader, plant, hold.name, severity, [mark == "+" for mark in past], steady)
    words = say(
        "Inspection that the switching rules call for: {state}. ISO 2859-1 single sampling; the plan "
        "advises, an authorised person releases.",
        state=worded(state),
    )
    parts.append(Section(say("The plan"), (words,), sheet=plans_sheet(plans, state)))
    return parts
