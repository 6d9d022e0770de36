"""A line on one axis with two clocks: its calls in short bins against what was expected, and all that happened."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

import numpy as np
import polars as pl

from pipelines.answers.actions import action_words
from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.pareto import check_line, spans_of_line
from pipelines.answers.signals import answer_doubts, kept_signals, ranked, with_notes
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.moved import moved
from pipelines.measures.pareto.calls_in_time import CallsInTime, calls_in_time, counts_kept, in_bins
from pipelines.plant.works import Plant
from schemas.answers.signals import Signal

LONGEST = timedelta(days=7)
BINS_S = (60, 300, 900, 1800, 3600, 7200)  # a bin is the shortest of these of which no more than MOST fit
MOST = 150
TOGETHER = timedelta(minutes=10)  # parts fitted, or stations challenged, within so much of each other are one mark
READ_BACK = timedelta(days=7)  # readings by which it is told whether one moved
COARSE_S = 900  # of longer windows it is said that they are spread


@dataclass(frozen=True)
class Happened:
    """One thing that happened. at, until: by its own clock (cold_end: cold end, else forming); kind: challenge, fitted,
    stop, job, action or reading; what: its parts, for a sentence; bad: a challenge that was not caught whole; counted:
    caught and passes of a challenge.
    """

    at: datetime
    kind: str
    what: tuple[str, ...]
    cold_end: bool = False
    bad: bool = False
    until: datetime | None = None
    counted: tuple[int, ...] = ()


@dataclass(frozen=True)
class OnlyOf:
    """Calls with a mould number read, or of one station."""

    mould: str | None = None
    station: str | None = None

    def of(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows (station, mould) that are meant."""
        if self.mould is not None:
            return rows.filter(pl.col("mould") == self.mould)
        return rows.filter(pl.col("station") == self.station) if self.station is not None else rows

    def means(self, signal: Signal) -> bool:
        """Whether a signal is about it."""
        if self.mould is not None:
            return signal.scope == "mould" and self.mould in signal.members
        return self.station is None or (signal.scope == "station" and self.station in signal.members)


@dataclass(frozen=True)
class LineTimes:
    """A line in [span.start, span.end) by the cold-end clock, or only a mould or a station of it.

    calls: of all faults; chosen: of `defect`, where one is asked for. still: spans in which counts came and no ware;
    silent: in which no count came, both of the first station, or of the station that is asked for. signals: kept ones
    that touch the window, the most harmful first. coarse: stations whose windows are longer than a quarter of an hour,
    in minutes; their counts are spread.
    """

    line: str
    span: Span
    defect: str | None
    lehr: LehrTime
    calls: CallsInTime
    chosen: CallsInTime | None
    still: list[Span]
    silent: list[Span]
    signals: list[Signal]
    happened: list[Happened]
    coarse: dict[str, int]
    doubts: list[str]
    files: pl.DataFrame
    only: OnlyOf | None = None


def bin_of(span: Span) -> int:
    """The length of a bin [s] for a window."""
    return next((s for s in BINS_S if span.seconds / s <= MOST), BINS_S[-1])


def answer_line_times(
    reader: Reader, plant: Plant, line: str, span: Span, defect: str | None = None, only: OnlyOf | None = None
) -> LineTimes:
    """A window by the cold-end clock; WrongUse for an unknown line or defect, or a window over a week. Of a mould, what
    is expected is the mean of the machine's moulds while it sat there; of a station nothing is.
    """
    check_line(plant, line)
    if defect is not None and defect not in plant.defects:
        raise WrongUse(f"there is no defect '{defect}' in works.toml; it has {', '.join(plant.defects)}")
    if span.end - span.start > LONGEST:
        raise WrongUse(f"a picture of a line in time holds {LONGEST.days} days at the most")
    step_s = bin_of(span)
    here = {"line": line, "from_time": span.start, "to_time": span.end}
    windows, ware = ware_in_bins(reader, plant, line, span, step_s)
    rows = reader.ask("calls_by_bin", **here, defects=list(plant.faults), bin_s=step_s)
    hours = reader.ask("expected_defects_by_hour", **here)
    lehr = lehr_time(reader, plant, line, span)

    held, seen = np.ones(len(ware)), ware
    if only is not None and only.station is not None:
        seen = in_bins(windows.filter(pl.col("station") == only.station), "inspected", span.start, step_s, len(ware))
    elif only is not None:
        stays = spans_of_line(reader, plant, line, span).filter(pl.col("number") == only.mould)
        held = _held(stays, lehr.formed(span.start), step_s, len(ware))

    def series(of: pl.Expr) -> CallsInTime:
        if only is not None:
            return _of_one(plant, line, only, rows.filter(of), seen, (span.start, step_s), held)
        return calls_in_time(rows.filter(of), ware, hours.filter(of), span.start, step_s)

    return LineTimes(
        line=line,
        span=span,
        defect=defect,
        lehr=lehr,
        calls=series(pl.lit(True)),
        chosen=None if defect is None else series(pl.col("defect") == defect),
        still=_runs(span, step_s, seen == 0),
        silent=_runs(span, step_s, np.isnan(seen)),
        signals=[s for s in _signals(reader, line, span) if only is None or only.means(s)],
        happened=sorted(answer_happened(reader, plant, line, span, lehr, defect, only), key=lambda event: event.at),
        coarse=_coarse(windows),
        doubts=[doubt for _, _, doubt in answer_doubts(reader, plant, span, line)],
        files=reader.ask("files_behind", **here),
        only=only,
    )


def _of_one(
    plant: Plant,
    line: str,
    only: OnlyOf,
    rows: pl.DataFrame,
    ware: np.ndarray,
    bins: tuple[datetime, int],
    held: np.ndarray,
) -> CallsInTime:
    """The series of a mould against the mean of the machine's moulds while it was held, or of a station. ware: of a
    station its own. held: in how many cavities the mould sat when the ware of each bin was formed.
    """
    first, step_s = bins
    nothing = pl.DataFrame(schema={"hour": pl.Datetime, "expected": float, "variance": float, "doubt": float})
    series = calls_in_time(only.of(rows), ware, nothing, first, step_s)
    if only.mould is None:
        return series
    places = plant.lines[line].sections * plant.lines[line].gobs
    read = calls_in_time(rows.filter(pl.col("mould").is_not_null()), ware, nothing, first, step_s).calls
    mean = np.where(np.isnan(ware), np.nan, np.nan_to_num(read) / places * held)
    low, high = counts_kept(mean, mean)
    return replace(series, expected=mean, low=low, high=high)


def _held(stays: pl.DataFrame, formed: datetime, step_s: int, bins: int) -> np.ndarray:
    """In how many cavities a mould sat by these stays, in bins of the forming clock from `formed` on."""
    held = np.zeros(bins)
    starts = np.arange(bins, dtype=float)
    for fitted_at, ended_at in stays.select("fitted_at", "ended_at").iter_rows():
        begin = (fitted_at - formed).total_seconds() / step_s
        end = np.inf if ended_at is None else (ended_at - formed).total_seconds() / step_s
        held += np.clip(np.minimum(starts + 1, end) - np.maximum(starts, begin), 0.0, 1.0)
    return held


def ware_in_bins(reader: Reader, plant: Plant, line: str, span: Span, step_s: int) -> tuple[pl.DataFrame, np.ndarray]:
    """The windows of a line's stations (moment, window_s, station, inspected), and the ware that reached the first of
    them [bins].
    """
    here = {"line": line, "from_time": span.start, "to_time": span.end}
    stations = [station.id for station in plant.stations_of(line)]
    windows = reader.ask("ware_by_bin", **here, stations=stations, bin_s=step_s)
    first = windows.filter(pl.col("station").is_in(plant.first_stations(line)))
    return windows, in_bins(first, "inspected", span.start, step_s, int(np.ceil(span.seconds / step_s)))


def answer_series(reader: Reader, plant: Plant, line: str, span: Span, step_s: int) -> CallsInTime:
    """A line's calls of all faults in bins of a window."""
    here = {"line": line, "from_time": span.start, "to_time": span.end}
    _, ware = ware_in_bins(reader, plant, line, span, step_s)
    rows = reader.ask("calls_by_bin", **here, defects=list(plant.faults), bin_s=step_s)
    return calls_in_time(rows, ware, reader.ask("expected_defects_by_hour", **here), span.start, step_s)


def _runs(span: Span, step_s: int, bins: np.ndarray) -> list[Span]:
    """The spans of neighbouring bins for which something holds."""
    spans, number = [], 0
    for holds, run in groupby(bins.tolist()):
        length = len(list(run))
        if holds:
            start = span.start + timedelta(seconds=number * step_s)
            spans.append(Span(start, min(span.end, start + timedelta(seconds=length * step_s))))
        number += length
    return spans


def _coarse(windows: pl.DataFrame) -> dict[str, int]:
    longest = windows.group_by("station").agg(pl.col("window_s").max()).sort("station")
    step = int(windows["window_s"].min() or 0) if windows.height else 0  # type: ignore[arg-type]
    return {station: seconds // 60 for station, seconds in longest.iter_rows() if seconds > max(COARSE_S, step)}


def _signals(reader: Reader, line: str, span: Span) -> list[Signal]:
    hour = span.start.replace(minute=0, second=0, microsecond=0)
    kept = with_notes(reader, kept_signals(reader, hour, span.end, [line]))
    return ranked([s for s in kept if s.onset < span.end and (s.ended is None or s.ended > span.start)])


def answer_happened(
    reader: Reader,
    plant: Plant,
    line: str,
    span: Span,
    lehr: LehrTime,
    defect: str | None = None,
    only: OnlyOf | None = None,
) -> Iterator[Happened]:
    """Everything of the window: challenges and what was done at a station by the cold-end clock, fittings, stops, jobs,
    actions at the machine and readings by the forming clock. only: of a mould its own fittings, of a station its own
    challenges.
    """
    formed = {"line": line, "from_time": lehr.formed(span.start), "to_time": span.end}
    if only is None or only.mould is None:
        yield from _challenges(reader, line, span, defect, only)
    fittings = reader.ask("fittings_of_line", **formed)
    if only is not None and only.mould is not None:
        fittings = fittings.filter((pl.col("part") == "mould") & (pl.col("number") == only.mould))
    yield from _fittings(fittings.to_dicts())
    for row in reader.ask("stoppages_of_line", **formed).iter_rows(named=True):
        where = "" if row["section"] is None else str(row["section"])
        yield Happened(row["stopped_at"], "stop", (where, row["cause"] or ""), until=row["restarted_at"])
    for row in reader.ask("jobs_of_line", **formed).iter_rows(named=True):
        if row["started_at"] >= formed["from_time"]:
            yield Happened(row["started_at"], "job", (row["job"], row["item"]))
    yield from _actions(reader, line, span, lehr)
    yield from _readings(reader, plant, line, span, lehr)


def _actions(reader: Reader, line: str, span: Span, lehr: LehrTime) -> Iterator[Happened]:
    """What was done: at a station by the cold-end clock, else by the forming clock."""
    rows = reader.ask("actions_between", from_time=lehr.formed(span.start), to_time=span.end)
    for row in rows.filter(pl.col("line") == line).iter_rows(named=True):
        at_station = row["station"] is not None
        if at_station and row["acted_at"] < span.start:
            continue
        yield Happened(row["acted_at"], "action", (action_words(row),), cold_end=at_station)


def _readings(reader: Reader, plant: Plant, line: str, span: Span, lehr: LehrTime) -> Iterator[Happened]:
    """Readings of the line, its furnace and its stations that moved, by those of READ_BACK before."""
    places = [line, plant.lines[line].furnace, *(station.id for station in plant.stations_of(line))]
    begin = lehr.formed(span.start)
    rows = reader.ask("reads_at", places=places, from_time=begin - READ_BACK, to_time=span.end)
    for (at, quantity), mine in rows.group_by(["at", "quantity"], maintain_order=True):
        times, values = mine["read_at"].to_list(), mine["value"].to_list()
        for number, off in moved(values):
            if times[number] >= begin:
                what = (str(quantity), str(at), str(values[number]), str(off))
                yield Happened(times[number], "reading", what)


def _challenges(reader: Reader, line: str, span: Span, defect: str | None, only: OnlyOf | None) -> Iterator[Happened]:
    """Challenges within a few minutes of each other as one. One that was not caught whole is bad, however many were."""
    rows = reader.ask("challenges_of_line", line=line, from_time=span.start, to_time=span.end, defect=defect)
    if only is not None:
        rows = rows.filter(pl.col("station") == only.station)
    for group in _near(rows.to_dicts(), "checked_at"):
        sums: dict[str, tuple[int, int]] = {}
        for row in group:
            caught, passes = sums.get(row["station"], (0, 0))
            sums[row["station"]] = caught + row["caught"], passes + row["passes"]
        what = tuple(f"{station} {caught} of {passes}" for station, (caught, passes) in sums.items())
        totals = (sum(numbers) for numbers in zip(*sums.values(), strict=True))
        bad = any(row["caught"] < row["passes"] for row in group)
        yield Happened(group[0]["checked_at"], "challenge", what, True, bad, counted=tuple(totals))


def _fittings(rows: list[dict[str, Any]]) -> Iterator[Happened]:
    """Parts fitted within a few minutes of each other as one change."""
    for group in _near([row for row in rows if row["number"]], "fitted_at"):
        places = tuple(f"{row['part']} {row['number']} in {row['section']}{row['gob']}" for row in group)
        yield Happened(group[0]["fitted_at"], "fitted", places)


def _near(rows: list[dict[str, Any]], at: str) -> Iterator[list[dict[str, Any]]]:
    """Rows in order of time, those close to the one before together."""
    group: list[dict[str, Any]] = []
    for row in rows:
        if group and row[at] - group[-1][at] > TOGETHER:
            yield group
            group = []
        group.append(row)
    if group:
        yield group
