"""A trace, straight from the ledger."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.evidence import evidence_of
from pipelines.answers.lehr import lehr_of_formed, lehr_time
from pipelines.answers.pareto import check_line
from pipelines.clock import Span, utc_text
from pipelines.errors import WrongUse
from pipelines.ledger.store import Reader
from pipelines.measures.pareto import reading_stations
from pipelines.measures.trace import (
    Candidate,
    Detection,
    candidates,
    covering,
    detection,
    packing_span,
    pallet_evidence,
    pallet_forming_span,
    ranked,
    traced_pallet,
)
from pipelines.plant import Plant
from schemas.results import Cavity, Trace, TracedPallet

COVERED = 0.99  # pallets are sought for the likeliest cavities that hold this much of the probability


@dataclass(frozen=True)
class Question:
    """What is in hand. `made` is forming time."""

    complaint: str | None = None
    item: str | None = None
    line: str | None = None
    mould: str | None = None
    defect: str | None = None
    pallet: str | None = None
    made_from: datetime | None = None
    made_to: datetime | None = None

    def told(self) -> dict[str, Any]:
        return {k: utc_text(v) if isinstance(v, datetime) else v for k, v in vars(self).items() if v is not None}


def answer_trace(reader: Reader, plant: Plant, question: Question) -> Trace:
    """Cavities, evidence and pallets for what is in hand; WrongUse where it names something that cannot be."""
    asked, notes = _filled(reader, plant, question)
    _check(plant, asked)
    windows = _windows(reader, plant, asked, notes)
    found = [c for line, window in windows.items() for c in _stays(reader, plant, line, window, asked)]
    if not found:
        notes.append("no cavity fits all that is known; check mould number, item and times against the mould log")
        return _nothing(asked, windows, notes)
    calls = _calls_by_mould(reader, plant, windows, asked.defect)
    cavities = ranked(found, calls, asked.mould is not None)
    if asked.mould is None:
        basis = (
            f"the calls of {asked.defect} from each mould"
            if any(calls.values())
            else "nothing but which moulds sat there"
        )
        notes.append(
            f"without a mould number the cavities are ranked by {basis}: this is a guess, with its probabilities"
        )
        notes.append(f"pallets are listed for the likeliest cavities that hold {COVERED:.0%} of the probability")
    formed = Span(min(c.from_ for c in cavities), max(c.to for c in cavities))
    pallets, trusts = _pallets(reader, plant, cavities, asked)
    evidence = evidence_of(reader, plant, cavities[0], asked.defect, trusts)
    for line in dict.fromkeys(c.line for c in cavities):
        lehr = lehr_of_formed(reader, plant, line, formed)
        notes.append(f"line {line}: lehr time {lehr.minutes:.0f} min, {lehr.source}")
    totals = [_total(pallets, name) for name in ("expected_defective", "expected_low", "expected_high")]
    return Trace(
        asked=asked.told(), cavities=tuple(cavities), formed_from=formed.start, formed_to=formed.end, evidence=evidence,
        pallets=tuple(pallets), expected_defective=totals[0], expected_low=totals[1], expected_high=totals[2], notes=tuple(notes),
    )  # fmt: skip


def _total(pallets: list[TracedPallet], name: str) -> float | None:
    values = [getattr(p, name) for p in pallets if getattr(p, name) is not None]
    return sum(values) if values else None


def _nothing(asked: Question, windows: dict[str, Span], notes: list[str]) -> Trace:
    spans = list(windows.values())
    return Trace(
        asked=asked.told(), cavities=(), formed_from=min((s.start for s in spans), default=None),
        formed_to=max((s.end for s in spans), default=None), evidence={}, pallets=(), expected_defective=None, notes=tuple(notes),
    )  # fmt: skip


def _filled(reader: Reader, plant: Plant, question: Question) -> tuple[Question, list[str]]:
    """The question with what the complaint and the pallet tell, where it did not say otherwise itself."""
    asked, notes = question, []
    if asked.complaint is not None:
        rows = reader.ask("complaint", complaint=asked.complaint)
        if rows.is_empty():
            raise WrongUse(f"no complaint '{asked.complaint}' was ever received; see `coldledger feeds`")
        told = rows.row(0, named=True)
        names = ("item", "mould", "defect", "pallet", "made_from", "made_to")
        asked = replace(asked, **{n: told[n] for n in names if getattr(asked, n) is None})
    if asked.pallet is not None:
        rows = reader.ask("pallet", pallet=asked.pallet)
        if rows.is_empty():
            raise WrongUse(
                f"no pallet '{asked.pallet}' was ever received; without it, ask by --item, --mould and --made-from"
            )
        told = rows.row(0, named=True)
        asked = replace(asked, line=asked.line or told["line"], item=asked.item or told["item"])
        show = plant.clock.show
        notes.append(
            f"pallet {asked.pallet} was packed on {told['line']} from {show(told['packed_from'])} to {show(told['packed_to'])}"
        )
    return asked, notes


def _check(plant: Plant, asked: Question) -> None:
    if asked.line is not None:
        check_line(plant, asked.line)
    if asked.item is not None and asked.item not in plant.items:
        raise WrongUse(f"there is no item '{asked.item}' in works.toml; it has {', '.join(plant.items)}")
    if asked.defect is not None and asked.defect not in plant.defects:
        raise WrongUse(f"there is no defect '{asked.defect}' in works.toml; it has {', '.join(plant.defects)}")
    if asked.made_from and asked.made_to and asked.made_from >= asked.made_to:
        raise WrongUse("--made-from must lie before --made-to")
    if not any((asked.item, asked.line, asked.mould, asked.pallet)):
        raise WrongUse("say what is in hand: --complaint, --pallet, --mould, --item or --line")


def _windows(reader: Reader, plant: Plant, asked: Question, notes: list[str]) -> dict[str, Span]:
    """The forming window on each line that comes into question."""
    spans = {row["line"]: row for row in reader.ask("span_of_ledger").iter_rows(named=True)}
    lines = [asked.line] if asked.line else [line for line in plant.lines if line in spans]
    if asked.pallet is not None:
        told = reader.ask("pallet", pallet=asked.pallet).row(0, named=True)
        pack = Span(told["packed_from"], told["packed_to"])
        packed = pallet_forming_span(plant, told["line"], lehr_time(reader, plant, told["line"], pack), pack)
        start, end = (
            max(packed.start, asked.made_from or packed.start),
            min(packed.end, asked.made_to or packed.end),
        )
        if start >= end:
            notes.append("the times of making do not fit the pallet; the pallet was believed")
            return {told["line"]: packed}
        return {told["line"]: Span(start, end)}
    if asked.made_from is None and asked.made_to is None:
        notes.append("no times of making were given: everything in the ledger comes into question")
    windows = {}
    for line in lines:
        if line not in spans:
            continue
        lehr = lehr_time(reader, plant, line, Span(spans[line]["first_window"], spans[line]["last_window"]))
        first, last = lehr.formed(spans[line]["first_window"]), lehr.formed(spans[line]["last_window"])
        start, end = asked.made_from or first, asked.made_to or last
        if end < first or start > last:
            held = f"{plant.clock.show(first)} to {plant.clock.show(last)}"
            notes.append(f"line {line}: the ledger holds ware formed from {held}, nothing of the time asked for")
        windows[line] = Span(start, end if end > start else start + timedelta(minutes=1))
    return windows


def _stays(reader: Reader, plant: Plant, line: str, window: Span, asked: Question) -> list[Candidate]:
    spans = reader.ask("mould_spans_of_line", line=line, from_time=window.start, to_time=window.end)
    jobs = reader.ask("jobs_of_line", line=line, from_time=datetime(1970, 1, 1, tzinfo=UTC), to_time=window.end)
    named = spans.sort("fitted_at").join_asof(
        jobs.select("started_at", pl.col("item").alias("job_item")).sort("started_at"),
        left_on="fitted_at",
        right_on="started_at",
    )
    told = named.with_columns(item=pl.coalesce("item", "job_item"))
    return candidates(told, line, window, asked.item, asked.mould)


def _calls_by_mould(
    reader: Reader, plant: Plant, windows: dict[str, Span], defect: str | None
) -> dict[tuple[str, str], float]:
    calls: dict[tuple[str, str], float] = {}
    for line, window in windows.items():
        lehr = lehr_of_formed(reader, plant, line, window)
        told = reader.ask(
            "calls", line=line, from_time=lehr.inspected(window.start), to_time=lehr.inspected(window.end)
        )
        here = told.filter((pl.col("defect") == defect) & pl.col("mould").is_not_null()) if defect else told.head(0)
        for mould, count in here.group_by("mould").agg(pl.col("calls").sum()).iter_rows():
            calls[line, mould] = float(count)
    return calls


def _pallets(
    reader: Reader, plant: Plant, cavities: list[Cavity], asked: Question
) -> tuple[list[TracedPallet], dict[str, Detection]]:
    found: list[TracedPallet] = []
    trusts: dict[str, Detection] = {}
    likely = cavities if asked.mould is not None else covering(cavities, COVERED)
    for line in dict.fromkeys(c.line for c in likely):
        mine = [c for c in likely if c.line == line]
        formed = Span(min(c.from_ for c in mine), max(c.to for c in mine))
        packed = packing_span(plant, line, lehr_of_formed(reader, plant, line, formed), formed)
        rows = reader.ask("pallets_of_line", line=line, from_time=packed.start, to_time=packed.end)
        challenges = reader.ask(
            "challenges_of_line",
            line=line,
            from_time=packed.start - timedelta(days=30),
            to_time=packed.end + timedelta(days=1),
        )
        trusts[line] = detection(plant, line, asked.defect, challenges)
        found += _on_line(reader, plant, line, mine, rows, asked, trusts[line], packed)
    named = [p for p in found if p.pallet == asked.pallet]
    return named + [p for p in found if p.pallet != asked.pallet], trusts


def _on_line(
    reader: Reader,
    plant: Plant,
    line: str,
    mine: list[Cavity],
    rows: pl.DataFrame,
    asked: Question,
    trust: Detection,
    packed: Span,
) -> list[TracedPallet]:
    wide = Span(packed.start - timedelta(hours=12), packed.end + timedelta(hours=1))
    told = {"line": line, "from_time": wide.start, "to_time": wide.end}
    ware = reader.ask("ware_by_window", **told)
    ware = ware.filter(pl.col("station").is_in(reading_stations(plant, line, ware)))
    calls = reader.ask("calls_by_window", **told)
    calls = calls.filter(pl.col("defect") == asked.defect) if asked.defect else calls.head(0)
    back = timedelta(minutes=plant.stations_of(line)[-1].after_minutes)
    moulds = list({c.mould for c in mine})
    found = []
    for row in rows.iter_rows(named=True):
        if asked.item is not None and row["item"] != asked.item and row["pallet"] != asked.pallet:
            continue
        seen = pallet_evidence(ware, calls, moulds, (row["packed_from"], row["packed_to"]), back)
        found.append(traced_pallet(row, seen, trust))
    return found
