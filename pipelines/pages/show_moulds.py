"""The page of moulds: a line's machine, cavity by cavity."""

from __future__ import annotations

from typing import Any

from pipelines.answers.moulds import Machine, answer_moulds
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.clock import Span
from pipelines.ledger import Reader
from pipelines.measures.cavities import FAR, MORE, CavityState
from pipelines.numbers import decimals, expected
from pipelines.pages.forms import choice, field, form
from pipelines.pages.view import Special, View
from pipelines.plant import Plant
from pipelines.reports.common import count, percent, sources
from pipelines.reports.page import Figure
from pipelines.reports.sheet import Column, Sheet

QUERIES = (
    "calls_by_window",
    "ware_by_window",
    "mould_spans_of_line",
    "lehr_hours_of_line",
    "expected_of_line",
    "files_behind",
)
COLUMNS = (
    Column("place", "Cavity", "id"), Column("section", "Section", "count"), Column("gob", "Gob"), Column("mould", "Mould"), Column("calls", "Calls", "count"), Column("ware", "Own ware", "count"),
    Column("rate", "Calls / own ware", "percent"), Column("expected", "Expected", "expected"), Column("times", "Times expected", "number"), Column("q", "q of the excess", "number3"),
    Column("verdict", "How unusual"), Column("critical", "Critical", "count"), Column("worst", "Most frequent"),
)  # fmt: skip


def moulds_view(
    reader: Reader, plant: Plant, line: str, span: Span, defect: str | None, refresh_s: int, hours: int
) -> View:
    """The cavity map of a line's machine, and the same as a table."""
    told = answer_moulds(reader, plant, line, span, defect)
    what = f"{defect} {plant.defects[defect].name}" if defect else "all defects"
    clock = plant.clock
    here = (
        ("from", clock.local(span.start).strftime("%Y-%m-%dT%H:%M")),
        ("to", clock.local(span.end).strftime("%Y-%m-%dT%H:%M")),
    )
    fixed = f"?{here[0][0]}={here[0][1]}&{here[1][0]}={here[1][1]}" if not refresh_s else f"?hours={hours}"
    others = [(one, f"/moulds/{one}{fixed}") for one in plant.lines if one != line]
    links = (
        *others,
        ("this hour of the line", f"/hour/{line}"),
        ("for a big screen", f"/moulds/{line}{fixed}&wall=1" + (f"&defect={defect}" if defect else "")),
    )
    return View(
        "moulds", f"{line}: cavities, {what}", f"{clock.show(span.start)} to {clock.show(span.end)}, by the cold-end clock", (_machine(plant, told), _choose(plant, told, here, refresh_s, hours)),
        _figures(told), links, (CAUTION, GLASS), sources(QUERIES, told.files),
        f"Cavities by the mould log at forming, {decimals(told.lehr.minutes)} min before the station ({told.lehr.source}).", refresh_s,
    )  # fmt: skip


def _figures(told: Machine) -> tuple[Figure, ...]:
    far = [c for c in told.cavities if c.level == "far"]
    more = [c for c in told.cavities if c.level == "more"]
    critical = sum(c.critical for c in told.cavities)
    return (
        Figure(
            count(len(far)),
            "cavities far more than usual",
            ", ".join(_place(c) for c in far[:6]) or "none",
            "critical" if far else "",
        ),
        Figure(count(len(more)), "cavities more than usual", ", ".join(_place(c) for c in more[:6]) or "none"),
        Figure(count(told.calls), "calls", f"{percent(told.placed, 0)} of them with a cavity that is known"),
        Figure(
            count(critical),
            "critical calls with a known cavity",
            "those without stand on the hour's page",
            "critical" if critical else "",
        ),
    )


def _place(one: CavityState) -> str:
    return f"{one.section}{one.gob}"


def _verdict(one: CavityState) -> str:
    words = {
        "far": "far more than usual",
        "more": "more than usual",
        "usual": "as usual",
        "unknown": "not judged",
        "empty": "no ware",
    }[one.level]
    return (
        f"{words}: {decimals(one.times, 1)} times" if one.level in ("far", "more") and one.times is not None else words
    )


def _machine(plant: Plant, told: Machine) -> Special:
    sections: dict[int, list[dict[str, Any]]] = {}
    for one in told.cavities:
        sections.setdefault(one.section, []).append(
            {
                "place": _place(one), "mould": ", ".join(f"no. {m}" for m in one.moulds) or "–", "calls": one.calls, "rate": percent(one.rate) if one.rate is not None else "–",
                "verdict": _verdict(one), "critical": one.critical, "worst": ", ".join(f"{code} {n}" for code, n in one.worst[:2]), "level": one.level, "short": f"▲ {decimals(one.times, 1)}" if one.level in ("far", "more") else "",
            }
        )  # fmt: skip
    told_of = {
        "sections": [{"number": number, "cavities": cavities} for number, cavities in sections.items()], "gobs": plant.lines[told.line].gob_positions,
        "words": _words(told), "legend": _legend(told),
    }  # fmt: skip
    return Special(
        "machine", "The machine", told_of, _sheet(told), warn=any(c.level == "far" or c.critical for c in told.cavities)
    )


def _words(told: Machine) -> str:
    """What the map shows, in words."""
    out = sorted(
        (c for c in told.cavities if c.level in ("far", "more")), key=lambda c: c.q if c.q is not None else 1.0
    )
    if not out:
        return "No cavity is called more than chance explains."
    said = "; ".join(
        f"{_place(c)} (mould {', '.join(c.moulds) or 'unknown'}): {c.calls} calls, {expected(c.expected)} expected"
        for c in out[:8]
    )
    return f"More than chance explains, the surest first: {said}."


def _legend(told: Machine) -> str:
    against = (
        "each mould's own past in this job" if told.against == "past" else "the rate of all other cavities in this time"
    )
    return (
        f"Expected: by {against}. Far more: q below {FAR:g}; more: q below {MORE:g}; q is adjusted over all cavities, so that of those named about that share are chance. Sections from left to "
        "right, gob positions from top to bottom. Own ware: containers of that mould where moulds are read, unread ones shared out in proportion."
    )


def _sheet(told: Machine) -> Sheet:
    rows = [
        {
            "place": _place(c), "section": c.section, "gob": c.gob, "mould": ", ".join(c.moulds), "calls": c.calls, "ware": c.ware, "rate": c.rate, "expected": c.expected, "times": c.times,
            "q": c.q, "verdict": _verdict(c), "critical": c.critical, "worst": ", ".join(f"{code} {n}" for code, n in c.worst),
        }
        for c in told.cavities
    ]  # fmt: skip
    strong = [number for number, one in enumerate(told.cavities) if one.critical]
    return Sheet(
        "cavities",
        "Cavities",
        COLUMNS,
        rows,
        f"{count(told.calls)} calls; {percent(told.placed, 1)} of them with a cavity that the mould log and a mould number tell.",
        strong=strong,
    )


def _choose(plant: Plant, told: Machine, here: tuple[tuple[str, str], ...], refresh_s: int, hours: int) -> Special:
    every = [("", "all defects"), *((code, f"{code} {one.name}") for code, one in plant.defects.items())]
    fields = [choice("defect", "Defect", every, told.defect or "")]
    if refresh_s:
        fields.append(field("hours", "The newest hours", hours, kind="number", most=3, hint="1 to 168"))
    return form(
        "Choose", f"/moulds/{told.line}", fields, (("", "Show"),), method="get", hidden=() if refresh_s else here
    )
