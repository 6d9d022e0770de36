"""The pack-to-melt of a production day, straight from the ledger."""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.store import Reader
from pipelines.measures.counters import counted, increments
from pipelines.measures.yields import (
    LineDay,
    day_yield,
    formed_span,
    furnace_span,
    furnace_yield,
    line_yield,
    pack_span,
    station_span,
)
from pipelines.plant import Plant
from schemas.results import Yield


def answer_yield(reader: Reader, plant: Plant, day: date, furnace: str | None = None, line: str | None = None) -> Yield:
    """The day's yield of every furnace and line, or of those asked for; WrongUse for unknown ones."""
    if furnace is not None and furnace not in plant.furnaces:
        raise WrongUse(f"there is no furnace '{furnace}' in works.toml; it has {', '.join(plant.furnaces)}")
    if line is not None and line not in plant.lines:
        raise WrongUse(f"there is no line '{line}' in works.toml; it has {', '.join(plant.lines)}")
    span = plant.clock.day(day)
    days = {one.id: line_day(reader, plant, one.id, span) for one in plant.line}
    lines = [line_yield(plant, told) for told in days.values()]
    furnaces = []
    for one in plant.furnace:
        cut = span.shifted(-furnace_span(plant, one.id, lines, days))
        melt = reader.ask("melt_of_furnace", furnace=one.id, from_time=cut.start, to_time=cut.end)
        furnaces.append(furnace_yield(plant, one, melt, cut, lines))
    of_line = plant.lines[line].furnace if line is not None else furnace
    wanted = [
        told
        for told in lines
        if line in (None, told.line) and (furnace is None or plant.lines[told.line].furnace == furnace)
    ]
    return day_yield(day, [told for told in furnaces if of_line in (None, told.furnace)], wanted)


def line_day(reader: Reader, plant: Plant, line: str, span: Span) -> LineDay:
    """Everything the ledger has of one line's day, each part in its own time-aligned window."""
    lehr = lehr_time(reader, plant, line, span)
    formed, packed = formed_span(lehr, span), pack_span(plant, line, span)
    about = {"line": line, "from_time": formed.start, "to_time": formed.end}
    ware, notes = _with_counters(reader, plant, line, span, lehr, _ware(reader, plant, line, span))
    return LineDay(
        line=line,
        span=span,
        gobs=reader.ask("gobs_by_item", **about),
        ware=ware,
        pallets=reader.ask("pallets_of_line", line=line, from_time=packed.start, to_time=packed.end),
        weights=cold_weights(reader, plant, line, span),
        stoppages=reader.ask("stoppages_of_line", **about),
        lehr=lehr,
        counter_notes=tuple(notes),
    )


def cold_weights(reader: Reader, plant: Plant, line: str, span: Span) -> pl.DataFrame:
    """Weighings at the cold end in `span`, with item and cavity."""
    lehr_s = int(lehr_time(reader, plant, line, span).minutes * 60)
    told = reader.ask("weights_of_line", line=line, from_time=span.start, to_time=span.end, lehr_s=lehr_s)
    return told.filter(pl.col("point") == "cold")


def _ware(reader: Reader, plant: Plant, line: str, span: Span) -> pl.DataFrame:
    parts = []
    for after in sorted({s.after_minutes for s in plant.stations_of(line)}):
        ids = [s.id for s in plant.stations_of(line) if s.after_minutes == after]
        shifted = station_span(plant, ids[0], span)
        here = reader.ask("ware", line=line, from_time=shifted.start, to_time=shifted.end)
        parts.append(here.filter(pl.col("station").is_in(ids)))
    return pl.concat(parts).group_by("station").agg(pl.col("inspected").sum(), pl.col("rejected").sum()).sort("station")


def _with_counters(
    reader: Reader, plant: Plant, line: str, span: Span, lehr: LehrTime, ware: pl.DataFrame
) -> tuple[pl.DataFrame, list[str]]:
    """The ware with the stations that sent running totals only, and a note on each stretch that those leave open."""
    beyond = timedelta(hours=1)
    reads = reader.ask("counter_reads_of_line", line=line, from_time=span.start - beyond, to_time=span.end + beyond)
    reads = reads.filter(~pl.col("station").is_in(ware["station"].to_list()))
    if reads.is_empty():
        return ware, []
    moduli = {station.id: station.counter_modulus for station in plant.stations_of(line)}
    jobs = reader.ask(
        "jobs_of_line", line=line, from_time=lehr.formed(span.start) - beyond, to_time=lehr.formed(span.end) + beyond
    )
    told = increments(reads, moduli, [lehr.inspected(at) for at in jobs["started_at"]])
    parts, notes = [ware], []
    for station in dict.fromkeys(reads["station"]):
        shifted = station_span(plant, station, span)
        sums, open_ = counted(told.filter(pl.col("station") == station), shifted.start, shifted.end)
        parts.append(sums.select(ware.columns))
        mine = told.filter((pl.col("station") == station) & (pl.col("counter") == "inspected"))
        late = max(timedelta(0), min(mine["from_at"].to_list(), default=shifted.end) - shifted.start)
        early = max(timedelta(0), shifted.end - max(mine["to_at"].to_list(), default=shifted.start))
        short = f", which miss {(late + early).total_seconds() / 60:.0f} min of the day" if late + early else ""
        notes.append(f"{station}: counted by its running totals{short}")
        for row in open_.iter_rows(named=True):
            where = f"{plant.clock.show(row['from_at'])} and {plant.clock.show(row['to_at'])}"
            most = f", at most {row['at_most']}" if row["at_most"] is not None else ""
            notes.append(
                f"{station}: {row['counter']} between {where} is not determined ({row['doubt']}): at least {row['at_least']}{most}"
            )
    return pl.concat(parts, how="vertical_relaxed"), notes
