"""What is known of one cavity around a window, each part with the rows or files it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_of_formed
from pipelines.answers.signals import kept_signals
from pipelines.answers.trace.line_trace import LineTrace
from pipelines.answers.trace.trust import Vouching, around, challenge_limits
from pipelines.clock import Span, utc_text
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.pareto.ranking import reading_stations
from pipelines.measures.signals.sentences import recalled_doubt
from pipelines.measures.signals.tell import CRITICAL_CALL
from pipelines.measures.trace.detection import Detection
from pipelines.plant.works import Plant
from pipelines.words import joined, say
from schemas.answers.trace import Cavity

AROUND = timedelta(hours=2)  # before and after the window, for the calls minute by minute
LONGEST = timedelta(hours=12)  # of a window shown minute by minute; of a longer one its last part


def parts_at(reader: Reader, line: str, section: int, gob: str, span: Span) -> dict[str, str | None]:
    """The blank and the neck ring that were fitted at a place in a span; several joined where one was changed."""
    rows = reader.ask("parts_there", line=line, section=section, gob=gob, from_time=span.start, to_time=span.end)
    return {
        part: joined(say(", then "), rows.filter(pl.col("part") == part)["number"].to_list()) or None
        for part in ("blank", "neck_ring")
    }


def parts_of(reader: Reader, cavity: Cavity) -> Cavity:
    """The cavity with the blank and the neck ring that were fitted there in its window."""
    named = parts_at(reader, cavity.line, cavity.section, cavity.gob, Span(cavity.from_, cavity.to))
    return cavity.model_copy(update=named)


def evidence_of(
    reader: Reader, plant: Plant, first: Cavity, defect: str | None, parts: Sequence[LineTrace], known: Vouching
) -> dict[str, Any]:
    """Rejects, weights, stops, changes, signals, challenges, gaps and files of the likeliest cavity, as JSON values."""
    lehr = lehr_of_formed(reader, plant, first.line, Span(first.from_, first.to))
    seen = Span(lehr.inspected(first.from_), lehr.inspected(first.to))
    row = {"line": first.line, "from_time": seen.start, "to_time": seen.end}
    detections = {part.view.line: known.detection(part.view.line, defect) for part in parts}
    counts, minutes, weights, forming, signals, stations, missing, files = reader.together(
        lambda mine: _counts(mine, plant, first, defect, row),
        lambda mine: _minutes(mine, first, defect, seen),
        lambda mine: _weights(mine, first, row, lehr),
        lambda mine: _forming(mine, first),
        lambda mine: _signals(mine, first, defect, seen),
        lambda mine: _stations(mine, plant, first.line, defect, seen, known),
        lambda mine: _missing(mine, plant, first.line, seen),
        lambda mine: mine.ask("files_behind", **row).select("batch", "feed", "file", "archived_as", "rows_used"),
    )
    return {
        "cavity": {
            "line": first.line,
            "section": first.section,
            "gob": first.gob,
            "mould": first.mould,
            "blank": first.blank,
            "neck_ring": first.neck_ring,
        },
        "seen_from": utc_text(seen.start),
        "seen_to": utc_text(seen.end),
        **counts,
        **minutes,
        **weights,
        **forming,
        "signals": signals,
        "stations": stations,
        "missing": missing,
        "detection": [{"line": key, **_trust(trust)} for key, trust in detections.items()],
        "files": _rows(files),
    }


def _counts(reader: Reader, plant: Plant, first: Cavity, defect: str | None, row: dict[str, Any]) -> dict[str, Any]:
    every, ware = faults(plant, reader.ask("calls", **row)), reader.ask("ware", **row)
    calls = every.filter(pl.col("mould") == first.mould)
    reading = pl.col("station").is_in(reading_stations(plant, first.line, ware))
    mine = calls.filter(pl.col("defect") == defect) if defect else calls
    unread = every.filter(pl.col("mould").is_null() & (pl.col("defect") == (defect or "")))
    sums = calls.group_by("station", "defect").agg(pl.col("calls").sum())
    return {
        "ware_of_mould": int(ware.filter((pl.col("mould") == first.mould) & reading)["inspected"].sum()),
        "calls_of_defect": int(mine["calls"].sum()),
        "calls_without_mould": int(unread["calls"].sum()),
        "calls": _rows(sums.sort("calls", "defect", "station", descending=[True, False, False])),
    }


def _minutes(reader: Reader, first: Cavity, defect: str | None, seen: Span) -> dict[str, Any]:
    """The rows of the defect at the cavity's mould, minute by minute about the window."""
    if defect is None:
        return {"minutes_from": None, "minutes_to": None, "minutes": []}
    start, end = max(seen.start - AROUND, seen.end - LONGEST), seen.end + AROUND
    rows = reader.ask("calls_of_mould", line=first.line, defect=defect, mould=first.mould, from_time=start, to_time=end)
    return {"minutes_from": utc_text(start), "minutes_to": utc_text(end), "minutes": _rows(rows)}


def _weights(reader: Reader, first: Cavity, row: dict[str, Any], lehr: LehrTime) -> dict[str, Any]:
    wide = {**row, "from_time": row["from_time"] - AROUND, "to_time": row["to_time"] + AROUND}
    weights = reader.ask("weights_of_line", **wide, lehr_s=int(lehr.minutes * 60)).filter(
        pl.col("mould") == first.mould
    )
    grams = weights["weight_g"]
    return {
        "weights": {"n": weights.height, "mean_g": grams.mean(), "sd_g": grams.std()},
        "weighings": _rows(weights.select("sampled_at", "point", "weight_g", "batch", "file_line").tail(200)),
    }


def _forming(reader: Reader, first: Cavity) -> dict[str, Any]:
    about = {"line": first.line, "from_time": first.from_ - AROUND, "to_time": first.to + AROUND}
    stops = reader.ask("stoppages_of_line", **about)
    stops = stops.filter(pl.col("section").is_null() | (pl.col("section") == first.section))
    spans = reader.ask("parts_there", section=first.section, gob=first.gob, **about)
    return {
        "stoppages": _rows(stops.select("section", "stopped_at", "restarted_at", "cause", "batch", "file_line")),
        "moulds_there": _rows(spans),
    }


def _signals(reader: Reader, first: Cavity, defect: str | None, seen: Span) -> list[dict[str, Any]]:
    """The signals of the line that were open in the window, those that hold the mould marked so; critical calls of the
    defect asked for only.
    """
    every = kept_signals(reader, seen.start - timedelta(hours=1), seen.end + timedelta(hours=1), [first.line])
    kept = [this_signal for this_signal in every if this_signal.kind != CRITICAL_CALL or this_signal.defect == defect]
    names = (
        "id",
        "kind",
        "defect",
        "severity",
        "scope",
        "members",
        "onset",
        "ended",
        "formed",
        "calls",
        "expected",
        "ware",
        "q",
    )
    found = []
    for signal in kept:
        row = signal.told()
        found.append(
            {
                **{name: row[name] for name in names},
                "holds_the_mould": first.mould in signal.moulds,
            }
        )
    return sorted(found, key=lambda s: (not s["holds_the_mould"], s["onset"]))


def _stations(
    reader: Reader, plant: Plant, line: str, defect: str | None, seen: Span, known: Vouching
) -> list[dict[str, Any]]:
    """Every station of the line that can call the defect, with its last challenge before the window and its first after
    it.
    """
    found = []
    challenges = reader.ask("challenges_of_line", **challenge_limits(seen), line=line, defect=defect)
    for station in plant.stations_of(line):
        if defect is not None and not station.can_call(defect):
            continue
        rows = challenges.filter(pl.col("station") == station.id)
        before, after = around(rows, seen.start, seen.end)
        doubts = [d.why for d in known.doubts_of(line, defect, seen.start, seen.end) if d.station == station.id]
        found.append(
            {"station": station.id, "before": _row(before), "after": _row(after), "in_doubt": sorted(set(doubts))}
        )
    return found


def _missing(reader: Reader, plant: Plant, line: str, seen: Span) -> list[str]:
    """Stations whose counts do not cover the window, and what of its hours could not be judged."""
    covered = dict(
        reader.ask("coverage", line=line, from_time=seen.start, to_time=seen.end)
        .select("station", "covered_s")
        .iter_rows()
    )
    texts = []
    for station in plant.stations_of(line):
        lacking = seen.seconds - covered.get(station.id, 0)
        if lacking > 120:
            texts.append(
                say(
                    "{station}: no counts for {lacking} of {whole} min",
                    station=station.id,
                    lacking=f"{lacking / 60:.0f}",
                    whole=f"{seen.seconds / 60:.0f}",
                )
            )
    doubts = reader.ask("doubts_of_line", line=line, from_time=seen.start, to_time=seen.end)
    return texts + [recalled_doubt(text) for text in doubts["doubt"].unique(maintain_order=True)]


def _trust(trust: Detection) -> dict[str, Any]:
    return {"rate": trust.rate, "low": trust.low, "high": trust.high, "stations": list(trust.stations)}


def _rows(frame: pl.DataFrame) -> list[dict[str, Any]]:
    return [_row(row) or {} for row in frame.iter_rows(named=True)]


def _row(row: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if row is None else {k: utc_text(v) if isinstance(v, datetime) else v for k, v in row.items()}
