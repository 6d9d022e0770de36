"""The re-inspection plan of a trace: samples by ISO 2859-1 with their operating characteristic, or the whole lot for
what is critical.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.measures.holds.sampling import quality_at
from pipelines.numbers import count, marks, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import CSV, TERMINAL, Column, Sheet
from pipelines.words import say, worded
from schemas.answers.trace import SamplingPlan, Trace

RULES = say(
    "Begin with normal inspection. Normal to tightened: two of five or fewer consecutive lots not "
    "accepted at original inspection. Tightened to normal: five consecutive lots accepted. Normal to "
    "reduced: switching score of 30, steady production, and the responsible authority wants it. Reduced "
    "to normal: a lot not accepted, or production irregular. Sampling stops after five lots not accepted "
    "under tightened inspection, until the cause is removed (ISO 2859-1:1999, 9.3 and 9.4)."
)
LOT = say(
    "The plan takes the pallets of the shortest list as one lot and draws from all of them at random. It "
    "was made for a continuing series of lots: for a single one read its protection off the curve. Lots "
    "submitted again are inspected under normal or tightened inspection, and for which defects, as the "
    "responsible authority decides."
)


def _all_of_it(trace: Trace) -> Section:
    text = say("A sample cannot clear a critical defect.")
    lot = (
        say("Shortest list: {units} containers to sort whole or to scrap.", units=count(trace.proposed.units))
        if trace.proposed
        else ""
    )
    return Section(
        say("Re-inspection: all of it"),
        items=tuple(
            t for t in (text, lot, say("Sort by hand or machine only with the protection the works prescribes.")) if t
        ),
        warn=True,
        wide=True,
    )


def plan_section(plant: Plant, trace: Trace) -> Section:
    """What to look at before anything of the held ware is released."""
    from pipelines.reports.frame import charts

    if trace.severity == "critical":
        return _all_of_it(trace)
    if not trace.plans:
        return Section(
            say("Re-inspection"),
            items=(
                say(
                    "Without a defect there is no severity, and without a severity no plan. Name the defect, "
                    "or sort all of it."
                ),
            ),
            wide=True,
        )
    curves = [
        {
            "plan": say(
                "{inspection}: {n}, accept up to {ac}", inspection=worded(plan.inspection), n=plan.n, ac=plan.ac
            ),
            "share": 100 * share,
            "accepted": 100 * accepted,
        }
        for plan in trace.plans
        for share, accepted in plan.curve
    ]
    first = trace.plans[0]
    risk = percent(quality_at(first.n, first.ac, 0.10))
    words = say(
        "How often a lot is accepted, by its share nonconforming; AQL {aql} % dashed. Normal inspection: in 10 % of "
        "lots still accepted with {risk} nonconforming.",
        aql=_aql(first),
        risk=risk,
    )
    chart = charts.svg(charts.acceptance, words, curves, say("nonconforming, % of the lot"), limits=[{"at": first.aql}])
    title = say("Re-inspection plan (ISO 2859-1)")
    return Section(title, chart=chart, chart_words=words, sheet=_sheet(plant, trace), items=(LOT, RULES), wide=True)


PLAN_COLUMNS = (
    Column("inspection", say("Inspection")),
    Column("now", say("Now"), ways=TERMINAL + CSV),
    Column("letter", say("Code letter")),
    Column("lot", say("Lot"), "count"),
    Column("n", say("Sample"), "count", csv="sample"),
    Column("ac", say("Accept up to"), "count", csv="accept up to"),
    Column("re", say("Refuse from"), "count", csv="refuse from"),
    Column("aql", say("AQL %"), "number2"),
)


def plans_sheet(plans: Sequence[SamplingPlan], state: str) -> Sheet:
    """The plans for a lot; that of the inspection which the switching rules call for is marked."""
    rows = [{**plan.model_dump(exclude={"curve"}), "now": "yes" if plan.inspection == state else ""} for plan in plans]
    return Sheet("plan", say("The plan"), PLAN_COLUMNS, rows, strong=[n for n, row in enumerate(rows) if row["now"]])


def _aql(plan: SamplingPlan) -> str:
    return f"{plan.aql:g}".replace(".", marks()[0])


def _sheet(plant: Plant, trace: Trace) -> Sheet:
    rows = [
        {
            **plan.model_dump(exclude={"curve"}),
            "inspection": worded(plan.inspection),
            "p95": quality_at(plan.n, plan.ac, 0.95),
            "p10": quality_at(plan.n, plan.ac, 0.10),
            "whole": say("yes") if plan.whole_lot else "",
        }
        for plan in trace.plans
    ]
    columns = (
        *PLAN_COLUMNS,
        Column("p95", say("Accepted in 95 % at"), "percent"),
        Column("p10", say("Accepted in 10 % at"), "percent"),
        Column("whole", say("All of the lot")),
    )
    first = trace.plans[0]
    caption = say(
        "Single sampling, {severity}, AQL {aql} % nonconforming, level {level} ([sampling] in works.toml). Curve: "
        "binomial.",
        severity=worded(first.severity),
        aql=_aql(first),
        level=plant.sampling.level,
    )
    return Sheet("plan", say("Plan"), columns, rows, caption)
