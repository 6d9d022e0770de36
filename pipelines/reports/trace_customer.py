"""The report of a trace for the customer: what was made when, which pallets, what is asked; no rates of the works' own."""

from __future__ import annotations

from pipelines.cautions import GLASS, PAGE_CAUTION
from pipelines.ledger.store import Reader
from pipelines.plant import Plant
from pipelines.reports.common import count, stretch
from pipelines.reports.page import Figure, Page, Section
from pipelines.reports.sheet import Column, Sheet
from pipelines.reports.trace import trace_name
from schemas.quality import Trace

QUERIES = ("complaint", "pallet", "mould_spans_of_line", "pallets_of_line", "hold_events_all")
SIGNED = "Released to the customer by (name, date, signature): ________________________________"
HANDLE = "Please handle the ware with care: it can be cracked or broken. Keep the pallets named in this report apart and unopened until you hear from us."


def customer_address(told: Trace) -> str:
    return f"trace/{trace_name(told)}-customer.html"


def customer_page(reader: Reader, plant: Plant, told: Trace) -> Page:
    """The outer version: a draft until an authorised person of the works signs it."""
    return Page(
        works=plant.works.name,
        title=f"Report on {told.title}",
        when="Draft for the customer: not an answer of the works until an authorised person has signed it",
        figures=_figures(plant, told),
        sections=tuple(_sections(plant, told)),
        links=(),
        cautions=(HANDLE, GLASS, PAGE_CAUTION),
        sources=(),
        made="Times are the works' local times. What is given to 95 % holds in 95 of 100 such cases. The works keeps the evidence behind it, row by row, in its own file of this trace.",
        workbook=customer_address(told).rsplit("/", 1)[1].replace(".html", ".xlsx") if told.pallets else "",
    )


def _figures(plant: Plant, told: Trace) -> tuple[Figure, ...]:
    gone = [p for p in told.pallets if p.gone]
    here = [p for p in told.pallets if not p.gone and p.state != "scrapped"]
    return (
        Figure(
            count(len(gone)),
            "pallets to set aside",
            f"{count(sum(p.units for p in gone))} containers, of which {count(sum(p.mould_units for p in gone))} come from the moulds in question",
            "critical",
        ),
        Figure(
            count(len(here)),
            "further pallets at the works",
            f"{count(sum(p.units for p in here))} containers that have not left it",
        ),
    )


def _sections(plant: Plant, told: Trace) -> list[Section]:
    sections = [
        Section("What we were told", items=_told(plant, told)),
        Section("What we found", items=_found(plant, told)),
    ]
    if any(p.gone for p in told.pallets):
        sections.append(Section("Pallets released from the works", sheet=_sheet(plant, told, True, "gone"), wide=True))
    if any(not p.gone for p in told.pallets):
        sections.append(Section("Pallets still at the works", sheet=_sheet(plant, told, False, "here"), wide=True))
    sections.append(Section("What is not known", items=_unknown(told), wide=True))
    sections.append(Section("What happens next", items=_next(told), wide=True))
    return sections


def _told(plant: Plant, told: Trace) -> tuple[str, ...]:
    asked = told.asked
    items = [f"complaint: {', '.join(told.complaints)}"] if told.complaints else []
    if asked.get("item"):
        items.append(
            f"item: {asked['item']}, {plant.items[asked['item']].name}"
            if asked["item"] in plant.items
            else f"item: {asked['item']}"
        )
    if asked.get("defect") in plant.defects:
        defect = plant.defects[asked["defect"]]
        items.append(f"what was found: {defect.name}, which we class as {defect.severity}")
    items += [f"{name}: {asked[name]}" for name in ("mould", "pallet", "received") if asked.get(name)]
    return tuple(items) or ("no particulars",)


def _found(plant: Plant, told: Trace) -> tuple[str, ...]:
    if not told.cavities or told.formed_from is None or told.formed_to is None:
        return ("What we were told does not fit our records; we ask for the particulars below.",)
    first = told.cavities[0]
    window = f"formed between {plant.clock.show(told.formed_from)} and {plant.clock.show(told.formed_to)}"
    if told.asked.get("pallet"):
        window += " (95 %)"
    whose = (
        f"in mould {first.mould} on line {first.line}"
        if told.asked.get("mould")
        else f"on line {first.line}, in a mould that we cannot name with certainty"
    )
    return (
        f"The container was {window}, {whose}.",
        f"{len(told.pallets)} pallets can carry containers of the same origin; they are listed below.",
    )


def _sheet(plant: Plant, told: Trace, gone: bool, name: str) -> Sheet:
    rows = [
        {"pallet": p.pallet, "item": p.item, "packed": stretch(plant, p.packed_from, p.packed_to), "units": p.units, "mine": p.mould_units, "state": "held" if p.hold or p.holds else p.state}
        for p in told.pallets if p.gone == gone
    ]  # fmt: skip
    columns = (
        Column("pallet", "Pallet", "id"), Column("item", "Item"), Column("packed", "Packed", "id"), Column("units", "Containers", "count"),
        Column("mine", "Of the moulds in question", "count"), Column("state", "State"),
    )  # fmt: skip
    caption = "Containers of the moulds in question: expected from the order in which ware was packed, of all containers on the pallet."
    return Sheet(name, "Pallets released" if gone else "Pallets here", columns, rows, caption)


def _unknown(told: Trace) -> tuple[str, ...]:
    items = [
        "How many containers with this fault are on these pallets is not stated here; at least one was found where a complaint names it."
    ]
    if not told.asked.get("mould"):
        items.append(
            "The mould number was not told to us. It stands in relief on the container; with it the list becomes shorter."
        )
    if not told.asked.get("pallet"):
        items.append("The pallet was not told to us. Its label names the hour of packing.")
    if told.on_no_pallet and told.on_no_pallet > 0.005:
        items.append("A part of the ware of that time lies on pallets that our records do not name yet.")
    return (*items, *(f"This does not fit our records: {text}." for text in told.impossible))


def _next(told: Trace) -> tuple[str, ...]:
    critical = (
        "Because of its kind, this fault is not cleared by a sample: the ware is sorted whole or scrapped."
        if told.severity == "critical"
        else "Ware that is held is inspected again before anything of it is released."
    )
    return (
        critical,
        "Which pallets are called back, sorted, replaced or released is decided by the authorised people of the works, with you.",
        SIGNED,
    )
