"""The report of a trace for the customer: its window, the pallets that were decided on, what to do with each; no rates
of the works' own.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.answers.holds import answer_holds
from pipelines.cautions import GLASS, PAGE_CAUTION
from pipelines.ledger.reader import Reader
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.trace.report import trace_name
from pipelines.reports.trace.tables import packed_words
from pipelines.reports.trace.whereabouts import NAMES, OUT, is_gone, left_known, trace_title
from pipelines.words import defect_name, say, say_n, worded
from schemas.answers.holds import HeldPallet
from schemas.answers.trace import Trace, TracedPallet

SIGNED = say("Released to the customer by (name, date, signature): ________________________________")
HANDLE = say("Please handle the ware with care: it can be cracked or broken. Do with each pallet what its row says.")
KEEP = say("Keep it apart and unopened until you hear from us.")
NOTHING = say("Nothing to do: it is at our works.")
HELD = say("held")


@dataclass(frozen=True)
class Decided:
    """A pallet that was decided on: what was decided, and what the customer is asked to do."""

    pallet: TracedPallet
    decision: str
    to_do: str
    away: bool


def customer_address(trace: Trace) -> str:
    return f"trace/{trace_name(trace)}-customer.html"


def customer_page(reader: Reader, plant: Plant, trace: Trace) -> Page:
    """The outer version: a draft until an authorised person of the works signs it."""
    decided, open_ones = decided_pallets(plant, trace, answer_holds(reader, everything=True))
    return Page(
        title=say("Report on {what}", what=trace_title(trace)),
        when=say("Draft for the customer: not an answer of the works until an authorised person has signed it"),
        figures=_figures(decided, open_ones),
        sections=tuple(_sections(plant, trace, decided, open_ones)),
        links=(),
        cautions=(HANDLE, GLASS, PAGE_CAUTION),
        sources=(),
        made=say(
            "Times are the works' local times. What is given to 95 % holds in 95 of 100 such cases. The "
            "works keeps the evidence behind it, row by row, in its own file of this trace."
        ),
        workbook=customer_address(trace).rsplit("/", 1)[1].replace(".html", ".xlsx") if decided else "",
    )


def decided_pallets(plant: Plant, trace: Trace, holds: list[HeldPallet]) -> tuple[list[Decided], list[TracedPallet]]:
    """The pallets of a trace on which somebody of the works decided, and those on the hold list on which nobody has
    yet.

    A proposal is no decision. Where several holds name a pallet the gravest stands: held, then scrapped, then released.
    """
    states = {name: [h.state for h in holds if h.pallet == name] for name in {h.pallet for h in holds}}
    decided, open_ones = [], []
    for pallet in trace.pallets:
        known = states.get(pallet.pallet, [])
        if pallet.state in ("held", "resort"):
            known = [*known, "held"]
        state = next(
            (s for s in ("held", "scrapped", "released") if s in known), "scrapped" if pallet.state in OUT else None
        )
        if state is not None:
            decided.append(_decided(plant, pallet, state))
        elif pallet.proposed:
            open_ones.append(pallet)
    return decided, open_ones


def _decided(plant: Plant, pallet: TracedPallet, state: str) -> Decided:
    gone = is_gone(plant, pallet)
    if state == "scrapped":
        return Decided(pallet, say("scrapped"), say("Nothing to do: it carries no ware any more."), False)
    if state == "released":
        return Decided(pallet, say("looked at and released again"), say("Nothing to do."), gone is not False)
    if gone is None:
        return Decided(
            pallet,
            HELD,
            say("It may have reached you. If so: keep it apart and unopened until you hear from us."),
            True,
        )
    return Decided(pallet, HELD, KEEP, True) if gone else Decided(pallet, HELD, NOTHING, False)


def _figures(decided: list[Decided], open_ones: list[TracedPallet]) -> tuple[Figure, ...]:
    apart = [d for d in decided if d.decision == HELD and d.away]
    here = [d for d in decided if d.decision == HELD and not d.away]
    waits = Figure(
        count(len(open_ones)),
        say("pallets not decided yet"),
        say("not ready to send: decide on them first"),
        "critical",
    )
    return (
        Figure(
            count(len(apart)),
            say("pallets to keep apart"),
            say(
                "{units} containers, of which {mine} come from the moulds in question",
                units=count(sum(d.pallet.units for d in apart)),
                mine=count(sum(d.pallet.mould_units for d in apart)),
            ),
            "critical" if apart else "",
        ),
        Figure(
            count(len(here)),
            say("pallets held at the works"),
            say("{count} containers", count=count(sum(d.pallet.units for d in here))),
        ),
        *((waits,) if open_ones else ()),
    )


def _sections(plant: Plant, trace: Trace, decided: list[Decided], open_ones: list[TracedPallet]) -> list[Section]:
    sections = [
        Section(say("What we were told"), items=_told(plant, trace)),
        Section(say("What we found"), items=_found(plant, trace)),
        Section(say("What this report covers"), items=_covers(plant, trace), wide=True),
    ]
    if open_ones:
        words = say_n(
            "Nobody has decided on {n} pallet of the hold list. It is not named here; decide, then make this report "
            "again.",
            "Nobody has decided on {n} pallets of the hold list. They are not named here; decide, then make this "
            "report again.",
            len(open_ones),
        )
        sections.append(Section(say("Not ready to send"), items=(words,), warn=True, wide=True))
    if decided:
        sections.append(Section(say("Pallets, as decided"), sheet=_sheet(plant, decided), wide=True))
    else:
        none = say("No pallet has been decided on yet.")
        sections.append(Section(say("Pallets, as decided"), items=(none,), wide=True))
    sections.append(Section(say("What is not known"), items=_unknown(plant, trace, decided), wide=True))
    sections.append(Section(say("What happens next"), items=_next(trace), wide=True))
    return sections


def _item(name: str, text: str) -> str:
    return say("{what}: {name}", what=NAMES[name], name=text)


def _told(plant: Plant, trace: Trace) -> tuple[str, ...]:
    asked = trace.asked
    items = [_item("complaint", ", ".join(trace.complaints))] if trace.complaints else []
    if asked.get("item"):
        item = plant.items.get(asked["item"])
        items.append(_item("item", f"{asked['item']}, {item.name}" if item else asked["item"]))
    if asked.get("defect") in plant.defects:
        defect = plant.defects[asked["defect"]]
        items.append(
            say(
                "what was found: {defect}, which we class as {severity}",
                defect=defect_name(defect.name),
                severity=worded(defect.severity),
            )
        )
    items += [_item(name, asked[name]) for name in ("mould", "pallet", "received") if asked.get(name)]
    return tuple(items) or (say("no particulars"),)


def _found(plant: Plant, trace: Trace) -> tuple[str, ...]:
    if not trace.cavities or trace.formed_from is None or trace.formed_to is None:
        return (say("What we were told does not fit our records; we ask for the particulars below."),)
    first = trace.cavities[0]
    sure = ""
    if trace.uncounted:
        sure = say(
            ", if it was of the ware that we have counts of: for {share}% of the time in which its pallet was filled "
            "we have none",
            share=decimals(100 * trace.uncounted),
        )
    elif trace.asked.get("pallet"):
        sure = " (95 %)"
    whose = (
        say("in mould {mould} on line {line}", mould=first.mould, line=first.line)
        if trace.asked.get("mould")
        else say("on line {line}, in a mould that we cannot name with certainty", line=first.line)
    )
    return (
        say(
            "The container was formed between {start} and {end}{sure}, {whose}.",
            start=plant.clock.show(trace.formed_from),
            end=plant.clock.show(trace.formed_to),
            sure=sure,
            whose=whose,
        ),
    )


def _covers(plant: Plant, trace: Trace) -> tuple[str, ...]:
    """The window that was looked at, and nothing of what was not."""
    if trace.formed_from is None or trace.formed_to is None or not trace.pallets:
        return (say("No ware of our records was looked at."),)
    start, end = trace.formed_from, trace.formed_to
    if trace.fault_from is not None and trace.fault_to is not None:
        start, end = min(start, trace.fault_from), max(end, trace.fault_to)
    lines = sorted({p.line for p in trace.pallets})
    first, last = min(p.packed_from for p in trace.pallets), max(p.packed_to for p in trace.pallets)
    return (
        say(
            "Ware formed from {start} to {end} on line {lines}.",
            start=plant.clock.show(start),
            end=plant.clock.show(end),
            lines=", ".join(lines),
        ),
        say("It was packed from {start} to {end}.", start=plant.clock.show(first), end=plant.clock.show(last)),
        say("Ware of other times and other lines was not looked at for this report."),
    )


def _sheet(plant: Plant, decided: list[Decided]) -> Sheet:
    rows = [
        {
            "pallet": d.pallet.pallet,
            "item": d.pallet.item,
            "packed": packed_words(plant, d.pallet),
            "units": d.pallet.units,
            "mine": d.pallet.mould_units,
            "decision": d.decision,
            "todo": d.to_do,
        }
        for d in sorted(decided, key=lambda d: (d.decision != HELD, not d.away, d.pallet.packed_from, d.pallet.pallet))
    ]
    columns = (
        Column("pallet", say("Pallet"), "id"),
        Column("todo", say("What to do")),
        Column("decision", say("Decided")),
        Column("item", say("Item")),
        Column("packed", say("Packed"), "id"),
        Column("units", say("Units"), "count"),
        Column("mine", say("Of the moulds in question"), "count"),
    )
    caption = say(
        "Of the moulds in question: expected from the order in which ware was packed, of all containers on the pallet."
    )
    return Sheet("decided", say("Pallets"), columns, rows, caption)


def _unknown(plant: Plant, trace: Trace, decided: list[Decided]) -> tuple[str, ...]:
    items = [
        say(
            "How many containers with this fault are on these pallets is not stated here; at least one was "
            "found where a complaint names it."
        )
    ]
    if not left_known(plant) and any(d.away for d in decided):
        items.append(say("Which of these pallets have left our works is not known to this report."))
    if not trace.asked.get("mould"):
        items.append(
            say(
                "The mould number was not told to us. It stands in relief on the container; with it the list "
                "becomes shorter."
            )
        )
    if not trace.asked.get("pallet"):
        items.append(say("The pallet was not told to us. Its label names the hour of packing."))
    if trace.on_no_pallet and trace.on_no_pallet > 0.005:
        items.append(say("A part of the ware of that time lies on pallets that our records do not name yet."))
    return (*items, *(say("This does not fit our records: {text}.", text=text) for text in trace.impossible))


def _next(trace: Trace) -> tuple[str, ...]:
    critical = (
        say("Because of its kind, this fault is not cleared by a sample: the ware is sorted whole or scrapped.")
        if trace.severity == "critical"
        else say("Ware that is held is inspected again before anything of it is released.")
    )
    return (
        critical,
        say(
            "Which pallets are called back, sorted, replaced or released is decided by the authorised people "
            "of the works, with you."
        ),
        SIGNED,
    )
