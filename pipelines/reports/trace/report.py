"""The report of a trace for the file: what to do first, the cavities, the evidence, the pallets, the plan, what is not
known.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from pipelines.cautions import FOOD
from pipelines.clock import Span, parse_timestamp
from pipelines.ledger.reader import Reader
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.trace.evidence import evidence_sections
from pipelines.reports.trace.plan import plan_section
from pipelines.reports.trace.tables import cavity_sheet, few, list_sheet, pallet_sheet, stay_words, whole_range
from pipelines.reports.trace.whereabouts import NAMES, OUT, left_known, named, trace_title, whereabouts
from pipelines.words import joined, say, say_n
from schemas.answers.trace import Trace

CRITICAL = say(
    "The defect is critical: what is held is sorted whole or scrapped, as the works' quality system decides. It is not "
    "sampled away."
)


def trace_address(trace: Trace) -> str:
    """The page of a trace: the complaint's number, else what was asked, in short."""
    return f"trace/{trace_name(trace)}.html"


def trace_name(trace: Trace) -> str:
    name = (
        "+".join(trace.complaints) or hashlib.sha256(json.dumps(trace.asked, sort_keys=True).encode()).hexdigest()[:12]
    )
    return "".join(c if c.isalnum() or c in "-_+" else "_" for c in name)


def trace_page(reader: Reader, plant: Plant, trace: Trace) -> Page:
    """The page of a trace already answered, for the works' own file."""
    return Page(
        title=say("Trace of {what}", what=trace_title(trace)),
        when=_when(plant, trace),
        figures=_figures(plant, trace),
        sections=tuple(section for section in _sections(plant, trace) if section is not None),
        links=(
            (say("all pages"), "../index.html"),
            (say("the report for the customer"), f"{trace_name(trace)}-customer.html"),
        ),
        cautions=(FOOD, CAUTION, GLASS),
        sources=(queries_words(trace.queries), *_files(trace)),
        made=(
            say(
                "Expected defective = the defect's rate at the cavity x its ware on the pallet x the share "
                "that gets past all stations; for a steady rate that is found x (1 - d) / d, d the detection "
                "rate by challenge passes. The interval is of whole containers and holds at least 95 %: it "
                "joins what is not known of rate and detection with chance."
            )
        ),
        workbook=trace_address(trace).rsplit("/", 1)[1].replace(".html", ".xlsx"),
    )


def _when(plant: Plant, trace: Trace) -> str:
    if trace.formed_from is None or trace.formed_to is None:
        return say("when it was formed is not known")
    return say("formed {span}", span=span_words(plant, Span(trace.formed_from, trace.formed_to)))


def _files(trace: Trace) -> tuple[str, ...]:
    return tuple(
        say_n(
            "batch {batch}, {feed}: {n} row of archive/{file}",
            "batch {batch}, {feed}: {n} rows of archive/{file}",
            row["rows_used"],
            batch=row["batch"],
            feed=row["feed"],
            file=row["archived_as"],
        )
        for row in trace.evidence.get("files", [])[:60]
    )


def _figures(plant: Plant, trace: Trace) -> tuple[Figure, ...]:
    if not trace.cavities:
        return (
            Figure(
                say("none"), say("cavity fits"), say("what cannot be, and what is nearest, stands below"), "critical"
            ),
        )
    first = trace.cavities[0]
    likely = say(
        "mould {mould}, probability {probability}",
        mould=first.mould,
        probability=percent(first.probability, 0),
    )
    gone = [p for p in trace.pallets if p.cleared]
    left = (
        say("they have left the works")
        if left_known(plant)
        else say("whether they have left is not known: no dispatches came")
    )
    return (
        Figure(f"{first.section}{first.gob}", say("cavity on {line}", line=first.line), likely)
        if trace.stands_out
        else _no_cavity(trace),
        Figure(
            count(len(gone)),
            say("pallets in question were released"),
            say("of {pallets} that can carry its sisters; {left}", pallets=len(trace.pallets), left=left)
            if gone
            else say("of {pallets} that can carry its sisters", pallets=len(trace.pallets)),
            "critical" if gone else "",
        ),
        _proposed(trace),
        _expected(trace),
    )


def _no_cavity(trace: Trace) -> Figure:
    about = round(trace.about_cavities or len(trace.cavities))
    lines = sorted({c.line for c in trace.cavities})
    return Figure(
        say("Cannot be told"),
        say_n("about {n} cavity of {lines}", "about {n} cavities of {lines}", about, lines=", ".join(lines)),
        say("no cavity stands out; a mould number would tell"),
    )


def _proposed(trace: Trace) -> Figure:
    hold_list = trace.proposed
    if hold_list is None or not hold_list.pallets:
        return Figure("–", say("pallets proposed to hold"), say("nothing to propose"))
    return Figure(
        count(len(hold_list.pallets)),
        say("pallets proposed to hold"),
        say("{units} containers; a proposal until a person confirms it", units=count(hold_list.units)),
    )


def _expected(trace: Trace) -> Figure:
    """The upper end first: nothing found is not nothing there."""
    if trace.expected_defective is None or trace.expected_high is None:
        return Figure(
            say("not known"),
            say("expected defective on them"),
            say("no challenge tells how well the stations see it"),
            "critical",
        )
    under = say(
        "expected {expected}{complained}{guess}",
        expected=few(trace.expected_defective),
        complained=say("; {complained} complained of among them", complained=trace.complained)
        if trace.complained
        else "",
        guess=say("; partly a guess: a station was never challenged with it") if trace.guessed else "",
    )
    return Figure(
        whole_range(trace.expected_low, trace.expected_high),
        say("defective containers on them (95 %)"),
        under,
        "critical",
    )


def _sections(plant: Plant, trace: Trace) -> list[Section | None]:
    cannot = (*trace.impossible, *(say("nearest: {text}", text=text) for text in trace.nearest))
    return [
        Section(say("What of this cannot be"), items=cannot, warn=True, wide=True) if cannot else None,
        Section(say("What to do first"), items=_first(plant, trace), wide=True, warn=bool(trace.pallets))
        if trace.cavities
        else None,
        Section(say("What was in hand"), items=_asked(plant, trace)),
        _assumed(trace),
        Section(say("Cavities"), sheet=cavity_sheet(plant, trace), wide=True) if trace.cavities else None,
        Section(say("Hold lists"), sheet=list_sheet(plant, trace), texts=(_beyond(plant, trace),), wide=True)
        if trace.proposed and trace.pallets
        else None,
        Section(say("Pallets at risk"), sheet=pallet_sheet(plant, trace), wide=True) if trace.pallets else None,
        plan_section(plant, trace) if trace.pallets else None,
        *evidence_sections(plant, trace),
    ]


def _assumed(trace: Trace) -> Section:
    """Folded where it is long: how many things bear on the numbers is said outside."""
    title = say("What is assumed or not known")
    if not trace.notes:
        return Section(title, items=(say("Nothing beside the intervals given."),))
    n = len(trace.notes)
    return Section(
        title, items=trace.notes, folded=say_n("{n} thing bears on the numbers", "{n} things bear on the numbers", n)
    )


def _first(plant: Plant, trace: Trace) -> tuple[str, ...]:
    gone = [p for p in trace.pallets if p.cleared and p.proposed]
    words = []
    if gone:
        words.append(
            say(
                "Released already, on the shortest list: {pallets}. {whereabouts} Whether to stop or call them back is "
                "for the authorised person, now.",
                pallets=named(gone),
                whereabouts=whereabouts(plant),
            )
        )
    here = [p for p in trace.pallets if p.proposed and not p.cleared and p.state not in OUT]
    if here:
        words.append(
            say(
                "Not released, on the shortest list: {pallets}. `coldledger trace … --propose fewest` proposes the "
                "hold; a person confirms it.",
                pallets=named(here),
            )
        )
    if trace.severity == "critical":
        words.append(CRITICAL)
    if trace.whole_stay is not None:
        words += stay_words(plant, trace.whole_stay)
    doubts = sorted({text for p in trace.pallets for text in p.doubts})
    if doubts:
        words.append(
            say(
                "No good challenge vouches for: {doubts}. Ware that passed then is in doubt beyond what the stations "
                "called.",
                doubts=joined(", ", doubts),
            )
        )
    held = [p for p in trace.pallets if p.holds or p.hold]
    if held:
        words.append(say("Held or proposed already: {pallets}.", pallets=", ".join(p.pallet for p in held[:12])))
    return tuple(words) or (say("No pallet that was reported can carry it."),)


def _beyond(plant: Plant, trace: Trace) -> str:
    if trace.fault_from is None or trace.fault_to is None:
        alone = say("No signal of this defect at these moulds was open: the lists are for the window alone.")
        if not trace.on_no_pallet or trace.on_no_pallet <= 0.005:
            return alone
        share = percent(trace.on_no_pallet, 1)
        lost = say("{share} of what is expected lies on ware that no pallet was reported for.", share=share)
        return joined(" ", (alone, lost))
    return say(
        "Signals ({signals}) say that the same fault was formed from {start} to {end}; pallets of that time are in "
        "the lists.",
        signals=", ".join(trace.faults),
        start=plant.clock.show(trace.fault_from),
        end=plant.clock.show(trace.fault_to),
    )


def _asked(plant: Plant, trace: Trace) -> tuple[str, ...]:
    def shown(key: str, value: Any) -> str:
        if key.startswith("made"):
            return plant.clock.show(parse_timestamp(value))
        return ", ".join(value) if isinstance(value, list) else str(value)

    items = [
        say("{what}: {name}", what=NAMES.get(key, key), name=shown(key, value)) for key, value in trace.asked.items()
    ]
    return (*items, *(_by_itself(part) for part in trace.parts))


def _by_itself(part: dict[str, Any]) -> str:
    """The likeliest cavity of one of several complaints."""
    first = part["cavities"][0] if part["cavities"] else None
    place = (
        say(
            "{place} of {line}, mould {mould}, probability {probability}",
            place=f"{first['section']}{first['gob']}",
            line=first["line"],
            mould=first["mould"],
            probability=percent(first["probability"], 0),
        )
        if first
        else say("no cavity fits")
    )
    return say("{complaint} by itself: {place}", complaint=part["asked"].get("complaint") or "–", place=place)
