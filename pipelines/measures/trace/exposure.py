"""Where the containers with a defect went: expected on every pallet from every cavity, by what was found, what gets
past, and when it was packed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import polars as pl

from pipelines.clock import Span
from pipelines.measures.lehr.lehr_time import NOMINAL_HALF_WIDTH_MIN
from pipelines.measures.trace.defect_rates import Rates, local_rates
from pipelines.measures.trace.detection import Missed
from pipelines.measures.trace.packing import PackingTime, shared_out
from pipelines.plant.works import Plant


@dataclass(frozen=True)
class Stay:
    """A mould's stay in a cavity, within the forming window in question."""

    line: str
    section: int
    gob: str
    mould: str
    item: str | None
    span: Span


@dataclass(frozen=True)
class Passing:
    """A line's ware as it met the first station, in bins of `bin_min` minutes from `start`.

    ware: [moulds, bins] containers. found: [moulds, bins] calls of the defect, None where no defect is in question.
    lehr, blur: [bins] minutes from the gob to the first station, and the standard deviation of a single container's.
    """

    line: str
    start: datetime
    bin_min: float
    moulds: tuple[str, ...]
    ware: np.ndarray
    found: np.ndarray | None
    lehr: np.ndarray
    blur: np.ndarray

    @property
    def bins(self) -> int:
        return self.ware.shape[1]

    def at(self, moment: datetime) -> float:
        """A moment in bins from the start."""
        return (moment - self.start).total_seconds() / 60 / self.bin_min

    @property
    def seconds(self) -> np.ndarray:
        """The middle of each bin in seconds since 1970."""
        values: np.ndarray = self.start.timestamp() + (np.arange(self.bins) + 0.5) * self.bin_min * 60
        return values

    @property
    def formed(self) -> tuple[np.ndarray, np.ndarray]:
        """When the ware of each bin was formed, in minutes since 1970, and the standard deviation of that [min]."""
        return self.seconds / 60 - self.lehr, np.hypot(self.blur, self.bin_min / np.sqrt(12))


def hull(stays: Sequence[Stay]) -> Span:
    """From the first stay's beginning to the last one's end."""
    return Span(min(s.span.start for s in stays), max(s.span.end for s in stays))


def spread(
    rows: pl.DataFrame, value: str, start: datetime, bin_min: float, shape: tuple[int, int], row: np.ndarray
) -> np.ndarray:
    """Counts of windows, spread evenly over the bins they touch: [rows, bins]. rows: moment, window_s and the value;
    row: which row each belongs to.
    """
    answer: np.ndarray = np.zeros(shape)
    if rows.is_empty():
        return answer
    offset = (rows["moment"] - start).dt.total_microseconds().to_numpy() / 60e6 / bin_min
    length = np.maximum(rows["window_s"].to_numpy() / 60 / bin_min, 1e-6)
    values = rows[value].to_numpy().astype(float)
    first = np.floor(offset).astype(int)
    for step in range(int(np.ceil(length.max())) + 1):
        at = first + step
        share = np.clip(np.minimum(offset + length, at + 1) - np.maximum(offset, at), 0, None) / length
        inside = (at >= 0) & (at < shape[1]) & (share > 0)
        np.add.at(answer, (row[inside], at[inside]), values[inside] * share[inside])
    return answer


def lehr_by_bin(
    plant: Plant, line: str, hours: pl.DataFrame, start: datetime, bin_min: float, bins: int
) -> tuple[np.ndarray, np.ndarray]:
    """Lehr time and its standard deviation for a single container, by bin [min], from the rows of `lehr_frame` about
    it.

    The nominal value, assumed right to NOMINAL_HALF_WIDTH_MIN, where no hour within half a day shows it.
    """
    shown = hours.filter(pl.col("measured")).sort("hour")
    nominal = np.full(bins, plant.lines[line].lehr_minutes), np.full(bins, NOMINAL_HALF_WIDTH_MIN / 1.96)
    if shown.is_empty():
        return nominal
    middle = (shown["hour"] - start).dt.total_seconds().to_numpy() / 60 + 30
    at = (np.arange(bins) + 0.5) * bin_min
    minutes = np.interp(at, middle, shown["minutes"].to_numpy())
    half = np.interp(at, middle, ((shown["high"] - shown["low"]) / 2).to_numpy())
    blur = np.hypot(half / 1.96, np.interp(at, middle, shown["spread"].to_numpy()))
    near = np.abs(at[:, None] - middle[None, :]).min(axis=1) <= 12 * 60
    return np.where(near, minutes, nominal[0]), np.where(near, blur, nominal[1])


@dataclass(frozen=True)
class Exposure:
    """Expected containers by [stays, pallets]: `ware` of the stay's mould, `escaped` of it with the defect, in a unit
    of its own where `missed_known` is False. variance: of each escaped number by what is not known of the rate; common:
    [pallets] relative variance of the share missed. all_ware, all_escaped: [stays] on pallets and elsewhere. weights:
    [stays, bins] escaped by bin at the first station.
    """

    stays: tuple[Stay, ...]
    pallets: pl.DataFrame
    ware: np.ndarray
    escaped: np.ndarray
    variance: np.ndarray
    common: np.ndarray
    missed_known: bool
    all_ware: np.ndarray
    all_escaped: np.ndarray
    weights: np.ndarray


def line_exposure(
    passing: Passing,
    stays: Sequence[Stay],
    pallets: pl.DataFrame,
    after_min: float,
    packing: PackingTime,
    missed: Missed | None,
) -> Exposure:
    """What each stay put on each pallet.

    pallets: pallet, item, packed_from, packed_to, units. after_min: from the first to the last station. missed: the
    share of the defect that gets past all stations, by bin; the rest of it is what turns calls into defective
    containers.

    A container that meets the first station at minute a was formed at a - lehr time, blurred, and packed at a +
    after_min + packing time, blurred. Escapes: rate of the defect x ware x share missed, which for a steady rate is
    found x (1 - d) / d.
    """
    inside, lost, loose = _by_bin(passing, stays, missed)
    begins, ends = _edges(passing, pallets, after_min + packing.minutes)
    parts = shared_out(np.concatenate([inside, lost, loose]), pallets, begins, ends, packing.sd / passing.bin_min)
    ware, escaped, uneven = np.split(parts, 3)
    fits = np.array([[s.item is None or s.item == item for item in pallets["item"]] for s in stays]).reshape(
        len(stays), pallets.height
    )
    exposure = Exposure(
        stays=tuple(stays),
        pallets=pallets,
        ware=ware * fits,
        escaped=escaped * fits,
        variance=(uneven * fits) ** 2,
        common=_common(missed, passing, (begins + ends) / 2),
        missed_known=missed is not None,
        all_ware=inside.sum(axis=1),
        all_escaped=lost.sum(axis=1),
        weights=lost,
    )
    return (
        exposure if missed is None or missed.split is None else _split(exposure, missed, passing, (begins + ends) / 2)
    )


def _split(exposure: Exposure, missed: Missed, passing: Passing, middle: np.ndarray) -> Exposure:
    """The exposure averaged over what is not known of false calls and detection, which all moulds and pallets share;
    `common` is its variance.

    A pallet's escapes by each draw: ware x (calls a container - false) / found x past, the calls put together again
    from rate and false part.
    """
    split = missed.split
    assert split is not None
    at = np.clip(middle.astype(int), 0, passing.bins - 1)
    past, usual = missed.mean[at], max(missed.usual, 1e-12)
    found, false = split.mean(split.found), split.mean(split.false)
    rate = exposure.escaped / np.maximum(exposure.ware * past, 1e-30)
    total, escaped = np.zeros((len(at), len(split.weight))), np.zeros_like(exposure.escaped)
    for number, ware in enumerate(exposure.ware):
        called = rate[number] * found + false
        true = np.maximum(called[:, None] - split.false, 0.0) * (split.past / np.maximum(split.found, 1e-3))
        part = np.where(exposure.escaped[number] > 0, ware * past / usual, 0.0)[:, None] * true
        total, escaped[number] = total + part, part @ split.weight
    mean = total @ split.weight
    spread = (total**2) @ split.weight / np.maximum(mean**2, 1e-300) - 1
    doubt = np.maximum(exposure.common - exposure.common.min(initial=np.inf), 0.0) if len(at) else exposure.common
    factor = escaped / np.maximum(exposure.escaped, 1e-300)
    whole = escaped.sum(axis=1) / np.maximum(exposure.escaped.sum(axis=1), 1e-300)
    whole = np.where(exposure.escaped.sum(axis=1) > 0, whole, 1.0)
    return replace(
        exposure,
        escaped=escaped,
        variance=exposure.variance * factor**2,
        common=np.maximum(spread, 0.0) + doubt,
        all_escaped=exposure.all_escaped * whole,
        weights=exposure.weights * whole[:, None],
    )


def item_ware(
    passing: Passing, stays: Sequence[Stay], pallets: pl.DataFrame, after_min: float, packing: PackingTime
) -> np.ndarray:
    """Containers of each pallet's item that met the first station for it [pallets], from all moulds that were fitted
    then.
    """
    rows = {mould: number for number, mould in enumerate(passing.moulds)}
    known = list(dict.fromkeys(pallets["item"]))
    sums = np.zeros((len(known), passing.bins))
    for stay in stays:
        inside = passing.ware[rows[stay.mould]] * formed_inside(passing, stay.span)
        sums[[n for n, item in enumerate(known) if stay.item in (None, item)]] += inside
    edges = _edges(passing, pallets, after_min + packing.minutes)
    values = shared_out(sums, pallets, *edges, packing.sd / passing.bin_min) if known else np.zeros((0, 0))
    picked: np.ndarray = np.array([values[known.index(item), n] for n, item in enumerate(pallets["item"])])
    return picked


def _by_bin(
    passing: Passing, stays: Sequence[Stay], missed: Missed | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ware, escapes, and the standard deviation of the escapes by what is not known of the rate, [stays, bins]; where a
    number sits in two cavities at once its ware is shared out evenly.
    """
    rows = {mould: number for number, mould in enumerate(passing.moulds)}
    past = missed.mean if missed is not None else np.ones(passing.bins)
    shares = np.stack([formed_inside(passing, stay.span) for stay in stays])
    alike = np.array([[stay.mould == other.mould for other in stays] for stay in stays], float) @ shares
    shares = shares / np.maximum(alike, 1.0)
    blank = np.zeros(passing.bins)
    inside = np.stack([passing.ware[rows[s.mould]] if s.mould in rows else blank for s in stays]) * shares
    wanted = [m for m in dict.fromkeys(s.mould for s in stays) if m in rows]
    rates, at = _rates(passing, missed, [rows[m] for m in wanted]), {m: n for n, m in enumerate(wanted)}
    rate = np.stack([rates.mean[at[s.mould]] if s.mould in at else blank for s in stays])
    shape = np.stack([rates.shape[at[s.mould]] if s.mould in at else blank + 1.0 for s in stays])
    lost = inside * rate * past
    return inside, lost, lost / np.sqrt(shape)


def _edges(passing: Passing, pallets: pl.DataFrame, back_min: float) -> tuple[np.ndarray, np.ndarray]:
    """When each pallet's ware met the first station, from and to, in bins."""
    begin, end = (
        ((pallets[name] - passing.start).dt.total_microseconds().to_numpy() / 60e6 - back_min) / passing.bin_min
        for name in ("packed_from", "packed_to")
    )
    return begin, end


def _rates(passing: Passing, missed: Missed | None, only: Sequence[int]) -> Rates:
    if passing.found is None:
        flat = np.ones((len(only), passing.bins))
        return Rates(flat, np.full_like(flat, np.inf))
    if missed is None:
        return local_rates(passing.found, passing.ware, passing.bin_min, only)
    return local_rates(passing.found, passing.ware * missed.found, passing.bin_min, only, passing.ware * missed.false)


def _common(missed: Missed | None, passing: Passing, middle: np.ndarray) -> np.ndarray:
    """Relative variance of the share missed at each pallet's middle: what all its moulds share."""
    if missed is None:
        return np.zeros(len(middle))
    at = np.clip(middle.astype(int), 0, passing.bins - 1)
    values: np.ndarray = missed.square[at] / np.maximum(missed.mean[at] ** 2, 1e-30) - 1
    return values


def formed_inside(passing: Passing, span: Span) -> np.ndarray:
    """Probability that ware of each bin was formed inside a span."""
    from scipy.special import ndtr

    formed, blur = passing.formed
    values: np.ndarray = ndtr((span.end.timestamp() / 60 - formed) / blur) - ndtr(
        (span.start.timestamp() / 60 - formed) / blur
    )
    return values


def forming_quantiles(passing: Passing, weights: np.ndarray, level: float = 0.95) -> tuple[datetime, datetime]:
    """The central window that holds `level` of the forming times of ware with `weights` [bins] by its bin at the first
    station.
    """
    from scipy.special import ndtr

    formed, blur = passing.formed
    used = weights > 0
    grid = np.arange((formed - 4 * blur)[used].min(), (formed + 4 * blur)[used].max(), 0.25)
    share = weights[used] / weights[used].sum()
    total = (ndtr((grid[:, None] - formed[used]) / blur[used]) * share).sum(axis=1)
    low, high = (float(np.interp(q, total, grid)) for q in ((1 - level) / 2, (1 + level) / 2))
    zone = passing.start.tzinfo
    return datetime.fromtimestamp(low * 60, zone), datetime.fromtimestamp(high * 60, zone)


@dataclass(frozen=True)
class Counted:
    """Defective containers on a pallet: the mean, and the smallest whole numbers that hold at least 95 % of the
    probability.
    """

    mean: float
    low: int
    high: int


def counted(means: np.ndarray, variances: np.ndarray, level: float = 0.95) -> list[Counted]:
    """How many defective containers: gamma-distributed expectation with the given mean and variance, Poisson numbers
    about it.

    References: [1] Gelman and others, Bayesian Data Analysis, 3rd ed. (2013), section 2.6: negative binomial
    prediction.
    """
    return [_counted(float(m), float(v), level) for m, v in zip(means, variances, strict=True)]


def _counted(mean: float, variance: float, level: float) -> Counted:
    if mean <= 0:
        return Counted(0.0, 0, 0)
    top = int(mean + 10 * np.sqrt(mean + variance) + 10)
    return Counted(mean, *central(np.exp(log_chances(mean, variance, np.arange(top + 1))), level))


def log_chances(mean: float, variance: float, numbers: np.ndarray) -> np.ndarray:
    """Logarithm of the probability of whole numbers about a gamma-distributed expectation of a mean above 0 and a
    variance.
    """
    from scipy.special import gammaln

    if variance <= mean * 1e-6:
        even: np.ndarray = numbers * np.log(mean) - mean - gammaln(numbers + 1)
        return even
    shape = mean**2 / variance
    share = mean / (mean + shape)
    values: np.ndarray = (
        gammaln(shape + numbers)
        - gammaln(shape)
        - gammaln(numbers + 1)
        + shape * np.log1p(-share)
        + numbers * np.log(share)
    )
    return values


def central(chance: np.ndarray, level: float = 0.95) -> tuple[int, int]:
    """The shortest stretch of numbers (by place) that holds `level` of the probability, from the likeliest on."""
    low = high = int(np.argmax(chance))
    held = float(chance[low])
    while held < level and high < len(chance) - 1:
        down = chance[low - 1] if low else -1.0
        if down >= chance[high + 1]:
            low, held = low - 1, held + down
        else:
            high, held = high + 1, held + chance[high + 1]
    return low, high


def smallest_cover(expected: np.ndarray, units: np.ndarray, share: float = 0.95) -> list[int]:
    """The pallets (by number) that hold `share` of the expected containers with the fewest units, the densest first.

    Taken in order of expected containers a unit; then every pallet that is not needed is left out again, the fullest
    first.
    """
    total = float(expected.sum())
    if total <= 0:
        return []
    order = np.lexsort((np.arange(len(units)), -expected / np.maximum(units, 1)))
    held, chosen = 0.0, []
    for number in order:
        if held >= share * total - 1e-12:
            break
        held += float(expected[number])
        chosen.append(int(number))
    for number in sorted(chosen, key=lambda n: -units[n]):
        if held - expected[number] >= share * total - 1e-12:
            held -= float(expected[number])
            chosen.remove(number)
    return chosen
