"""A line's day along the ware: what each meter read for the same containers, from the gob to the pallet.

The day is the production day at the first station. The gobs of that ware were cut one lehr time earlier, its glass was
melted then, the later stations and the packing met it `after_minutes` later.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.clock import Span
from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.yields.network import FurnaceReading, LineReading, StationReading
from pipelines.measures.yields.table_wait import CarriedItems, CarriedTable
from pipelines.plant.tables import Furnace
from pipelines.plant.works import Plant
from pipelines.words import say

CUT_PALLET = 0.01  # standard uncertainty of the part of a pallet that the day's limit cuts off, over its units
OPEN_PALLET = 0.03  # of what is on pallets that are not reported yet, over the estimate
PACK_SLACK_MIN = 3.0  # ware is packed so long after the last station, or sooner; no feed says it
JOB_PART = 0.1  # of a day's gobs: an item made of fewer does not make the day another job's
MELT_COVER = 0.98  # a melt log that covers less of the day is not believed


@dataclass(frozen=True)
class LinePart:
    """A stretch of the day with one shift and one job. span by the first station's clock, formed by the forming clock.

    starting: its ware was formed in the first hour of the job.
    """

    span: Span
    formed: Span
    shift: str
    job: str
    starting: bool = False


@dataclass(frozen=True)
class LineDay:
    """The frames of one line's day. `part` numbers the parts from 1.

    gobs: part, item, section, gobs_cut, hot_rejected. ware: part, station, inspected, rejected (each station's own
    window).
    calls: part, station, defect, calls. passed: window_start, window_s, passed (last station). pallets: item, units,
    packed_from, packed_to, state. weights: item, weight_g of cold weighings. stoppages: section, stopped_at,
    restarted_at, cause.
    rates: by part, gobs a
    minute and section while running. cover: by station, share of the day with counts. ends: lehr time at the day's two
    ends.
    end_rates: gobs a minute there. in_lehr: containers in the lehr there, None without forming counts. melt_cut: gobs
    cut while the furnace melted the day's glass. notes: what running totals leave open. called: by station that sent
    calls and no counts, the standard uncertainty of what it rejected.
    """

    line: str
    span: Span
    parts: tuple[LinePart, ...]
    gobs: pl.DataFrame
    ware: pl.DataFrame
    calls: pl.DataFrame
    passed: pl.DataFrame
    pallets: pl.DataFrame
    weights: pl.DataFrame
    stoppages: pl.DataFrame
    rates: Mapping[int, float]
    cover: Mapping[str, float]
    lehr: LehrTime
    ends: tuple[LehrTime, LehrTime]
    end_rates: tuple[float, float] = (0.0, 0.0)
    in_lehr: tuple[float | None, float | None] = (None, None)
    melt_cut: float | None = None
    notes: tuple[str, ...] = ()
    called: Mapping[str, float] = field(default_factory=dict)

    @property
    def silent(self) -> bool:
        """Whether no feed brought anything of the day: then nobody knows whether the line stood."""
        return all(frame.is_empty() for frame in (self.gobs, self.ware, self.calls, self.pallets, self.stoppages))

    @property
    def cut(self) -> float | None:
        return float(self.gobs["gobs_cut"].sum()) if self.gobs.height else None

    @property
    def hot(self) -> float | None:
        return float(self.gobs["hot_rejected"].sum()) if self.gobs.height else None


def station_span(plant: Plant, station: str, span: Span) -> Span:
    """When the ware that meets the first station in `span` meets this one."""
    return span.shifted(timedelta(minutes=plant.stations[station].after_minutes))


def pack_span(plant: Plant, line: str, span: Span) -> Span:
    """When the ware that meets the first station in `span` is packed: after the last station."""
    return station_span(plant, plant.stations_of(line)[-1].id, span)


def formed_span(ends: tuple[LehrTime, LehrTime], span: Span) -> Span:
    """When the ware that meets the first station in `span` was formed; each end by the lehr time of its own hour."""
    return Span(ends[0].formed(span.start), ends[1].formed(span.end))


def melted_kg(batch_kg: float, moisture_pct: float, loss_pct: float, cullet_kg: float) -> float:
    """Mass melted [kg] = batch (1 - moisture) (1 - fusion loss) + cullet, by the feed contract."""
    return batch_kg * (1 - moisture_pct / 100) * (1 - loss_pct / 100) + cullet_kg


def held_back_kg(level_change_mm: float, surface_m2: float, density_g_cm3: float) -> float:
    """Glass [kg] that a rise of the level keeps in the furnace: height x surface x density."""
    return level_change_mm / 1000 * surface_m2 * density_g_cm3 * 1000


@dataclass(frozen=True)
class Melt:
    """What a furnace's melt log says of a window: melted and held back [kg], the share of the window it covers."""

    melted: float
    held_back: float
    cover: float
    level_unknown: bool

    @property
    def whole(self) -> bool:
        return self.cover >= MELT_COVER


def melt_of(furnace: Furnace, melt: pl.DataFrame, span: Span) -> Melt:
    """melt: part, window_s, batch_kg, moisture_pct, loss_pct, cullet_kg, level_change_mm. A log just short of whole is
    scaled up.
    """
    rows = list(melt.iter_rows(named=True))
    cover = sum(row["part"] * row["window_s"] for row in rows) / span.seconds
    melted = sum(r["part"] * melted_kg(r["batch_kg"], r["moisture_pct"], r["loss_pct"], r["cullet_kg"]) for r in rows)
    kept = [
        r["part"] * held_back_kg(r["level_change_mm"] or 0.0, furnace.surface_m2, furnace.density_g_cm3) for r in rows
    ]
    scale = 1 / cover if MELT_COVER <= cover < 1 else 1.0
    return Melt(melted * scale, sum(kept), cover, any(row["level_change_mm"] is None for row in rows))


class _Passed:
    """How much had passed the last station by a moment, between windows in proportion to time."""

    def __init__(self, passed: pl.DataFrame):
        self.at: np.ndarray = np.zeros(0)
        if passed.height:
            starts = passed["window_start"].dt.epoch("us").to_numpy() / 1e6
            self.at = np.append(starts, starts[-1] + passed["window_s"][-1])
            self.sum = np.append(0.0, np.cumsum(passed["passed"].to_numpy()))

    def between(self, start: datetime, end: datetime) -> float:
        """Containers; 0 where the counts begin later, so that nothing is made of them."""
        if not len(self.at) or end <= start or start.timestamp() < self.at[0]:
            return 0.0
        values: np.ndarray = np.interp([start.timestamp(), end.timestamp()], self.at, self.sum)
        return float(values[1] - values[0])


@dataclass(frozen=True)
class Packed:
    """Containers packed in a span. by_item: on reported pallets; open: estimated on pallets not reported yet; states:
    by the pallets' state; edge: standard uncertainty from the span's limits and the open pallets; known: whether any
    pallet was reported; carried: by item, of the span's ware but packed after it, less the other way round.
    """

    by_item: dict[str, float]
    open: dict[str, float]
    states: dict[str, float]
    edge: float
    known: bool
    carried: Mapping[str, float] = field(default_factory=dict)

    @property
    def items(self) -> dict[str, float]:
        parts = (self.by_item, self.open, self.carried)
        names = dict.fromkeys(item for part in parts for item in part)
        return {item: sum(part.get(item, 0.0) for part in parts) for item in names}

    @property
    def units(self) -> float:
        return sum(self.items.values())


def packed_in(
    pallets: pl.DataFrame,
    passed: pl.DataFrame,
    span: Span,
    running: Sequence[str] = (),
    carried: CarriedItems = CarriedItems(),
) -> Packed:
    """Containers packed in `span`. A pallet that its limits cut through counts by the ware that passed the last station
    inside them, by its time where no counts came. running: items still made at the end; what they packed since their
    last pallet is estimated. carried: what waited at its limits.
    """
    through = _Passed(passed)
    by_item: dict[str, float] = {}
    states: dict[str, float] = {}
    edge = 0.0
    for row in pallets.iter_rows(named=True):
        share = _inside(row["packed_from"], row["packed_to"], span, through)
        units = row["units"] * share
        if units > 0:
            by_item[row["item"]] = by_item.get(row["item"], 0.0) + units
            states[row["state"]] = states.get(row["state"], 0.0) + units
            edge += (CUT_PALLET * row["units"]) ** 2 if share < 1 else 0.0
    open_ = {item: units for item in running if (units := _open_units(pallets, item, span, through)) > 0}
    slack = timedelta(minutes=10)
    rates = [through.between(at - slack, at + slack) / 20 for at in (span.start, span.end)]
    edge += (PACK_SLACK_MIN * (rates[1] - rates[0])) ** 2 + (OPEN_PALLET * sum(open_.values())) ** 2
    edge += carried.variance
    return Packed(by_item, open_, states, math.sqrt(edge), bool(by_item), carried.units if by_item else {})


def _inside(start: datetime, end: datetime, span: Span, through: _Passed) -> float:
    low, high = max(start, span.start), min(end, span.end)
    if start >= span.start and end <= span.end:
        return float(start < span.end)
    if high <= low:
        return 0.0
    whole = through.between(start, end)
    if whole > 0:
        return through.between(low, high) / whole
    return (high - low).total_seconds() / (end - start).total_seconds()


def _open_units(pallets: pl.DataFrame, item: str, span: Span, through: _Passed) -> float:
    """Containers of an item packed since its last pallet, at the rate of that pallet per container past the last
    station.
    """
    mine = pallets.filter(pl.col("item") == item)
    if mine.is_empty():
        return 0.0
    last = mine.sort("packed_to").row(-1, named=True)
    whole = through.between(last["packed_from"], last["packed_to"])
    since = through.between(max(last["packed_to"], span.start), span.end)
    return float(last["units"] * since / whole) if whole > 0 else 0.0


def without_pallets(day: LineDay, rows: Sequence[int]) -> LineDay:
    """A day without some of its pallets."""
    return replace(day, pallets=day.pallets[[n for n in range(day.pallets.height) if n not in rows]]) if rows else day


def job_of(day: LineDay) -> str:
    """The items that a line made on most of its gobs, as one name; empty where no log names them."""
    made = {row[0]: row[1] for row in day.gobs.group_by("item").agg(pl.col("gobs_cut").sum()).iter_rows()}
    total = sum(made.values())
    return "+".join(sorted(item for item, n in made.items() if item is not None and n >= JOB_PART * total > 0))


def carried_by_part(day: LineDay, carried: CarriedTable) -> list[CarriedItems]:
    """What waited at the day's limits, laid on its first and last part, each under the item most cut there."""
    found = []
    for number in range(1, len(day.parts) + 1):
        units = (carried.end if number == len(day.parts) else 0.0) - (carried.start if number == 1 else 0.0)
        cut = day.gobs.filter((pl.col("part") == number) & (pl.col("gobs_cut") > 0) & pl.col("item").is_not_null())
        most = cut.group_by("item").agg(pl.col("gobs_cut").sum()).sort("gobs_cut", "item", descending=[True, False])
        found.append(CarriedItems({most["item"][0]: units} if units and most.height else {}))
    return found


def running_at_end(day: LineDay) -> list[str]:
    """The items that were cut in the last part of the day."""
    last = day.gobs.filter((pl.col("part") == len(day.parts)) & (pl.col("gobs_cut") > 0))
    return [item for item in last["item"].unique().sort().to_list() if item is not None]


@dataclass(frozen=True)
class ItemMass:
    """Mean mass [g] of each item, the standard uncertainty of each mean from sampling, what has to be said, and which
    items were weighed.
    """

    mean_g: dict[str, float]
    sd_g: dict[str, float]
    notes: tuple[str, ...]
    weighed: frozenset[str] = frozenset()

    def of(self, units: Mapping[str | None, float]) -> float | None:
        """Mean mass [g] of a mixture of items; items that no log names count as the mean of the others."""
        known = {item: n for item, n in units.items() if item in self.mean_g and n > 0}
        total = sum(known.values())
        return sum(self.mean_g[str(item)] * n for item, n in known.items()) / total if total else None

    def uncertainty_pct(self, units: Mapping[str | None, float]) -> float:
        known = {item: n for item, n in units.items() if item in self.mean_g and n > 0}
        mass = sum(self.mean_g[str(item)] * n for item, n in known.items())
        return 100 * math.hypot(*(self.sd_g[str(item)] * n for item, n in known.items())) / mass if mass else 0.0


def item_masses(plant: Plant, weights: pl.DataFrame, items: Sequence[str]) -> ItemMass:
    """Mean mass of each item from its cold weighings; the nominal weight where there are none, with a note, and then as
    uncertain as half the item's tolerance (1 % where it has none).
    """
    fields = {
        row[0]: row[1:]
        for row in weights.group_by("item")
        .agg(pl.col("weight_g").mean(), pl.col("weight_g").std().alias("sd"), pl.len())
        .iter_rows()
    }
    mean, sd, notes = {}, {}, []
    for code in items:
        item = plant.items[code]
        if code in fields:
            g, spread, n = fields[code]
            mean[code], sd[code] = g, (spread or 0.0) / math.sqrt(n) if n > 1 else 0.005 * g
        else:
            half = (
                (item.weight_max_g - item.weight_min_g) / 4
                if item.weight_max_g and item.weight_min_g
                else item.weight_g / 100
            )
            mean[code], sd[code] = item.weight_g, half
            notes.append(say("no weighing of {code}: its nominal weight was used", code=code))
    return ItemMass(mean, sd, tuple(notes), frozenset(fields))


def masses_of(plant: Plant, day: LineDay, packed: Packed) -> ItemMass:
    """The masses of the items that a line cut or packed in the day."""
    names = {item for item in (*day.gobs["item"].unique(), *packed.items) if item in plant.items}
    return item_masses(plant, day.weights, sorted(names))


def line_reading(plant: Plant, day: LineDay, packed: Packed, masses: ItemMass) -> LineReading:
    """What the meters of the line read for the day's ware."""
    counts = {
        row[0]: row[1:]
        for row in day.ware.group_by("station").agg(pl.col("inspected").sum(), pl.col("rejected").sum()).iter_rows()
    }
    stations = tuple(
        StationReading(s.id, s.order, float(seen), float(away), day.cover.get(s.id, 0.0), day.called.get(s.id))
        for s in plant.stations_of(day.line)
        for seen, away in [counts.get(s.id, (0, 0))]
    )
    packed_items: dict[str | None, float] = {}
    packed_items.update(packed.items)
    by_item: dict[str | None, float] = {
        row[0]: row[1] for row in day.gobs.group_by("item").agg(pl.col("gobs_cut").sum()).iter_rows()
    }
    nominal = sum(masses.mean_g.values()) / len(masses.mean_g) if masses.mean_g else plant.item[0].weight_g
    gob_g = masses.of(by_item) or masses.of(packed_items) or nominal
    seen = sum(s.inspected for s in stations)
    return LineReading(
        line=day.line,
        cut=day.cut,
        hot=day.hot,
        gob_g=gob_g,
        packed_g=masses.of(packed_items) or gob_g,
        packed=packed.units if packed.known or not (seen or day.cut) else None,
        stations=stations,
        cut_edge=_cut_edge(day),
        packed_edge=packed.edge,
        weight_pct=masses.uncertainty_pct(by_item or packed_items),
        melt_part=day.melt_cut / day.cut if day.melt_cut is not None and day.cut else 1.0,
        job=job_of(day),
    )


def _cut_edge(day: LineDay) -> float:
    """Gobs by which the formed window may be wrong. Estimated lehr times err at each end by themselves; a nominal one
    at both ends alike, which matters only where the machine ran faster at one of them.
    """
    sd = [end.half_width / 1.96 for end in day.ends]
    first, last = day.end_rates
    if all(end.measured for end in day.ends):
        return math.hypot(first * sd[0], last * sd[1])
    return math.hypot(max(sd) * (last - first), 2.0 * max(first, last))


def furnace_reading(furnace: str, melt: Melt, lines: Sequence[LineReading]) -> FurnaceReading:
    """What the meters of a furnace and its lines read; without a whole melt log nothing is said of the melt."""
    return FurnaceReading(furnace, melt.melted if melt.whole else None, melt.held_back, tuple(lines))


def melt_shift(lines: Sequence[LineReading], lehr: Mapping[str, LehrTime]) -> timedelta:
    """How long before the day its glass was cut: the lehr times of a furnace's lines, weighted by the glass each
    took.
    """
    mass = {line.line: line.ware * line.gob_g for line in lines}
    total = sum(mass.values())
    if not total:
        return timedelta(minutes=sum(lehr[line.line].minutes for line in lines) / len(lines) if lines else 0.0)
    return timedelta(minutes=sum(lehr[line].minutes * kg for line, kg in mass.items()) / total)
