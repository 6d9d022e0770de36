"""What is known of one cavity around a window, each part with the rows or files it comes from."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import polars as pl

from pipelines.answers.lehr import lehr_of_formed
from pipelines.clock import Span, utc_text
from pipelines.ledger.store import Reader
from pipelines.measures.pareto import reading_stations
from pipelines.measures.trace import Detection
from pipelines.plant import Plant
from schemas.results import Cavity


def evidence_of(
    reader: Reader, plant: Plant, first: Cavity, defect: str | None, trusts: dict[str, Detection]
) -> dict[str, Any]:
    """Rejects, weights, stops, changes, challenges and files of the likeliest cavity, as JSON values."""
    lehr = lehr_of_formed(reader, plant, first.line, Span(first.from_, first.to))
    seen = Span(lehr.inspected(first.from_), lehr.inspected(first.to))
    told = {"line": first.line, "from_time": seen.start, "to_time": seen.end}
    return {
        "cavity": {"line": first.line, "section": first.section, "gob": first.gob, "mould": first.mould},
        "seen_from": utc_text(seen.start),
        "seen_to": utc_text(seen.end),
        **_counts(reader, plant, first, defect, told),
        **_weights(reader, first, told, int(lehr.minutes * 60)),
        **_forming(reader, first),
        "detection": [{"line": key, **_trust(trust)} for key, trust in trusts.items()],
        "files": _rows(reader.ask("files_behind", **told).select("feed", "file", "archived_as", "rows_used")),
    }


def _counts(reader: Reader, plant: Plant, first: Cavity, defect: str | None, told: dict[str, Any]) -> dict[str, Any]:
    every, ware = reader.ask("calls", **told), reader.ask("ware", **told)
    calls = every.filter(pl.col("mould") == first.mould)
    reading = pl.col("station").is_in(reading_stations(plant, first.line, ware))
    mine = calls.filter(pl.col("defect") == defect) if defect else calls
    unread = every.filter(pl.col("mould").is_null() & (pl.col("defect") == (defect or "")))
    sums = calls.group_by("station", "defect").agg(pl.col("calls").sum())
    return {
        "ware_of_mould": int(ware.filter((pl.col("mould") == first.mould) & reading)["inspected"].sum()),
        "calls_of_defect": int(mine["calls"].sum()),
        "calls_without_mould": int(unread["calls"].sum()),
        "calls": _rows(sums.sort("calls", "defect", descending=[True, False])),
    }


def _weights(reader: Reader, first: Cavity, told: dict[str, Any], lehr_s: int) -> dict[str, Any]:
    weights = reader.ask("weights_of_line", **told, lehr_s=lehr_s).filter(pl.col("mould") == first.mould)
    grams = weights["weight_g"]
    return {
        "weights": {"n": weights.height, "mean_g": grams.mean(), "sd_g": grams.std()},
        "weighings": _rows(weights.select("sampled_at", "weight_g", "batch", "file_line").tail(200)),
    }


def _forming(reader: Reader, first: Cavity) -> dict[str, Any]:
    about = {"line": first.line, "from_time": first.from_, "to_time": first.to}
    stops = reader.ask("stoppages_of_line", **about)
    stops = stops.filter(pl.col("section").is_null() | (pl.col("section") == first.section))
    spans = reader.ask("mould_spans_of_line", **about)
    spans = spans.filter((pl.col("section") == first.section) & (pl.col("gob") == first.gob))
    return {
        "stoppages": _rows(stops.select("section", "stopped_at", "restarted_at", "cause", "batch", "file_line")),
        "moulds_there": _rows(spans.select("number", "item", "fitted_at", "ended_at")),
    }


def _trust(trust: Detection) -> dict[str, Any]:
    return {"rate": trust.rate, "low": trust.low, "high": trust.high, "stations": list(trust.stations)}


def _rows(frame: pl.DataFrame) -> list[dict[str, Any]]:
    rows = frame.iter_rows(named=True)
    return [{k: utc_text(v) if isinstance(v, datetime) else v for k, v in row.items()} for row in rows]
