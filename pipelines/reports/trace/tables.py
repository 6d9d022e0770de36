"""The tables of a trace: cavities, pallets, hold lists."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from pipelines.numbers import LEAST_SHOWN, count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.sheet import PAGE, SHOWN, Column, Sheet, in_csv
from pipelines.reports.trace.contents import FITTED, FORMED
from pipelines.reports.trace.whereabouts import whereabouts
from pipelines.words import joined, say, say_n, worded
from schemas.answers.trace import Trace, TracedPallet, WholeStay

SHOWN_CAVITIES = 24


def cavity_sheet(plant: Plant, trace: Trace) -> Sheet:
    """The likeliest cavities, with what was fitted there."""
    rows = [
        {
            "line": c.line,
            "section": c.section,
            "gob": c.gob,
            "mould": c.mould,
            "blank": c.blank or "–",
            "ring": c.neck_ring or "–",
            "from": plant.clock.show(c.from_),
            "to": plant.clock.show(c.to),
            "p": c.probability,
        }
        for c in trace.cavities[:SHOWN_CAVITIES]
    ]
    columns = (
        Column("line", say("Line")),
        *FITTED,
        *FORMED,
        Column("p", say("Probability"), "percent1"),
    )
    caption = joined(
        " ",
        (
            say(
                "Cavities that come into question: {every}; shown: {shown}, the likeliest first. Probabilities sum to "
                "one over all of them.",
                every=len(trace.cavities),
                shown=len(rows),
            ),
            say(
                "With a pallet in hand the times hold 95 % of its ware's forming times; else they are the window "
                "asked for."
            ),
        ),
    )
    return Sheet("cavities", say("Cavities"), columns, rows, caption)


PALLET_COLUMNS = (
    Column("pallet", say("Pallet"), "id"),
    Column("list", say("Shortest list"), ways=SHOWN),
    Column("state", say("State"), ways=SHOWN),
    Column("made", say("Line, item"), "id", SHOWN),
    *in_csv("line", "item", packed_from="packed from", packed_to="to"),
    Column("packed", say("Packed"), "id", SHOWN),
    Column("units", say("Units"), "count"),
    *in_csv("state"),
    Column("mine", say("Of these moulds"), "count", csv="of these moulds"),
    *in_csv(expected_defective="expected defective", expected_low="at least", expected_high="at most (95 %)"),
    Column("chance", say("Chance it is the one"), "percent1", csv="chance it is the one"),
    Column("expected", say("Expected defective"), "id", SHOWN),
    Column("range", "95 %", "id", SHOWN),
    *in_csv(
        list="95 % list",
        beyond="beyond the window",
        doubted="in doubt",
        held="holds",
        inferred="begin inferred",
    ),
    Column("why", say("Why"), ways=PAGE),
    Column("doubts", say("In doubt"), ways=PAGE),
    Column("holds", say("Holds"), ways=PAGE),
)


def pallet_sheet(plant: Plant, trace: Trace) -> Sheet:
    """Every pallet that can carry a sister."""
    rows = [
        {
            "pallet": p.pallet,
            **_for_programs(plant, p),
            "state": worded(p.state),
            "made": f"{p.line}, {p.item}",
            "packed": packed_words(plant, p),
            "units": p.units,
            "mine": p.mould_units,
            "chance": p.probability,
            "expected": few(p.expected_defective),
            "range": _range(p),
            "list": say("yes") if p.proposed else "",
            "why": say("same fault") if p.beyond else say("window"),
            "doubts": joined(", ", p.doubts),
            "holds": joined(", ", p.holds),
        }
        for p in trace.pallets
    ]
    strong = [number for number, p in enumerate(trace.pallets) if p.cleared]
    caption = say(
        "The pallet in hand first, then those that were released (bold), then by expected defective "
        "containers. 95 %: whole containers; fewer than 1 is none with 95 %, not that none can be there. "
        "Why: packed of the window asked for, or only of the time in which the same fault lasted. "
        "Proposed, not decided: nothing is held by this page."
    )
    if any(p.begin_inferred for p in trace.pallets):
        inferred = say("About: only the label's moment was noted; when the pallet was begun is inferred.")
        caption = joined(" ", (caption, inferred))
    caption = joined(" ", (caption, whereabouts(plant)))
    shown = tuple(c for c in PALLET_COLUMNS if c.name not in ("doubts", "holds") or any(row[c.name] for row in rows))
    return Sheet("pallets", say("Pallets"), shown, rows, caption, strong=strong)


def _for_programs(plant: Plant, p: TracedPallet) -> dict[str, Any]:
    """What stands in the CSV alone."""
    return {
        "line": p.line,
        "item": p.item,
        "packed_from": plant.clock.show(p.packed_from),
        "packed_to": plant.clock.show(p.packed_to),
        "expected_defective": p.expected_defective,
        "expected_low": p.expected_low,
        "expected_high": p.expected_high,
        "beyond": "yes" if p.beyond else "",
        "doubted": "; ".join(p.doubts),
        "held": ", ".join(p.holds),
        "inferred": "yes" if p.begin_inferred else "",
    }


def packed_words(plant: Plant, p: TracedPallet) -> str:
    """From when to when a pallet was filled; marked where nobody noted when it was begun."""
    stretch = _stretch(plant, p.packed_from, p.packed_to)
    return say("about {stretch}", stretch=stretch) if p.begin_inferred else stretch


def _range(p: TracedPallet) -> str:
    return whole_range(p.expected_low, p.expected_high)


def few(expected: float | None) -> str:
    """An expected number as it is written: nothing is never written 0."""
    if expected is None:
        return say("not known")
    if expected < LEAST_SHOWN:
        return say("fewer than {least}", least=decimals(0.1, 1))
    return decimals(expected, 1 if expected < 10 else 0)


def whole_range(low: float | None, high: float | None) -> str:
    """Whole containers from low to high; none of them is fewer than one."""
    if low is None or high is None:
        return say("not known")
    if high < 1:
        return say("fewer than 1")
    return f"{low:.0f}" if low == high else say("{low} to {high}", low=f"{low:.0f}", high=f"{high:.0f}")


def stay_words(plant: Plant, stay: WholeStay) -> list[str]:
    """Of a critical defect: what the mould made since the last check that could have seen it, in sentences."""
    show = plant.clock.show
    since = (
        say(
            "the last check that could have seen it: {check}, {checked}",
            check=stay.check,
            checked=show(stay.checked_at),
        )
        if stay.check and stay.checked_at
        else say("it was fitted; no good challenge vouches for it since {fitted}", fitted=show(stay.fitted))
        if stay.from_ <= stay.fitted
        else say("thirty days before; no good challenge is known of")
    )
    return [
        say(
            "Critical: mould {mould} in {place} of {line} made {containers} containers since {since}.",
            mould=stay.mould,
            place=f"{stay.section}{stay.gob}",
            line=stay.line,
            containers=count(stay.containers),
            since=since,
        ),
        say_n(
            "They were formed from {start} to {until} and lie on {n} pallet with {units} containers, {cleared} of "
            "them released. The minutes asked for are a part of that.",
            "They were formed from {start} to {until} and lie on {n} pallets with {units} containers, {cleared} of "
            "them released. The minutes asked for are a part of that.",
            len(stay.pallets),
            start=show(stay.from_),
            until=show(stay.to) if stay.to else say("now, as far as is known"),
            units=count(stay.units),
            cleared=stay.cleared,
        ),
    ]


def list_sheet(plant: Plant, trace: Trace) -> Sheet:
    """The two hold lists side by side."""
    rows = [
        {
            "name": name,
            "pallets": len(hold_list.pallets),
            "units": hold_list.units,
            "covers": hold_list.covers,
            "gone": hold_list.released,
        }
        for name, hold_list in (
            (say("fewest containers that cover 95 %"), trace.proposed),
            (say("everything possible"), trace.possible),
        )
        if hold_list is not None
    ]
    columns = (
        Column("name", say("List")),
        Column("pallets", say("Pallets"), "count"),
        Column("units", say("Units"), "count"),
        Column("covers", say("Covers of what is expected"), "percent1"),
        Column("gone", say("Released already"), "count"),
    )
    caption = say(
        "Expected escapes by rejects found and detection; without a known detection, by rejects alone. "
        "Scrapped and emptied pallets are on neither list. A whole pallet can be held, not a part."
    )
    caption = joined(" ", (caption, whereabouts(plant)))
    return Sheet("lists", say("Hold lists"), columns, rows, caption)


def _stretch(plant: Plant, start: datetime, end: datetime) -> str:
    """From when to when, by the local clock; the second day only where more than a day lies between."""
    answer, other = plant.clock.local(start), plant.clock.local(end)
    until = f"{other:%H:%M}" if other - answer < timedelta(days=1) else f"{other:%Y-%m-%d %H:%M}"
    return say("{start} to {end}", start=f"{answer:%Y-%m-%d %H:%M}", end=until)
