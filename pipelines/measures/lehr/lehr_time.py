"""Time through the lehr: estimated from what crosses it visibly, hour by hour; else the nominal value, widely.

What left the machine as good ware, cavity by cavity and minute by minute, comes out of the lehr one lehr time later,
blurred by its width: a stopped section leaves a gap, a changed mould a new number. The hour's lehr time is the shift
at which the two series fit; from hour to hour it is followed as a slowly wandering state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.clock import formed_at
from pipelines.measures.lehr.sources import ESTIMATED, NEAREST, NOMINAL
from pipelines.measures.pareto.ranking import reading_stations
from pipelines.measures.statistics.markov import smoothed
from pipelines.plant.works import Plant
from pipelines.words import say

NOMINAL_HALF_WIDTH_MIN = 15.0
FINE_S = 300  # longer windows say nothing of a lehr time
REACH_MIN = 45.0  # how far from the nominal value the estimate may lie
STEP_MIN = 0.5
WANDER_MIN_PER_HOUR = 0.7  # standard deviation of the change from one hour to the next
JUMP = 0.002  # probability that an hour begins anywhere: a lehr set to another speed
BLURS_MIN = (0.6, 1.2, 2.0, 3.0, 4.5)  # standard deviations of the spread across the lehr that are tried
BLUR_HOURS = 8  # hours on which the blur is chosen
GAP_MIN = 4  # minutes over which ware must have thinned out to count as a gap
TEMPER = 3.0  # the likelihood is divided by this: counts carry more disturbances than the multinomial knows
CLEAR = 6.0  # log likelihood between best and mean shift above which an hour shows its lehr time by itself
MEASURED_HALF_WIDTH_MIN = 8.0


@dataclass(frozen=True)
class LehrTime:
    """Minutes from the gob cut to the first station, with the half width of an interval that should hold the truth.

    source says where it comes from. The half width of a nominal value is an assumption, not a measurement; that of an
    estimate is half of a 95 % interval of the hour's mean. spread: standard deviation [min] of single containers about
    it.
    """

    minutes: float
    half_width: float
    source: str
    spread: float = 0.0
    measured: bool = False

    @property
    def ware_half_width(self) -> float:
        """Half width [min] of a 95 % interval for a single container: of the mean and of the spread together."""
        return float(np.hypot(self.half_width, 1.96 * self.spread))

    def formed(self, inspected: datetime, after_minutes: float = 0.0) -> datetime:
        return formed_at(inspected, self.minutes, after_minutes)

    def inspected(self, formed: datetime, after_minutes: float = 0.0) -> datetime:
        return formed + timedelta(minutes=self.minutes + after_minutes)


def nominal_time(plant: Plant, line: str) -> LehrTime:
    """The lehr time of a line by works.toml."""
    text = say(NOMINAL, minutes=f"{NOMINAL_HALF_WIDTH_MIN:g}")
    return LehrTime(plant.lines[line].lehr_minutes, NOMINAL_HALF_WIDTH_MIN, text)


@dataclass(frozen=True)
class Crossing:
    """Good ware by minute on both sides of the lehr; every row one mould in one cavity, or the whole line.

    left: [rows, minutes] containers that left the machine, from minute 0 of the forming clock; nan where no count came.
    seen: [rows, minutes] containers met by the first station that reads moulds, less its way from the first station,
    from minute 0 of the cold-end clock. lead: minutes by which `left` begins before `seen`.
    """

    left: np.ndarray
    seen: np.ndarray
    lead: int


def crossing(
    plant: Plant,
    line: str,
    span: tuple[datetime, datetime],
    forming: pl.DataFrame,
    ware: pl.DataFrame,
    spans: pl.DataFrame,
    stoppages: pl.DataFrame | None = None,
) -> Crossing:
    """Both sides of a line's lehr for ware inspected in `span`.

    forming: window_start, window_s, section, gob, gobs_cut, hot_rejected; where it is empty, a cavity counts as running
    evenly except in its `stoppages` (section, stopped_at, restarted_at). ware: window_start, window_s, station, mould,
    inspected; windows over FINE_S show no gap of minutes and are left out, so that a line that sends nothing finer
    keeps its nominal time.
    spans: section, gob, number, fitted_at, ended_at.
    """
    ware = ware.filter(pl.col("window_s") <= FINE_S)
    machine = plant.lines[line]
    lead = int(machine.lehr_minutes + REACH_MIN) + 20
    start = span[0] - timedelta(minutes=lead)
    minutes = int((span[1] - start).total_seconds() // 60)
    cavities = [(section, gob) for section in range(1, machine.sections + 1) for gob in machine.gob_positions]
    made = _formed(forming, cavities, start, minutes) if forming.height else _ran(stoppages, cavities, start, minutes)
    stations = reading_stations(plant, line, ware)
    if not stations:
        here = ware.filter(pl.col("station").is_in(plant.first_stations(line)))
        return Crossing(made.sum(axis=0, keepdims=True), _seen(here, [None], span[0], minutes - lead), lead)
    after = timedelta(minutes=plant.stations[stations[0]].after_minutes)
    here = ware.filter(pl.col("station").is_in(stations)).with_columns(pl.col("window_start") - after)
    stays = spans.filter(pl.col("number").is_not_null())
    lone = stays.group_by("number").agg(places=pl.struct("section", "gob").n_unique()).filter(pl.col("places") == 1)
    numbers = sorted(lone["number"].to_list())
    left = np.stack([_stayed(made, stays, number, cavities, start) for number in numbers]) if numbers else made[:0]
    return Crossing(left, _seen(here, numbers, span[0], minutes - lead), lead)


def _formed(forming: pl.DataFrame, cavities: list[tuple[int, str]], start: datetime, minutes: int) -> np.ndarray:
    """Good ware [cavities, minutes] from forming counts; nan where none came."""
    values = np.full((len(cavities), minutes), np.nan)
    begins = (forming["window_start"] - start).dt.total_seconds().to_numpy() // 60
    good = (forming["gobs_cut"] - forming["hot_rejected"]).to_numpy()
    lengths = np.maximum(1, forming["window_s"].to_numpy() // 60)
    places = list(zip(forming["section"].to_list(), forming["gob"].to_list(), strict=True))
    rows: dict[tuple[int, str | None], list[int]] = {}
    for number, (section, gob) in enumerate(cavities):
        rows.setdefault((section, gob), []).append(number)
        rows.setdefault((section, None), []).append(number)
    kinds = {place: n for n, place in enumerate(dict.fromkeys(places))}
    kind = np.array([kinds[place] for place in places])
    for place, number in kinds.items():
        mine = kind == number
        for part in range(int(lengths[mine].max())):
            at = (begins[mine] + part).astype(int)
            inside = (at >= 0) & (at < minutes) & (part < lengths[mine])
            share = good[mine][inside] / lengths[mine][inside] / len(rows.get(place, [0]))
            for row in rows.get(place, ()):
                values[row, at[inside]] = share
    return values


def _ran(stoppages: pl.DataFrame | None, cavities: list[tuple[int, str]], start: datetime, minutes: int) -> np.ndarray:
    """1 where a cavity ran, 0 where it stood by the stoppage log."""
    values = np.ones((len(cavities), minutes))
    for row in stoppages.iter_rows(named=True) if stoppages is not None else ():
        first = int((row["stopped_at"] - start).total_seconds() // 60)
        last = int((row["restarted_at"] - start).total_seconds() // 60) if row["restarted_at"] else minutes
        mine = [n for n, (section, _) in enumerate(cavities) if row["section"] in (None, section)]
        values[mine, max(0, first) : max(0, last)] = 0.0
    return values


def _stayed(
    made: np.ndarray, stays: pl.DataFrame, number: str, cavities: list[tuple[int, str]], start: datetime
) -> np.ndarray:
    """Good ware [minutes] of one mould: its cavity's while it was fitted."""
    values = np.zeros(made.shape[1])
    for row in stays.filter(pl.col("number") == number).iter_rows(named=True):
        if (row["section"], row["gob"]) not in cavities:
            continue
        first = max(0, int((row["fitted_at"] - start).total_seconds() // 60))
        last = (
            made.shape[1] if row["ended_at"] is None else max(0, int((row["ended_at"] - start).total_seconds() // 60))
        )
        values[first:last] = made[cavities.index((row["section"], row["gob"])), first:last]
    return values


def _seen(ware: pl.DataFrame, numbers: Sequence[str | None], start: datetime, minutes: int) -> np.ndarray:
    """Containers inspected [numbers, minutes]; all of them in the one row where `numbers` is [None]."""
    rows = {number: n for n, number in enumerate(numbers)}
    named = ware if numbers == [None] else ware.filter(pl.col("mould").is_in(list(rows)))
    at = (named["window_start"] - start).dt.total_seconds().to_numpy() // 60
    row = (
        np.zeros(named.height, int)
        if numbers == [None]
        else named["mould"]
        .replace_strict(rows, return_dtype=pl.Int64)
        .to_numpy()
        .astype(int)  # none at all: no mould log came
    )
    inside = (at >= 0) & (at < minutes)
    values: np.ndarray = np.zeros((len(rows), minutes))
    length = np.maximum(1, named["window_s"].to_numpy() // 60)
    share = named["inspected"].to_numpy() / length
    for part in range(int(length.max()) if len(length) else 0):
        mine = inside & (length > part) & (at + part < minutes)
        np.add.at(values, (row[mine], (at[mine] + part).astype(int)), share[mine])
    return values


@dataclass(frozen=True)
class HourOfLehr:
    """The lehr time of ware inspected in one hour: mean and 95 % interval [min]; clear: this hour showed it by
    itself.
    """

    minutes: float
    low: float
    high: float
    clear: bool


def lehr_by_hour(both: Crossing, nominal: float) -> tuple[list[HourOfLehr], float]:
    """The lehr time of each whole or begun hour of `seen`, and the spread of ware about it [min, standard deviation].

    The likelihood of an hour is multinomial over its (row, minute) cells with probabilities from the shifted and
    blurred `left`; hours are joined by a hidden Markov model whose state wanders and rarely jumps, smoothed over all of
    them.

    References: [1] Rabiner, Proceedings of the IEEE 77 (1989) 257, forward-backward recursions, eq. 19-27.
    """
    grid = _grid(nominal)
    hours = range(-(-both.seen.shape[1] // 60))
    tried = hours[:: max(1, len(hours) // BLUR_HOURS)]
    blur = max(BLURS_MIN, key=lambda width: sum(float(_hour_fit(both, grid, width, hour).max()) for hour in tried))
    fits = np.array([_hour_fit(both, grid, blur, hour) for hour in hours]).reshape(len(hours), len(grid))
    likely = np.exp((fits - fits.max(axis=1, keepdims=True)) / TEMPER) if len(fits) else fits
    weights = smoothed(likely[None], _prior(grid, nominal), _moves(grid)[None])[0][0, 0]
    return [_hour(grid, weight, fit) for weight, fit in zip(weights, fits, strict=True)], blur


def _grid(nominal: float) -> np.ndarray:
    return np.arange(max(STEP_MIN, nominal - REACH_MIN), nominal + REACH_MIN + STEP_MIN / 2, STEP_MIN)


def _hour_fit(both: Crossing, grid: np.ndarray, blur: float, hour: int) -> np.ndarray:
    """Log likelihood of one hour at each shift of the grid."""
    first, last = hour * 60, min((hour + 1) * 60, both.seen.shape[1])
    left, seen = _telling(both, grid, blur, first, last)
    expected = _shifted(left, grid, blur, first + both.lead, last + both.lead)
    known = np.isfinite(expected).all(axis=2)
    seen = np.where(known, seen, 0.0)
    if seen.sum() < 50 or not known.any():
        return np.zeros(len(grid))
    expected = np.where(known[:, :, None], expected, 0.0)
    floor = 0.02 * expected.mean(axis=(0, 1), keepdims=True) + 1e-9
    logs = np.log(expected + floor)
    total = (expected + floor * known[:, :, None]).sum(axis=(0, 1))
    fit: np.ndarray = np.einsum("rt,rtg->g", seen, logs) - seen.sum() * np.log(total)
    return fit


def _telling(both: Crossing, grid: np.ndarray, blur: float, first: int, last: int) -> tuple[np.ndarray, np.ndarray]:
    """The rows whose ware came or ceased within reach, and all other rows in one: those only swing together."""
    reach = int(np.ceil(4 * blur)) + 2
    low, high = max(0, first + both.lead - int(grid[-1]) - reach), max(1, last + both.lead - int(grid[0]) + reach)
    left, seen = both.left[:, low:high], both.seen[:, first:last]
    smooth = np.add.reduceat(left, np.arange(0, left.shape[1], GAP_MIN), axis=1)[:, :-1]
    top = smooth.max(axis=1, initial=0.0)
    gap = (smooth.min(axis=1, initial=np.inf) < 0.6 * top) & (top > 0)
    even = ~gap & (top > 0)
    rows = [both.left[gap], both.left[even].sum(axis=0, keepdims=True)]
    return np.concatenate(rows), np.concatenate([seen[gap], seen[even].sum(axis=0, keepdims=True)])


def _shifted(left: np.ndarray, grid: np.ndarray, blur: float, first: int, last: int) -> np.ndarray:
    """Expected [rows, minutes, shifts]: minutes `first` to `last` of `left`, blurred, less each shift; nan outside
    it.
    """
    whole = np.floor(grid).astype(int)
    minutes = np.arange(first, last)[:, None] - whole[None, :]
    inside = (minutes >= 0) & (minutes < left.shape[1])
    at = np.clip(minutes, 0, left.shape[1] - 1)
    values = np.full((left.shape[0], last - first, len(grid)), np.nan)
    low, high = int(at.min()), int(at.max()) + 1
    for part in np.unique(grid - whole):
        chosen = np.isclose(grid - whole, part)
        blurred = _blurred(left, low, high, blur, float(part))
        values[:, :, chosen] = blurred[:, at[:, chosen] - low]
    values[:, ~inside] = np.nan
    return values


def _blurred(left: np.ndarray, low: int, high: int, blur: float, part: float) -> np.ndarray:
    """Minutes `low` to `high` of `left`, delayed by a part of a minute and spread by a normal curve."""
    from scipy.special import ndtr

    reach = int(np.ceil(4 * blur)) + 1
    offsets = np.arange(-reach, reach + 1)
    kernel = ndtr((offsets + 0.5 - part) / blur) - ndtr((offsets - 0.5 - part) / blur)
    padded = np.pad(left, ((0, 0), (reach, reach)), mode="edge")[:, low : high + 2 * reach]
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=1)
    blurred: np.ndarray = windows @ kernel[::-1]
    return blurred


def _prior(grid: np.ndarray, nominal: float) -> np.ndarray:
    near = np.exp(-0.5 * ((grid - nominal) / (NOMINAL_HALF_WIDTH_MIN / 1.96)) ** 2)
    values: np.ndarray = 0.7 * near / near.sum() + 0.3 / len(grid)
    return values


def _moves(grid: np.ndarray) -> np.ndarray:
    """Probability of going from one shift to another in an hour; rows sum to 1."""
    near = np.exp(-0.5 * ((grid[:, None] - grid[None, :]) / WANDER_MIN_PER_HOUR) ** 2)
    values: np.ndarray = (1 - JUMP) * near / near.sum(axis=1, keepdims=True) + JUMP / len(grid)
    return values


def _hour(grid: np.ndarray, weight: np.ndarray, fit: np.ndarray) -> HourOfLehr:
    total = np.cumsum(weight)
    low, high = (float(np.interp(q, total, grid + STEP_MIN / 2)) for q in (0.025, 0.975))
    return HourOfLehr(float(weight @ grid), low, high, bool(fit.max() - np.mean(fit) > CLEAR))


LEHR_SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "hour": pl.Datetime("us", "UTC"),
    "minutes": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "spread": pl.Float64,
    "measured": pl.Boolean,
    "clear": pl.Boolean,
}


def lehr_frame(hours: Sequence[HourOfLehr], spread: float, start: datetime) -> pl.DataFrame:
    """The hours of an estimate as rows: hour, minutes, low, high, spread, measured, clear; `start` is the first
    hour's.
    """
    rows = [
        (
            start + timedelta(hours=number),
            round(h.minutes, 3),
            round(h.low, 3),
            round(h.high, 3),
            spread,
            h.high - h.low < 2 * MEASURED_HALF_WIDTH_MIN,
            h.clear,
        )
        for number, h in enumerate(hours)
    ]
    return pl.DataFrame(rows, schema=LEHR_SCHEMA, orient="row")


def lehr_of_hours(plant: Plant, line: str, hours: pl.DataFrame, start: datetime, end: datetime) -> LehrTime:
    """The lehr time of ware inspected in [start, end) from the rows of `lehr_frame` about it: mean, and a half width
    that holds every hour's interval. The nearest hour stands in where none lies inside; the nominal value where none
    shows it.
    """
    shown = hours.filter(pl.col("measured"))
    if shown.is_empty():
        return nominal_time(plant, line)
    inside = shown.filter((pl.col("hour") > start - timedelta(hours=1)) & (pl.col("hour") < end))
    source = ESTIMATED
    if inside.is_empty():
        apart = (pl.col("hour") - start).abs()
        inside, source = shown.sort(apart, "hour").head(1), NEAREST
    minutes = float(inside["minutes"].mean())  # type: ignore[arg-type]
    low, high = float(inside["low"].min()), float(inside["high"].max())  # type: ignore[arg-type]
    half = max(high - minutes, minutes - low, STEP_MIN)
    said = say(source, low=f"{low:.0f}", high=f"{high:.0f}")
    return LehrTime(minutes, half, said, float(inside["spread"].mean()), True)  # type: ignore[arg-type]
