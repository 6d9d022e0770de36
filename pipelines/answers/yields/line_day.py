"""Everything the ledger has of one line's day, each part in its own time-aligned window."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.pallets import pallets_of_line
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.yields.called_only import rejected_by_calls
from pipelines.measures.yields.counters import counted, increments
from pipelines.measures.yields.line_flows import LineDay, LinePart, formed_span, pack_span, station_span
from pipelines.measures.yields.losses import START_UP
from pipelines.measures.yields.refed import of_new_ware
from pipelines.plant.works import Plant
from pipelines.words import say

AT_END = timedelta(minutes=30)  # how much about an end of the day its lehr time and rate are taken from
_COUNTERS = {"inspected": say("inspected"), "rejected": say("rejected")}
_DOUBTS = {
    "reset": say("reset"),
    "reset or rollover": say("reset or rollover"),
    "more than one rollover": say("more than one rollover"),
    "gap": say("gap"),
}


def line_day(reader: Reader, plant: Plant, line: str, span: Span, shifts: Sequence[tuple[str, Span]]) -> LineDay:
    """One line's day; shifts: name and span of each shift of it."""
    lehr = lehr_time(reader, plant, line, span)
    ends = _ends(reader, plant, line, span)
    formed, packed = formed_span(ends, span), pack_span(plant, line, span)
    parts = _parts(reader, line, span, formed, lehr, shifts)
    starts = [part.span.start for part in parts]
    edges = [part.formed.start for part in parts] + [formed.end]
    ware, notes, counted_by_totals = _ware(reader, plant, line, span, starts, lehr)
    ware, again = of_new_ware(ware, {s.id: s.order for s in plant.stations_of(line)})
    calls = _by_station(reader, plant, line, "calls_by_part", span, starts)
    ware, called, only_calls = rejected_by_calls(ware, calls)
    pallets = pallets_of_line(reader, plant, line, packed.start - timedelta(hours=12), packed.end)
    return LineDay(
        line=line,
        span=span,
        parts=parts,
        gobs=reader.ask("gobs_by_part", line=line, edges=edges),
        ware=ware,
        calls=calls,
        passed=_passed(reader, plant, line, packed, pallets),
        pallets=pallets,
        weights=cold_weights(reader, plant, line, span),
        stoppages=reader.ask("stoppages_of_line", line=line, from_time=formed.start, to_time=formed.end),
        rates={row[0]: row[1] for row in reader.ask("running_rate", line=line, edges=edges).iter_rows()},
        cover=_cover(reader, plant, line, span) | counted_by_totals,
        lehr=lehr,
        ends=ends,
        end_rates=(_rate(reader, line, formed.start), _rate(reader, line, formed.end)),
        in_lehr=_in_lehr(reader, line, span, formed),
        notes=(*notes, *again, *only_calls),
        called=called,
    )


def cut_between(reader: Reader, line: str, span: Span) -> float:
    """Gobs that a line cut in a time, by the forming clock."""
    return _gobs(reader, line, span)[0]


def cold_weights(reader: Reader, plant: Plant, line: str, span: Span) -> pl.DataFrame:
    """Weighings at the cold end in `span`, with item and cavity."""
    lehr_s = int(lehr_time(reader, plant, line, span).minutes * 60)
    rows = reader.ask("weights_of_line", line=line, from_time=span.start, to_time=span.end, lehr_s=lehr_s)
    return rows.filter(pl.col("point") == "cold")


def _gobs(reader: Reader, line: str, span: Span) -> tuple[float, float]:
    cut, hot = reader.ask("gobs_of_line", line=line, from_time=span.start, to_time=span.end).row(0)
    return float(cut), float(hot)


def _rate(reader: Reader, line: str, at: datetime) -> float:
    """Gobs a minute about a moment."""
    return _gobs(reader, line, Span(at - AT_END, at + AT_END))[0] / (2 * AT_END.total_seconds() / 60)


def _ends(reader: Reader, plant: Plant, line: str, span: Span) -> tuple[LehrTime, LehrTime]:
    first, last = (lehr_time(reader, plant, line, Span(at - AT_END, at + AT_END)) for at in (span.start, span.end))
    return first, last


def _in_lehr(reader: Reader, line: str, span: Span, formed: Span) -> tuple[float | None, float | None]:
    """Containers in the lehr at the two ends of the production day: formed by then, not yet at the first station."""
    pairs = [_gobs(reader, line, Span(*limits)) for limits in ((formed.start, span.start), (formed.end, span.end))]
    first, last = (cut - hot if cut else None for cut, hot in pairs)
    return first, last


def _parts(
    reader: Reader, line: str, span: Span, formed: Span, lehr: LehrTime, shifts: Sequence[tuple[str, Span]]
) -> tuple[LinePart, ...]:
    """The day cut at its shifts, at the starts of its jobs and at the end of each start-up."""
    jobs = reader.ask("jobs_of_line", line=line, from_time=formed.start - START_UP, to_time=formed.end)
    begun: list[tuple[datetime, str]] = list(zip(jobs["started_at"], jobs["job"], strict=True))
    cuts = {lehr.inspected(at + later) for at, _ in begun for later in (timedelta(0), START_UP)}
    cuts = {at.replace(second=0, microsecond=0) for at in cuts} | {this_span.start for _, this_span in shifts}
    edges = [span.start, *sorted(at for at in cuts if span.start < at < span.end), span.end]
    parts = []
    for start, end in pairwise(edges):
        first = formed.start if start == span.start else lehr.formed(start)
        last = formed.end if end == span.end else lehr.formed(end)
        middle = lehr.formed(start + (end - start) / 2)
        job = next((pair for pair in reversed(begun) if pair[0] <= middle), None)
        shift = next((name for name, this_span in shifts if this_span.start <= start < this_span.end), "")
        starting = job is not None and job[0] + START_UP > middle
        parts.append(LinePart(Span(start, end), Span(first, last), shift, job[1] if job else "no job", starting))
    return tuple(parts)


def _by_station(
    reader: Reader, plant: Plant, line: str, query: str, span: Span, starts: Sequence[datetime]
) -> pl.DataFrame:
    """A query by part, each station in the window in which it met the day's ware."""
    found = []
    for after in sorted({s.after_minutes for s in plant.stations_of(line)}):
        later = timedelta(minutes=after)
        ids = [s.id for s in plant.stations_of(line) if s.after_minutes == after]
        edges = [*(start + later for start in starts), span.end + later]
        found.append(reader.ask(query, line=line, edges=edges).filter(pl.col("station").is_in(ids)))
    return pl.concat(found)


def _cover(reader: Reader, plant: Plant, line: str, span: Span) -> dict[str, float]:
    rows = reader.ask("coverage", line=line, from_time=span.start, to_time=span.end)
    return {row["station"]: min(1.0, row["covered_s"] / span.seconds) for row in rows.iter_rows(named=True)}


def _passed(reader: Reader, plant: Plant, line: str, packed: Span, pallets: pl.DataFrame) -> pl.DataFrame:
    """What passed the last station, from the first pallet that matters to the end of the day."""
    last = plant.stations_of(line)[-1].order
    stations = [s.id for s in plant.stations_of(line) if s.order == last]
    start = min([packed.start - AT_END, *pallets["packed_from"]])
    end = max([packed.end + AT_END, *pallets["packed_to"]])
    return reader.ask("passed_by_window", line=line, stations=stations, from_time=start, to_time=end)


def _ware(
    reader: Reader, plant: Plant, line: str, span: Span, starts: Sequence[datetime], lehr: LehrTime
) -> tuple[pl.DataFrame, list[str], dict[str, float]]:
    """The ware by part, with the stations that sent running totals only; a note on each stretch that those leave open;
    their cover.
    """
    ware = _by_station(reader, plant, line, "ware_by_part", span, starts)
    beyond = timedelta(hours=1)
    reads = reader.ask("counter_reads_of_line", line=line, from_time=span.start - beyond, to_time=span.end + beyond)
    reads = reads.filter(~pl.col("station").is_in(ware["station"].unique().to_list()))
    if reads.is_empty():
        return ware, [], {}
    moduli = {station.id: station.counter_modulus for station in plant.stations_of(line)}
    jobs = reader.ask(
        "jobs_of_line", line=line, from_time=lehr.formed(span.start) - beyond, to_time=lehr.formed(span.end) + beyond
    )
    frame = increments(reads, moduli, [lehr.inspected(at) for at in jobs["started_at"]])
    parts, notes, cover = [ware], [], {}
    for station in dict.fromkeys(reads["station"]):
        mine = frame.filter(pl.col("station") == station)
        later = timedelta(minutes=plant.stations[station].after_minutes)
        edges = [*(start + later for start in starts), span.end + later]
        for number, (start, end) in enumerate(pairwise(edges), start=1):
            sums, _ = counted(mine, start, end)
            parts.append(sums.select(pl.lit(number).alias("part"), "station", "inspected", "rejected"))
        more, cover[station] = _of_totals(plant, station, mine, station_span(plant, station, span))
        notes += more
    return pl.concat(parts, how="diagonal_relaxed"), notes, cover


def _of_totals(plant: Plant, station: str, frame: pl.DataFrame, span: Span) -> tuple[list[str], float]:
    """What has to be said of a station that was counted by its running totals, and the share of its day that they
    determine.
    """
    _, open_ = counted(frame, span.start, span.end)
    mine = frame.filter(pl.col("counter") == "inspected")
    late = max(timedelta(0), min(mine["from_at"].to_list(), default=span.end) - span.start)
    early = max(timedelta(0), span.end - max(mine["to_at"].to_list(), default=span.start))
    minutes = f"{(late + early).total_seconds() / 60:.0f}"
    short = say(", which miss {minutes} min of the day", minutes=minutes) if late + early else ""
    notes = [say("{station}: counted by its running totals{short}", station=station, short=short)]
    lost = late + early
    for row in open_.iter_rows(named=True):
        notes.append(_undetermined(plant, station, row))
        if row["counter"] == "inspected":
            lost += row["to_at"] - row["from_at"]
    return notes, max(0.0, 1 - lost.total_seconds() / span.seconds)


def _undetermined(plant: Plant, station: str, row: dict[str, Any]) -> str:
    most = say(", at most {at_most}", at_most=row["at_most"]) if row["at_most"] is not None else ""
    return say(
        "{station}: {counter} between {start} and {end} is not determined ({doubt}): at least {at_least}{most}",
        station=station,
        counter=_COUNTERS.get(row["counter"], row["counter"]),
        start=plant.clock.show(row["from_at"]),
        end=plant.clock.show(row["to_at"]),
        doubt=_DOUBTS.get(row["doubt"], row["doubt"]),
        at_least=row["at_least"],
        most=most,
    )
