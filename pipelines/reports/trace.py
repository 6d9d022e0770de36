"""The trace page: what was asked, the cavities, the evidence, the pallets, what is not known."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.lehr import lehr_of_formed
from pipelines.clock import Span, parse_timestamp
from pipelines.ledger.store import Reader
from pipelines.plant import Plant
from pipelines.reports import charts
from pipelines.reports.common import count, percent, sources
from pipelines.reports.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.sheet import Column, Sheet
from schemas.results import Trace

QUERIES = (
    "complaint",
    "pallet",
    "mould_spans_of_line",
    "jobs_of_line",
    "calls_by_window",
    "ware_by_window",
    "pallets_of_line",
    "challenges_of_line",
)
SHOWN_CAVITIES = 24
FOOD = "Glass in or from a container can cut or choke. A critical defect is for the works' quality manager to act on at once; the hold list below is a proposal."


def trace_address(told: Trace) -> str:
    """The page of a trace: the complaint's number, else what was asked, in short."""
    name = str(
        told.asked.get("complaint") or hashlib.sha256(json.dumps(told.asked, sort_keys=True).encode()).hexdigest()[:12]
    )
    return f"trace/{''.join(c if c.isalnum() or c in '-_' else '_' for c in name)}.html"


def trace_page(reader: Reader, plant: Plant, told: Trace) -> Page:
    """The page of a trace already answered."""
    name = told.asked.get("complaint")
    return Page(
        works=plant.works.name,
        title=f"Trace of {f'complaint {name}' if name else 'ware'}",
        when=f"formed {_when(plant, told.formed_from)} to {_when(plant, told.formed_to)}",
        figures=_figures(told),
        sections=tuple(section for section in _sections(reader, plant, told) if section is not None),
        links=(("all pages", "../index.html"),),
        cautions=(FOOD, CAUTION, GLASS),
        sources=sources(QUERIES, pl.DataFrame({"feed": [], "archived_as": [], "rows_used": [], "sha256": []}))
        + _files(told),
        made="Expected defective = found x (1 - d) / d, d the detection rate from challenge passes; the interval joins the exact intervals of both.",
        workbook=trace_address(told).rsplit("/", 1)[1].replace(".html", ".xlsx"),
    )


def _when(plant: Plant, moment: datetime | None) -> str:
    return plant.clock.show(moment) if moment else "an unknown time"


def _files(told: Trace) -> tuple[str, ...]:
    return tuple(
        f"{row['feed']}: {row['rows_used']} rows of archive/{row['archived_as']}"
        for row in told.evidence.get("files", [])[:60]
    )


def _figures(told: Trace) -> tuple[Figure, ...]:
    if not told.cavities:
        return (Figure("none", "cavity fits", "see the notes below", "critical"),)
    first = told.cavities[0]
    mine = count(sum(p.mould_units for p in told.pallets))
    likely = f"mould {first.mould}, probability {percent(first.probability, 0)}"
    return (
        Figure(f"{first.section}{first.gob}", f"cavity on {first.line}", likely),
        Figure(count(len(told.pallets)), "pallets can carry its sisters", f"{mine} containers of these moulds"),
        _expected(told),
        Figure(count(sum(p.state == "released" for p in told.pallets)), "of them released", "named first in the list"),
    )


def _expected(told: Trace) -> Figure:
    """The upper end first: nothing found is not nothing there."""
    if told.expected_defective is None or told.expected_high is None:
        return Figure("–", "expected defective on them", "no challenge tells how well the stations see it", "critical")
    under = f"expected {told.expected_defective:.2g} from what the stations found; at least one did get through"
    if told.asked.get("complaint") is None:
        under = f"expected {told.expected_defective:.2g} from what the stations found"
    return Figure(f"up to {told.expected_high:.2g}", "defective containers on them", under, "critical")


def _sections(reader: Reader, plant: Plant, told: Trace) -> list[Section | None]:
    asked = tuple(
        f"{key.replace('_', ' ')}: {_local(plant, value) if key.startswith('made') else value}"
        for key, value in told.asked.items()
    )
    unknown = told.notes or ("Nothing beside the intervals given.",)
    return [
        Section("What was in hand", items=asked),
        Section("What is assumed or not known", items=unknown, warn=not told.cavities),
        Section("Cavities", sheet=_cavities(plant, told), wide=True) if told.cavities else None,
        _timeline(reader, plant, told),
        _evidence(plant, told) if told.evidence else None,
        Section("Detection of this defect", sheet=_detection(told)) if told.evidence.get("detection") else None,
        Section("Pallets at risk", sheet=_pallets(plant, told), wide=True) if told.pallets else None,
    ]


def _cavities(plant: Plant, told: Trace) -> Sheet:
    rows = [
        {
            "line": c.line,
            "section": c.section,
            "gob": c.gob,
            "mould": c.mould,
            "from": plant.clock.show(c.from_),
            "to": plant.clock.show(c.to),
            "p": c.probability,
        }
        for c in told.cavities[:SHOWN_CAVITIES]
    ]
    columns = (
        Column("line", "Line"), Column("section", "Section", "count"), Column("gob", "Gob"), Column("mould", "Mould"), Column("from", "Formed from"),
        Column("to", "to"), Column("p", "Probability", "percent1"),
    )  # fmt: skip
    caption = f"Cavities that come into question: {len(told.cavities)}; shown: {len(rows)}, the likeliest first. Probabilities sum to one over all of them."
    return Sheet("cavities", "Cavities", columns, rows, caption)


def _timeline(reader: Reader, plant: Plant, told: Trace) -> Section | None:
    """Calls of the defect from the likeliest cavity's mould, every ten minutes around its window."""
    if not told.cavities or told.asked.get("defect") is None:
        return None
    first = told.cavities[0]
    lehr = lehr_of_formed(reader, plant, first.line, Span(first.from_, first.to))
    start = max(lehr.inspected(first.from_) - timedelta(hours=1), lehr.inspected(first.to) - timedelta(hours=9))
    end = lehr.inspected(first.to) + timedelta(hours=1)
    calls = reader.ask("calls_by_window", line=first.line, from_time=start, to_time=end)
    of_defect = calls.filter(pl.col("defect") == told.asked["defect"])
    mine, whose = of_defect.filter(pl.col("mould") == first.mould), f"with mould {first.mould} read"
    if of_defect["mould"].null_count() == of_defect.height:
        mine, whose = of_defect, "of the whole line: no station that calls it read a mould number"
    sums = mine.group_by(pl.col("window_start").dt.truncate("10m").alias("at")).agg(pl.col("calls").sum())
    found = dict(sums.iter_rows())
    at, rows = start.replace(minute=start.minute // 10 * 10, second=0, microsecond=0), []
    while at < end:
        rows.append({"label": f"{plant.clock.local(at):%d. %H:%M}", "value": found.get(at, 0)})
        at += timedelta(minutes=10)
    total = sum(row["value"] for row in rows)
    words = f"{total} calls of {told.asked['defect']} {whose}; by ten minutes of the cold-end clock"
    title = f"{told.asked['defect']} on {first.line}, as the stations saw it"
    return Section(
        title, chart=charts.svg(charts.columns, words, rows, "calls in 10 min"), chart_words=words, wide=True
    )


def _evidence(plant: Plant, told: Trace) -> Section:
    seen, mould = told.evidence, told.evidence["cavity"]["mould"]
    weights = seen["weights"]
    weighed = f"weighings: {weights['n']}, mean {weights['mean_g']:.1f} g" if weights["n"] else "no weighing"
    calls = f"calls of the defect with that mould read: {seen['calls_of_defect']}; on the line with none read: {seen['calls_without_mould']}"
    others = ", ".join(f"{c['defect']} {c['calls']} at {c['station']}" for c in seen["calls"][:10])
    items = (
        f"containers of mould {mould} read at the stations: {count(seen['ware_of_mould'])}, {_local(plant, seen['seen_from'])} to {_local(plant, seen['seen_to'])}",
        calls if told.asked.get("defect") else "no defect was named",
        f"all calls with that mould read: {others or 'none'}",
        weighed,
        *(_stop(plant, stop) for stop in seen["stoppages"]),
        *(["no stoppage of that section in the window"] if not seen["stoppages"] else []),
        *(
            f"mould {m['number']} sat there from {_local(plant, m['fitted_at'])} to {_local(plant, m['ended_at'])}"
            for m in seen["moulds_there"]
        ),
    )
    return Section("Evidence for the likeliest cavity", items=items)


def _stop(plant: Plant, stop: dict[str, Any]) -> str:
    what = f"section {stop['section']}" if stop["section"] else "the whole machine"
    until = _local(plant, stop["restarted_at"])
    return f"{what} stood {_local(plant, stop['stopped_at'])} to {until} ({stop['cause'] or 'no cause given'})"


def _local(plant: Plant, moment: str | None) -> str:
    return "now" if moment is None else plant.clock.show(parse_timestamp(moment))


def _detection(told: Trace) -> Sheet:
    rows: list[dict[str, Any]] = []
    for line in told.evidence["detection"]:
        for station in line["stations"]:
            rows.append(
                {
                    "where": ", ".join(station["stations"]),
                    **{k: station[k] for k in ("passes", "caught", "rate", "low", "high")},
                }
            )
        rows.append(
            {
                "where": f"{line['line']}, all in a row",
                "rate": line["rate"],
                "low": line["low"],
                "high": line["high"],
            }
        )
    columns = (
        Column("where", "Stations"), Column("passes", "Passes", "count"), Column("caught", "Caught", "count"), Column("rate", "Detection", "percent1"),
        Column("low", "at least", "percent1"), Column("high", "at most", "percent1"),
    )  # fmt: skip
    return Sheet(
        "detection",
        "Detection",
        columns,
        rows,
        "Challenge passes of 30 days; exact 95 % intervals (Clopper and Pearson). Stations without a pass count for nothing.",
    )


def _pallets(plant: Plant, told: Trace) -> Sheet:
    asked = told.asked.get("pallet")
    ordered = sorted(
        told.pallets,
        key=lambda p: (
            p.pallet != asked,
            p.state != "released",
            -(p.expected_defective or 0.0),
            p.packed_from,
        ),
    )
    rows = [
        {
            "pallet": p.pallet, "line": p.line, "item": p.item, "from": plant.clock.show(p.packed_from), "to": plant.clock.show(p.packed_to), "units": p.units,
            "state": p.state, "mine": p.mould_units, "expected": p.expected_defective, "low": p.expected_low, "high": p.expected_high,
        }
        for p in ordered
    ]  # fmt: skip
    columns = (
        Column("pallet", "Pallet"), Column("line", "Line"), Column("item", "Item"), Column("from", "Packed from"), Column("to", "to"), Column("units", "Units", "count"),
        Column("state", "State"), Column("mine", "Of these moulds", "count"), Column("expected", "Expected defective", "number2"), Column("low", "at least", "number2"),
        Column("high", "at most", "number2"),
    )  # fmt: skip
    caption = "The pallet in hand first, then released ones, then by expected defective containers. Proposed, not decided: nothing is held by this page."
    return Sheet("pallets", "Pallets", columns, rows, caption)
