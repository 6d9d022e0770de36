"""What the weighings mean in glass: giveaway, the lowest mean that keeps the limits, hot against cold, drift a day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipelines.measures.weights.rounds import Rounds, mould_order

# standard deviations between a mean and a limit that it keeps: 1 container in 740 beyond it, if weights are normal
KEEPS = 3.0


@dataclass(frozen=True)
class Lowest:
    """The lowest mean [g] that keeps the limits, and which limit sets it; None where nothing does."""

    mean_g: float | None
    by: str


@dataclass(frozen=True)
class Glass:
    """Glass packed above nominal, and above the lowest mean, in kg, each with a 95 % interval; None where units,
    nominal or limits are not known, the intervals alone where the weighings are too few to bear one.
    """

    giveaway_kg: float | None
    giveaway_low: float | None
    giveaway_high: float | None
    saving_kg: float | None
    saving_low: float | None
    saving_high: float | None


@dataclass(frozen=True)
class HotCold:
    """Hot less cold weight over the moulds weighed at both points [g], with a 95 % interval; by_mould: mould, hot_g,
    hot_n, cold_g, cold_n.
    """

    moulds: int
    difference_g: float
    low_g: float | None
    high_g: float | None
    by_mould: pl.DataFrame


def lowest_mean(sd_g: float, weight_min_g: float | None, heavy_enough_g: float | None) -> Lowest:
    """KEEPS standard deviations `sd_g` of single containers above the least weight, or, where that is more, the mean at
    which the capacity keeps its greatest value.
    """
    by = {"weight_min_g": weight_min_g + KEEPS * sd_g} if weight_min_g is not None else {}
    if heavy_enough_g is not None:
        by["capacity_max_ml"] = heavy_enough_g
    name = max(by, key=lambda answer: by[answer]) if by else ""
    return Lowest(by.get(name), name)


def glass(mean_g: float, se_g: float | None, nominal_g: float, lowest_g: float | None, units: float | None) -> Glass:
    """(mean - nominal) x containers, and (mean - lowest mean) x containers; negative where the ware is lighter. se_g:
    standard error of the mean; None: too few to say.
    """
    if units is None:
        return Glass(None, None, None, None, None, None)

    def above(what_g: float | None) -> tuple[float | None, float | None, float | None]:
        if what_g is None:
            return None, None, None
        kg, half = ((mean_g - what_g) * units / 1000, None if se_g is None else 1.96 * se_g * units / 1000)
        return (kg, None, None) if half is None else (kg, kg - half, kg + half)

    return Glass(*above(nominal_g), *above(lowest_g))


def mean_error(rounds: Rounds, parts: dict[str, float]) -> float:
    """Standard error of the mean of all weighings as the mean of these moulds in this time: spread of times over
    rounds, within over weighings [g].

    The moulds are those that ran, so their differences add nothing.
    """
    count, times = float(rounds.n.sum()), float((rounds.n > 0).any(axis=1).sum())
    return float(np.sqrt(parts.get("times", 0.0) / max(times, 1) + parts.get("within", 0.0) / max(count, 1)))


def drift_a_day(rounds: Rounds) -> tuple[float, float, float] | None:
    """Slope of the weight over the rounds [g a day] with a 95 % interval, each mould against its own mean; None under
    three rounds.

    References: [1] Draper and Smith, Applied Regression Analysis: slope and its interval by Student's t.
    """
    from scipy.special import stdtrit

    with np.errstate(invalid="ignore"):
        seen = rounds.n > 0
        own = np.where(
            seen.any(axis=0),
            np.nansum(np.where(seen, rounds.mean, 0), axis=0) / np.maximum(seen.sum(axis=0), 1),
            np.nan,
        )
    weighed = seen.sum(axis=1)
    y = np.where(seen, rounds.mean - own, 0.0).sum(axis=1)[weighed > 0] / weighed[weighed > 0]
    t = rounds.seconds[weighed > 0] / 86400
    if len(t) < 3 or t[-1] == t[0]:
        return None
    apart = t - t.mean()
    slope = float(apart @ y / (apart @ apart))
    rest = y - y.mean() - slope * apart
    half = float(stdtrit(len(t) - 2, 0.975)) * float(np.sqrt(rest @ rest / (len(t) - 2) / (apart @ apart)))
    return slope, slope - half, slope + half


def hot_cold(hot: pl.DataFrame, cold: pl.DataFrame) -> HotCold | None:
    """Hot and cold means of the same moulds (mould, weight_g of each). The lehr changes no weight: a difference is a
    scale, or other ware. None without a common mould.
    """
    from scipy.special import stdtrit

    sides = [
        part.group_by("mould").agg(pl.col("weight_g").mean().alias(f"{name}_g"), pl.len().alias(f"{name}_n"))
        for name, part in (("hot", hot), ("cold", cold))
    ]
    both = sides[0].join(sides[1], on="mould")
    if both.is_empty():
        return None
    order = sorted(range(both.height), key=lambda row: mould_order(both["mould"][row]))
    both = both[order]
    apart = (both["hot_g"] - both["cold_g"]).to_numpy()
    mean = float(apart.mean())
    if len(apart) < 2:
        return HotCold(1, mean, None, None, both)
    half = float(stdtrit(len(apart) - 1, 0.975)) * float(apart.std(ddof=1)) / len(apart) ** 0.5
    return HotCold(len(apart), mean, mean - half, mean + half, both)
