"""Clocks and counts of a window that cannot be right, line by line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import polars as pl

from pipelines.answers.pareto import placed_counts, spans_of_line
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.station_faults import (
    MINUTE,
    StationFault,
    clocks_off,
    minute_grid,
    not_fitted,
    out_of_order,
    standing_still,
)
from pipelines.plant.works import Plant
from pipelines.words import say

MOST_NUMBERS = 12
LEAST_READ = 3  # containers: a number read once or twice says nothing


def answer_station_faults(reader: Reader, plant: Plant, span: Span, lines: Sequence[str] = ()) -> list[StationFault]:
    """What of a window cannot be right: clocks against arrival and neighbours, stations that stand still, counts
    against the order of stations, moulds that are not fitted. Found and said, never corrected here: who may correct a
    clock or a log decides.
    """
    faults = [fault for line in lines or plant.lines for fault in _of_line(reader, plant, line, span)]
    return sorted(faults, key=lambda answer: (not answer.certain, answer.line, answer.station, answer.since))


def _of_line(reader: Reader, plant: Plant, line: str, span: Span) -> list[StationFault]:
    limits = {"line": line, "from_time": span.start, "to_time": span.end}
    windows = reader.ask("station_minutes", **limits)
    if windows.is_empty():
        return []
    grid = minute_grid(windows, span.start, span.end)
    after = {s.id: s.after_minutes for s in plant.stations_of(line)}
    lanes = [stations for _, stations in _steps(plant, line, set())]
    faults = [*_ahead(reader, line, span), *clocks_off(line, grid, after, lanes, span.start, span.end)]
    off = {fault.station for fault in faults if fault.kind == "clock"}
    faults += standing_still(line, {s: values for s, values in grid.items() if s not in off}, span.start)
    faults += out_of_order(
        line,
        _steps(plant, line, off),
        _totals(plant, line, windows, span),
        plant.uncertainty.station_counts / 100,
        span.start,
        span.end,
    )
    return [*faults, *_not_fitted(reader, plant, line, span)]


def _ahead(reader: Reader, line: str, span: Span) -> list[StationFault]:
    """Windows that ended after their file was received: the station's clock, or this computer's, is ahead by at least
    so much.
    """
    rows = reader.ask("arrival_leads", line=line, from_time=span.start, to_time=span.end)
    return [
        StationFault(
            line,
            row["station"],
            "ahead of arrival",
            span.start,
            span.end,
            True,
            say(
                "{station} sent windows that end {lead} min after {file} was received: its clock is ahead "
                "by at least that, or this computer's is behind",
                station=row["station"],
                lead=f"{row['lead_s'] / 60:.0f}",
                file=row["file"],
            ),
            minutes=row["lead_s"] / 60,
            size=float(row["files"]),
        )
        for row in rows.iter_rows(named=True)
        if row["lead_s"] > 60
    ]


def _steps(plant: Plant, line: str, off: set[str]) -> list[tuple[int, list[str]]]:
    """The stations of each step in order; steps with a clock that is off are left out: other ware was counted there."""
    orders: dict[int, list[str]] = {}
    for station in plant.stations_of(line):
        orders.setdefault(station.order, []).append(station.id)
    return [(order, stations) for order, stations in sorted(orders.items()) if not off.intersection(stations)]


def _totals(plant: Plant, line: str, windows: pl.DataFrame, span: Span) -> dict[str, tuple[int, int, float]]:
    """Inspected, rejected and cover of each station, without the ware that was put on again at it: what passes stays
    what passes.
    """
    sums = windows.group_by("station").agg(pl.col("inspected", "rejected", "refed").sum(), pl.col("window_s").sum())
    rows = {row["station"]: row for row in sums.iter_rows(named=True)}
    put_on: dict[str, int] = {}
    before = 0
    for _, lanes in _steps(plant, line, set()):
        here = sum(rows[lane]["refed"] for lane in lanes if lane in rows)
        new = max(0, here - before)
        put_on |= {lane: round(rows[lane]["refed"] * new / here) for lane in lanes if here and lane in rows}
        before = here
    return {
        station: (
            row["inspected"] - put_on.get(station, 0),
            row["rejected"] - put_on.get(station, 0),
            row["window_s"] / span.seconds,
        )
        for station, row in rows.items()
    }


def _not_fitted(reader: Reader, plant: Plant, line: str, span: Span) -> list[StationFault]:
    _, ware = placed_counts(reader, plant, line, span)
    spans = spans_of_line(reader, plant, line, span)
    if spans.is_empty():
        return []  # no mould log: nothing is known to be fitted
    lost = ware.filter(pl.col("section").is_null() & pl.col("mould").is_not_null() & ~_doubled(ware, spans))
    sums = lost.group_by("mould").agg(pl.col("inspected").sum()).filter(pl.col("inspected") >= LEAST_READ)
    named = sums.sort("inspected", descending=True)["mould"].head(MOST_NUMBERS).to_list()
    back = span.start - timedelta(minutes=2 * plant.lines[line].lehr_minutes)
    like = {
        number: reader.ask("moulds_like", number=number, lines=[line], from_time=back, to_time=span.end)[
            "number"
        ].to_list()
        for number in named
    }
    faults = not_fitted(
        line, lost.filter(pl.col("mould").is_in(named)), like, _filled(plant, line, spans, span), span.start, span.end
    )
    times = {
        number: part["window_start"].to_list() for (number,), part in lost.partition_by("mould", as_dict=True).items()
    }
    return [replace(fault, since=min(times[fault.key]), until=max(times[fault.key]) + MINUTE) for fault in faults]


def _doubled(ware: pl.DataFrame, spans: pl.DataFrame) -> pl.Expr:
    """Numbers that the log has on the line at all: they have no place only because two places had them, or by minutes
    of the lehr time.
    """
    return pl.col("mould").is_in(spans["number"].unique().to_list())


def _filled(plant: Plant, line: str, spans: pl.DataFrame, span: Span) -> bool:
    """Whether the log fills every place of the machine all the time."""
    machine = plant.lines[line]
    return spans.select("section", "gob").unique().height >= machine.sections * machine.gobs
