"""A line's ware about a forming window, as the exposure measures take it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property, partial
from typing import Any

import numpy as np
import polars as pl

from pipelines.answers.pallets import pallets_of_line
from pipelines.answers.trace.trust import Vouching
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.pareto.ranking import reading_stations
from pipelines.measures.pareto.unread import Unread, unread_calls
from pipelines.measures.trace.defect_rates import remembered
from pipelines.measures.trace.detection import Missed, missed_by_time
from pipelines.measures.trace.exposure import (
    Exposure,
    Passing,
    Stay,
    formed_inside,
    item_ware,
    lehr_by_bin,
    line_exposure,
    spread,
)
from pipelines.measures.trace.false_calls import CallPlace, Split, false_levels, split_calls
from pipelines.measures.trace.packing import PackingTime, blurred_window, packing_time, waits
from pipelines.plant.works import Plant

MARGIN = timedelta(hours=6)  # read before and after what is asked for, for the rates and the packing time about it
SLACK = timedelta(minutes=30)
NEAR_MIN = 60.0  # how near in time read calls tell where unread ones belong
BINS = (  # seconds, and the longest forming window that is worked out in such bins; hours for longer ones
    (60, timedelta(days=2)),
    (300, timedelta(days=12)),
)


@dataclass(frozen=True)
class LineView:
    """What passed a line's stations about a forming window, the stays of its moulds, its pallets, and what got past."""

    line: str
    passing: Passing
    stays: tuple[Stay, ...]
    pallets: pl.DataFrame
    packing: PackingTime
    missed: Missed | None
    after_min: float
    read_share: float
    read_calls: np.ndarray
    unread: Unread = field(default_factory=Unread)
    waits: np.ndarray = field(default_factory=lambda: np.zeros(1))

    def exposure(self, stays: Sequence[Stay]) -> Exposure:
        return line_exposure(self.passing, stays, self.pallets, self.after_min, self.packing, self.missed)

    @cached_property
    def kept(self) -> np.ndarray:
        """Units of each pallet over the ware of its item that met the first station for it: what was rejected on the
        way is not on it.
        """
        ware = item_ware(self.passing, self.stays, self.pallets, self.after_min, self.packing)
        share: np.ndarray = self.pallets["units"].to_numpy() / np.maximum(ware, 1.0)
        return np.where((share > 0.5) & (share < 1.2), np.minimum(share, 1.0), 1.0)

    def _met(self, number: int) -> tuple[float, float]:
        """Between which bins a pallet's ware met the first station, by the usual way to it."""
        way = timedelta(minutes=self.after_min + self.packing.minutes)
        first, last = (self.passing.at(self.pallets[name][number] - way) for name in ("packed_from", "packed_to"))
        return first, last

    def on_pallet(self, number: int) -> np.ndarray:
        """The share of each bin's ware that was packed while a pallet was."""
        begin, end = self._met(number)
        begin -= self.waited(number) / self.passing.bin_min
        return blurred_window(self.passing.bins, begin, end, self.packing.sd / self.passing.bin_min)

    def uncounted(self, number: int) -> float:
        """The share of the time in which a pallet's ware met the first station that lies before any count of these
        hours (MARGIN) came.
        """
        begin, end = self._met(number)
        came = np.flatnonzero(self.passing.ware.sum(axis=0) > 0)
        first = float(came[0]) if len(came) else float(self.passing.bins)
        return float(np.clip((first - begin) / max(end - begin, 1e-9), 0.0, 1.0))

    def waited(self, number: int) -> float:
        """The longest that ware of a pallet had waited on the table before it [min]."""
        moments = (self.pallets[name][number] for name in ("packed_from", "packed_to"))
        first, last = ((m - self.passing.start).total_seconds() / 60 - self.after_min for m in moments)
        inside = self.waits[max(0, int(first)) : max(0, int(last)) + 2]
        return float(inside.max()) if len(inside) else 0.0

    def tells_moulds(self, formed: Span) -> bool:
        """Whether any call made of ware formed in a span had a mould number."""
        inside = formed_inside(self.passing, formed) > 0.5
        return bool(self.read_calls[inside].any())

    def packed(self, formed: Span) -> Span:
        """When ware formed in a span can have been packed."""
        inside = np.flatnonzero(formed_inside(self.passing, formed) > 5e-4)
        if not len(inside):
            return Span(formed.start, formed.start)
        way = timedelta(minutes=self.after_min + self.packing.minutes)
        loose, time = timedelta(minutes=3 * self.packing.sd), timedelta(minutes=self.passing.bin_min)
        first, last = (
            self.passing.start + timedelta(minutes=self.passing.bin_min * int(n)) for n in (inside[0], inside[-1])
        )
        return Span(first + way - loose, last + way + loose + time)


def line_view(reader: Reader, plant: Plant, line: str, formed: Span, defect: str | None, known: Vouching) -> LineView:
    """Read what is needed of a line for ware formed in a window, and of one defect in it."""
    if defect is None:
        return ware_view(reader, plant, line, formed)
    return views_of_defects(reader, plant, line, formed, [defect], known)[defect]


def views_of_defects(
    reader: Reader, plant: Plant, line: str, formed: Span, defects: Sequence[str], known: Vouching
) -> dict[str, LineView]:
    """The same for several defects, read once."""
    view = ware_view(reader, plant, line, formed)
    passing = view.passing
    end = passing.start + timedelta(minutes=passing.bin_min * passing.bins)
    row = {"line": line, "from_time": passing.start, "to_time": end, "bin_s": round(passing.bin_min * 60)}
    calls = reader.ask("calls_by_bin", **row, defects=list(defects))
    places = places_of(reader, plant, line, Span(passing.start, end), known)
    seen = formed.shifted(timedelta(minutes=plant.lines[line].lehr_minutes))
    then = calls.filter(pl.col("moment").is_between(seen.start, seen.end, closed="left"))
    split = partial(split_calls, places=places, levels=false_levels(places))
    return {
        code: replace(
            _with_calls(plant, view, code, calls.filter(pl.col("defect") == code), known, split),
            unread=unread_calls(then.filter(pl.col("defect") == code)),
        )
        for code in defects
    }


def places_of(reader: Reader, plant: Plant, line: str, span: Span, known: Vouching) -> list[CallPlace]:
    """What the places in the row of a line's stations saw and called in a span; a station without counts, or without
    calls of anything, tells nothing.
    """
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    ware = dict(reader.ask("ware", **row).group_by("station").agg(pl.col("inspected").sum()).iter_rows())
    sums = faults(plant, reader.ask("calls", **row)).group_by("station", "defect").agg(pl.col("calls").sum())
    calls = {(station, defect): float(count) for station, defect, count in sums.iter_rows()}
    stations, found = plant.stations_of(line), []
    speaking = {station for (station, _), count in calls.items() if count}
    for order in sorted({s.order for s in stations}):
        lanes = [s for s in stations if s.order == order]
        mine = [s.id for s in lanes if ware.get(s.id) and s.id in speaking]
        codes = [code for code in plant.faults if any(s.can_call(code) for s in lanes)]
        found.append(
            CallPlace(
                float(sum(ware[s] for s in mine)),
                len(mine) / len(lanes),
                {c: sum(calls.get((s, c), 0.0) for s in mine) for c in codes},
                {c: [known.usual(s.id, c) for s in lanes if s.can_call(c)] for c in codes},
            )
        )
    return found


def _with_calls(
    plant: Plant, view: LineView, defect: str, calls: pl.DataFrame, known: Vouching, split: Callable[[str], Split]
) -> LineView:
    passing = replace(view.passing, found=_found(plant, view.passing, calls))
    named = calls.filter(pl.col("mould").is_not_null())
    read = _counts(plant, passing, named, "calls", passing.moulds).sum(axis=0)
    missed = missed_by_time(plant, view.line, defect, known.passes, known.doubts, known.prior, passing.seconds)
    if missed is not None:
        missed = replace(missed, split=split(defect))
    return replace(view, passing=passing, missed=missed, read_calls=read)


def ware_view(reader: Reader, plant: Plant, line: str, formed: Span) -> LineView:
    """A line's ware and pallets for ware formed in a window, without a defect in question."""
    lehr = timedelta(minutes=plant.lines[line].lehr_minutes)
    bin_s = next((s for s, longest in BINS if formed.seconds <= longest.total_seconds()), 3600)
    start = _floor(formed.start + lehr - MARGIN, bin_s)
    seen = Span(start, formed.end + lehr + MARGIN)
    bins = int(np.ceil(seen.seconds / bin_s))
    row = {"line": line, "from_time": start, "to_time": seen.end}
    ware, stays, hours, pallets = reader.together(
        lambda mine: _ware(mine, plant, line, row, bin_s),
        lambda mine: stays_of(mine, [line], Span(formed.start - MARGIN - lehr, formed.end + MARGIN)),
        lambda mine: mine.ask("lehr_hours_of_line", line=line, from_time=start - MARGIN, to_time=seen.end + MARGIN),
        lambda mine: pallets_of_line(mine, plant, line, start, seen.end + SLACK),
    )
    minutes, blur = lehr_by_bin(plant, line, hours, start, bin_s / 60, bins)
    empty = Passing(line, start, bin_s / 60, (), np.zeros((0, bins)), None, minutes, blur)
    passing, read_share = _passing(plant, empty, ware, stays)
    packing, waited = _packing(plant, passing, ware, stays, pallets)
    after = plant.stations_of(line)[-1].after_minutes
    return LineView(
        line, passing, tuple(stays), pallets, packing, None, after, read_share, np.zeros(bins), waits=waited
    )


def _ware(reader: Reader, plant: Plant, line: str, row: dict[str, Any], bin_s: int) -> pl.DataFrame:
    """Counts of the first and the last stations; of all of them where the first read no mould numbers."""
    stations = plant.stations_of(line)
    ends = [s.id for s in stations if s.order in (stations[0].order, stations[-1].order)]
    rows = reader.ask("ware_by_bin", **row, stations=ends, bin_s=bin_s)
    if len(ends) == len(stations) or set(reading_stations(plant, line, rows)) & set(plant.first_stations(line)):
        return rows
    return reader.ask("ware_by_bin", **row, stations=[s.id for s in stations], bin_s=bin_s)


def _floor(moment: datetime, step_s: int) -> datetime:
    return datetime.fromtimestamp(moment.timestamp() // step_s * step_s, UTC)


def stays_of(reader: Reader, lines: Sequence[str], window: Span) -> list[Stay]:
    """The moulds' stays on some lines in a window, each by the item that it made: the mould log's, else the job's."""
    rows = reader.ask("mould_spans_between", lines=list(lines), from_time=window.start, to_time=window.end)
    found = []
    for row in rows.iter_rows(named=True):
        start, end = max(row["fitted_at"], window.start), min(row["ended_at"] or window.end, window.end)
        if start < end:
            found.append(Stay(row["line"], row["section"], row["gob"], row["number"], row["item"], Span(start, end)))
    return found


def _passing(plant: Plant, empty: Passing, ware: pl.DataFrame, stays: Sequence[Stay]) -> tuple[Passing, float]:
    """Ware by mould: as read, the unread shared out; without any mould read, shared out evenly among the moulds that
    were fitted.
    """
    line, reading = empty.line, reading_stations(plant, empty.line, ware)
    here = ware.filter(pl.col("station").is_in(reading or plant.first_stations(line)))
    read = here.filter(pl.col("mould").is_not_null()) if reading else here.head(0)
    moulds = tuple(sorted(set(read["mould"].unique()) | {s.mould for s in stays}))
    total = _counts(plant, empty, here.with_columns(mould=pl.lit("")), "inspected", ("",))
    named = _counts(plant, empty, read, "inspected", moulds)
    fitted = _fitted(empty, moulds, stays)
    known = named.sum(axis=0)
    even = fitted / np.maximum(fitted.sum(axis=0), 1e-9) * total
    shared = np.where(known > 0, named * (total[0] / np.maximum(known, 1e-9)), even)
    share = float(read["inspected"].sum()) / max(1.0, float(here["inspected"].sum()))
    return replace(empty, moulds=moulds, ware=shared), share


def _counts(plant: Plant, passing: Passing, rows: pl.DataFrame, value: str, moulds: tuple[str, ...]) -> np.ndarray:
    """Counts [moulds, bins] by the clock of the first station."""
    after = {s.id: s.after_minutes for s in plant.stations_of(passing.line)}
    mine = rows.filter(pl.col("mould").is_in(list(moulds)) & pl.col("station").is_in(list(after)))
    if mine.is_empty():
        return np.zeros((len(moulds), passing.bins))
    back = (
        (pl.col("station").replace_strict(after, return_dtype=pl.Float64) * 60e6).cast(pl.Int64).cast(pl.Duration("us"))
    )
    number = mine["mould"].replace_strict({m: n for n, m in enumerate(moulds)}, return_dtype=pl.Int64).to_numpy()
    timed = mine.with_columns(moment=pl.col("moment") - back)
    return spread(timed, value, passing.start, passing.bin_min, (len(moulds), passing.bins), number)


def _fitted(passing: Passing, moulds: tuple[str, ...], stays: Sequence[Stay]) -> np.ndarray:
    """In how many cavities each mould sat when the ware of each bin was formed [moulds, bins]."""
    values = np.zeros((len(moulds), passing.bins))
    for stay in stays:
        values[moulds.index(stay.mould)] += formed_inside(passing, stay.span)
    return values


def _found(plant: Plant, passing: Passing, calls: pl.DataFrame) -> np.ndarray:
    """Calls [moulds, bins]; those without a mould number are shared out as the read ones lie, or as the ware does where
    none was read.
    """
    named = calls.filter(pl.col("mould").is_not_null())
    read = _counts(plant, passing, named, "calls", passing.moulds)
    unread = _counts(
        plant, passing, calls.filter(pl.col("mould").is_null()).with_columns(mould=pl.lit("")), "calls", ("",)
    )[0]
    if not unread.any():
        return read
    near = remembered(read, NEAR_MIN, passing.bin_min) + 0.5 / max(1, len(passing.moulds))
    among = np.maximum(remembered(passing.ware, NEAR_MIN, passing.bin_min), 1e-9)
    weight = passing.ware * near / among if read.any() else passing.ware
    share = weight / np.maximum(weight.sum(axis=0), 1e-12)
    return read + unread * np.where(weight.sum(axis=0) > 0, share, 1 / max(1, len(passing.moulds)))


def _making(passing: Passing, stays: Sequence[Stay], item: str) -> np.ndarray:
    """Which share of each mould's ware can be of an item [moulds, bins].

    By what it made then; beside its stays, by what it made in any.
    """
    able = [stay for stay in stays if stay.item in (None, item)]
    fitted, right = (_fitted(passing, passing.moulds, some) for some in (stays, able))
    ever = {stay.mould for stay in able} | (set(passing.moulds) - {stay.mould for stay in stays})
    beside = np.array([[float(mould in ever)] for mould in passing.moulds]).reshape(-1, 1)
    return np.where(fitted > 0, right / np.maximum(fitted, 1e-9), beside)


def _packing(
    plant: Plant, passing: Passing, ware: pl.DataFrame, stays: Sequence[Stay], pallets: pl.DataFrame
) -> tuple[PackingTime, np.ndarray]:
    """The time to the pallet, from what passed the last station by item, and by minutes what waited on the table beyond
    it.
    """
    last = plant.stations_of(passing.line)[-1]
    lanes = [s.id for s in plant.stations_of(passing.line) if s.order == last.order]
    here = ware.filter(pl.col("station").is_in(lanes)).with_columns(
        mould=pl.lit(""), passed=pl.col("inspected") + pl.col("refed") - pl.col("rejected")
    )
    total = _counts(plant, passing, here, "passed", ("",))[0]
    items = pallets["item"].unique().to_list()
    start = passing.start + timedelta(minutes=last.after_minutes)
    by_item = {}
    for item in items:
        mine = passing.ware * _making(passing, stays, item)
        share = mine.sum(axis=0) / np.maximum(passing.ware.sum(axis=0), 1e-9)
        by_item[item] = np.repeat(total * share / passing.bin_min, max(1, round(passing.bin_min)))
    time, each = packing_time(by_item, start, pallets), max(1, round(passing.bin_min))
    return time, waits(np.repeat(total / passing.bin_min, each), start, pallets, time.minutes)
