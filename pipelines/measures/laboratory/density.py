"""Glass density of a furnace: readings, their noise, and a change that is more than noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache

import numpy as np
import polars as pl

from pipelines.measures.statistics.factors import d2_d3
from schemas.answers.laboratory import DensityChange

ENOUGH = 6  # readings before there are limits
SURE = 0.99  # a change is named where it is at least so probable; beforehand one in BEFORE
BEFORE = 0.05
STEP_SIGMAS = 8.0  # standard deviation of a step beforehand, in those of a reading
LIMIT_WIDTH = 3.0
TRIMMED = 10  # moving ranges from which on the greatest is left out of the noise
LEAST_NOISE = 1e-6  # g/cm3


@dataclass(frozen=True)
class DensityChart:
    """Readings (sampled_at, density_g_cm3) with the limits of single readings by their moving range [g/cm3], None under
    ENOUGH; centre: mean since the last change.

    change: the last named one, None where noise explains the readings; beyond: whether the last reading is outside the
    limits. lone: by how much [g/cm3] the
    last reading alone would be a step: a slip looks the same, so it is no change yet and moves neither centre nor
    limits.
    """

    readings: pl.DataFrame
    noise: float | None
    centre: float
    low: float | None
    high: float | None
    change: DensityChange | None
    beyond: bool
    lone: float | None = None


def densities(checks: pl.DataFrame, sink_float_g_cm3_per_c: float | None) -> tuple[pl.DataFrame, int]:
    """(sampled_at, density_g_cm3, how) of density checks [g/cm3], and how many comparisons could not be worked out
    because the works has no coefficient.

    Density = standard + (standard_settles_c - sample_settles_c) x coefficient: denser glass settles at a lower
    temperature, where the liquid is denser.
    References: [1] ASTM C729, Density of glass by the sink-float comparator (its tables are replaced by the works' own
    calibration with two standards).
    """
    compared = pl.col("standard_g_cm3") + (pl.col("standard_settles_c") - pl.col("sample_settles_c")) * pl.lit(
        sink_float_g_cm3_per_c, dtype=pl.Float64
    )
    direct = pl.col("density_g_cm3").is_not_null()
    frame = checks.select(
        "sampled_at",
        pl.coalesce("density_g_cm3", compared).alias("density_g_cm3"),
        pl.when(direct).then(pl.lit("direct")).otherwise(pl.lit("sink-float")).alias("how"),
    )
    known = frame.filter(pl.col("density_g_cm3").is_not_null()).sort("sampled_at")
    return known, checks.height - known.height


def density_chart(readings: pl.DataFrame) -> DensityChart | None:
    """The readings (sampled_at, density_g_cm3 [g/cm3]) of one furnace in time; None without any.

    Noise: `noise_of`, without the ranges that a named change spans; changes are looked for one after another, the last
    one is told.
    """
    if readings.is_empty():
        return None
    y, times = readings["density_g_cm3"].to_numpy(), readings["sampled_at"].to_list()
    if len(y) < ENOUGH:
        return DensityChart(readings, None, float(y.mean()), None, None, None, False)
    noise = max(noise_of(y), LEAST_NOISE)
    changes = _changes(y, times, noise)
    if changes:  # once more, without the ranges that a change spans
        noise = max(noise_of(y, [at for _, at in changes]), LEAST_NOISE)
        changes = _changes(y, times, noise) or changes
    alone = bool(changes) and changes[-1][1] == len(y) - 1
    known = changes[:-1] if alone else changes
    change, start = known[-1] if known else (None, 0)
    centre = float(y[start : len(y) - alone].mean())
    half = LIMIT_WIDTH * noise
    off = float(y[-1]) - centre
    return DensityChart(
        readings, noise, centre, centre - half, centre + half, change, abs(off) > half, off if alone else None
    )


def noise_of(y: np.ndarray, steps: Sequence[int] = ()) -> float:
    """Standard deviation of a reading from the moving ranges, those that end at a reading in `steps` left out: a change
    is no noise.

    With TRIMMED ranges and more the greatest is left out too (it may be a slip or a small step), and the mean of the
    others is divided by what it is expected to be for normal readings without their greatest, so that leaving it out
    makes the noise no smaller.
    References: [1] ISO 7870-2: mean moving range over d2. [2] David and Nagaraja, Order Statistics (2003), 3.1: the
    expected greatest of m.
    """
    ranges = np.sort(np.delete(np.abs(np.diff(y)), [step - 1 for step in steps]))
    mean = d2_d3(2)[0]
    if len(ranges) < TRIMMED:
        return float(ranges.mean()) / mean if len(ranges) else 0.0
    m = len(ranges)
    return float(ranges[:-1].sum()) / (m * mean - _greatest_range(m))


@cache
def _greatest_range(m: int) -> float:
    """Expected greatest of m moving ranges of a standard normal quantity, taken as independent: the integral of 1 -
    P(|difference| <= x)^m.
    """
    from scipy.special import erf

    x = np.linspace(0, 12, 2401)
    return float(np.trapezoid(1 - erf(x / 2) ** m, x))


def _changes(y: np.ndarray, times: list[datetime], noise: float) -> list[tuple[DensityChange, int]]:
    """The changes one after another, each with the number of the first reading after it."""
    found: list[tuple[DensityChange, int]] = []
    start = 0
    while len(y) - start >= 4:
        pair = _change(y[start:], times[start:], noise)
        if pair is None:
            break
        start += pair[1]
        found.append((pair[0], start))
    return found


def _change(y: np.ndarray, times: list[datetime], noise: float) -> tuple[DensityChange, int] | None:
    """One step at every place, weighed by its marginal likelihood; None unless it is SURE against none.

    Mean before and step are normal beforehand, the mean with a wide and the step with STEP_SIGMAS noises; no step has
    the probability 1 - BEFORE.
    References: [1] Smith, Biometrika 62 (1975) 407, inference about the change-point. [2] Carlstein and others,
    Change-point problems.
    """
    n = len(y)
    z = (y - y.mean()) / noise
    after = np.arange(1, n)
    n2 = (n - after).astype(float)
    n1 = after.astype(float)
    mean1 = np.cumsum(z)[:-1] / n1
    mean2 = (z.sum() - np.cumsum(z)[:-1]) / n2
    apart, unsure = mean2 - mean1, 1 / n1 + 1 / n2
    wide = STEP_SIGMAS**2
    log_bf = 0.5 * np.log(unsure / (unsure + wide)) + 0.5 * apart**2 * (1 / unsure - 1 / (unsure + wide))
    weight = np.exp(log_bf - log_bf.max())
    bayes = float(np.exp(log_bf.max()) * weight.mean()) if log_bf.max() < 600 else np.inf
    probability = 1.0 if np.isinf(bayes) else BEFORE * bayes / (BEFORE * bayes + 1 - BEFORE)
    if probability < SURE:
        return None
    chance = weight / weight.sum()
    along = np.cumsum(chance)
    low, middle, high = (int(after[min(int(np.searchsorted(along, p)), n - 2)]) for p in (0.025, 0.5, 0.975))
    size = apart * wide / (wide + unsure)
    sd = np.sqrt(wide * unsure / (wide + unsure))
    mean = float((chance * size).sum())
    spread = float(np.sqrt((chance * (sd**2 + (size - mean) ** 2)).sum()))
    by, half = mean * noise, 1.96 * spread * noise
    change = DensityChange(
        by_g_cm3=by,
        low=by - half,
        high=by + half,
        since=times[middle],
        since_low=times[low - 1],
        since_high=times[high],
        probability=probability,
    )
    return change, middle


@dataclass(frozen=True)
class Effect:
    """What a change of density does to an item: weight of a gob of the same volume [g], or, once the weight is brought
    back, its capacity [ml].
    """

    weight_g: float
    capacity_ml: float


def effect(by_g_cm3: float, density_g_cm3: float, weight_g: float) -> Effect:
    """A feeder meters volume: weight moves by weight x change / density. At the same weight the glass of a container
    takes weight / density, so that the capacity of the same mould moves by weight x change / (density x new density):
    glass displaces water.
    """
    return Effect(
        weight_g * by_g_cm3 / density_g_cm3, weight_g * by_g_cm3 / (density_g_cm3 * (density_g_cm3 + by_g_cm3))
    )
