"""Capacity between two checks, from the weight: a mould encloses a fixed volume, and the glass takes its share of
it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import polars as pl

from pipelines.measures.statistics.components import components
from schemas.answers.laboratory import InferredCapacity

LATEST = 4  # weighings of a mould that tell its weight now
NEAR = timedelta(hours=1)  # how near in time a weighing at the line tells the difference of the two scales
SURE = 0.95  # probability that a mould's mean capacity is beyond a limit, from which it is called
FEW_SHARE = 0.0015  # spread of the moulds' volumes taken for granted while too few were checked, of the volume; a guess


@dataclass(frozen=True)
class Volumes:
    """What the moulds enclose to the fill height [ml]: capacity and glass. by_mould: mean, standard deviation of the
    mould's mean; other: the same for a mould not checked yet. single: standard deviation of one check. scale:
    laboratory less line weight of the same moulds [g], with its standard deviation.
    """

    by_mould: dict[str, tuple[float, float]]
    other: tuple[float, float]
    single: float
    scale: tuple[float, float]
    checks: int


def volumes(checks: pl.DataFrame, weighings: pl.DataFrame, density_g_cm3: float, scale_share: float) -> Volumes | None:
    """From capacity checks (sampled_at, mould, capacity_ml, empty_g) of an item and line weighings (sampled_at, mould,
    weight_g); None without checks.

    Volume = capacity + empty_g / density. Moulds are random about their common mean, so that one with a single check is
    drawn towards it.
    scale_share: standard uncertainty of the line's scale, of the weight, where no weighing lies near a check.
    References: [1] Archimedes; ISO 9058 names capacity, weight and density as linked so. [2] Searle, Casella and
    McCulloch (1992), prediction of random effects.
    """
    if checks.is_empty():
        return None
    enclosed = checks["capacity_ml"].to_numpy() + checks["empty_g"].to_numpy() / density_g_cm3
    moulds = checks["mould"].to_list()
    parts = components(enclosed, {"moulds": checks["mould"].rank("dense").to_numpy()})
    guess = (FEW_SHARE * float(enclosed.mean())) ** 2
    enough = len(enclosed) >= 6 and "moulds" in parts
    between, single = (parts["moulds"].value, parts["within"].value) if enough else (guess, guess / 4)
    single = max(single, 1e-6)
    middle = float(enclosed.mean())
    middle_var = (between + single) / len(enclosed)
    by_mould = {}
    for mould in dict.fromkeys(moulds):
        mine = enclosed[[m == mould for m in moulds]]
        kept = between / (between + single / len(mine))
        by_mould[mould] = (
            middle + kept * (float(mine.mean()) - middle),
            float(np.sqrt(kept * single / len(mine) + (1 - kept) ** 2 * middle_var)),
        )
    return Volumes(
        by_mould,
        (middle, float(np.sqrt(between + middle_var))),
        single**0.5,
        _scale(checks, weighings, scale_share),
        len(enclosed),
    )


def _scale(checks: pl.DataFrame, weighings: pl.DataFrame, scale_share: float) -> tuple[float, float]:
    """Laboratory less line: mean over checks with a line weighing of the same mould NEAR in time, and its standard
    error.
    """
    near = checks.sort("sampled_at").join_asof(
        weighings.sort("sampled_at").select("sampled_at", "mould", "weight_g"),
        on="sampled_at",
        by="mould",
        strategy="nearest",
        tolerance=NEAR,
        check_sortedness=False,
    )
    apart = (near["empty_g"] - near["weight_g"]).drop_nulls().to_numpy()
    if len(apart) < 4:
        return 0.0, scale_share * float(checks["empty_g"].to_numpy().mean())
    return float(apart.mean()), float(apart.std(ddof=1)) / len(apart) ** 0.5


def inferred(
    known: Volumes,
    weighings: pl.DataFrame,
    density_g_cm3: float,
    density_sd: float,
    low_ml: float | None,
    high_ml: float | None,
) -> list[InferredCapacity]:
    """Every mould's mean capacity by its LATEST weighings (sampled_at, mould, weight_g, in time): volume less (weight +
    scale) / density.

    The interval holds the volume's, the weighings', the scale's and the density's uncertainty (density_sd [g/cm3]).
    """
    from scipy.special import ndtr

    ordered = weighings.sort("sampled_at")
    last = ordered.group_by("mould", maintain_order=True).agg(
        pl.col("weight_g").tail(LATEST).mean(),
        pl.col("weight_g").tail(LATEST).len().alias("n"),
        pl.col("sampled_at").last(),
    )
    pairs = [known.by_mould.get(mould, known.other) for mould in last["mould"]]
    volume, sd = (np.array([pair[part] for pair in pairs]) for part in (0, 1))
    weight = last["weight_g"].to_numpy()
    capacity = volume - (weight + known.scale[0]) / density_g_cm3
    of_glass = (_pooled_sd(ordered) ** 2 / last["n"].to_numpy() + known.scale[1] ** 2) / density_g_cm3**2
    spread = np.sqrt(sd**2 + of_glass + (weight * density_sd / density_g_cm3**2) ** 2)
    beyond = np.zeros(len(weight))
    if high_ml is not None:
        beyond = beyond + ndtr((capacity - high_ml) / spread)
    if low_ml is not None:
        beyond = beyond + ndtr((low_ml - capacity) / spread)
    rows = zip(last["mould"], last["sampled_at"], weight, capacity, spread, beyond, strict=True)
    return [
        InferredCapacity(
            mould=m,
            at=at,
            weight_g=float(w),
            capacity_ml=float(c),
            low=float(c - 1.96 * s),
            high=float(c + 1.96 * s),
            beyond=float(b),
            checked=m in known.by_mould,
            called=float(b) >= SURE,
        )
        for m, at, w, c, s, b in rows
    ]


def _pooled_sd(weighings: pl.DataFrame) -> float:
    """Standard deviation of a weighing about its mould's mean [g]; of one mould with a single weighing, 0.3 % of it, a
    guess.
    """
    frame = weighings.select((pl.col("weight_g") - pl.col("weight_g").mean().over("mould")).alias("apart"), "mould")
    freedom = frame.height - frame["mould"].n_unique()
    if freedom < 1:
        return 0.003 * float(weighings["weight_g"].to_numpy().mean())
    return float((frame["apart"].to_numpy() ** 2).sum() / freedom) ** 0.5


def heaviest_for(known: Volumes, density_g_cm3: float, most_ml: float, sd_ml: float, keeps: float) -> float:
    """The mean line weight [g] at which the moulds' mean capacity lies `keeps` standard deviations sd_ml below its
    greatest value: any lighter, and too much goes in.
    """
    return (known.other[0] - (most_ml - keeps * sd_ml)) * density_g_cm3 - known.scale[0]
