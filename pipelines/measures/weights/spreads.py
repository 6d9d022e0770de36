"""A mould's own spread of single containers, with what is behind it; and how far the moulds of a line speak for
one another.

A capability index is one mould's: its spread is that mould's alone, so that its interval also holds for a mould that
scatters twice as much as its neighbours. The limits of charts borrow from the neighbours, as far as the moulds
agree.

Tried for the index and not kept: a common spread with 60 degrees of freedom beside the mould's own (a mould of twice
the spread was told a Cp 1.5 to 1.9 times the true one), and the posterior of `borrowed` (it draws such a mould
to the
others just where its few weighings happen to agree).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.statistics.factors import d2_d3
from pipelines.measures.weights.rounds import Rounds

RANGE_FREEDOM = 0.605  # degrees of freedom a point of a spread from moving ranges: [2] of `own_spreads`, from memory
FEW = 2.0  # degrees of freedom under which no spread is told
FAR_OFF = 6.0  # robust standard deviations from the middle of its mould: a slip of hand or scale, left out and said
SLIPS_FROM = 8  # weighings
TOGETHER = 4  # moulds of a gob position in a round that tell what moved them all
AGREE = np.geomspace(1, 400, 40)  # degrees of freedom that the moulds may lend one another
APART = 0.05  # of moulds that are beforehand thought to be unlike the others: a guess
SAMPLES, RANGES = "samples of one time", "moving ranges"


@dataclass(frozen=True)
class Spread:
    """One mould's standard deviation of single containers [g], None where too little is behind it.

    freedom: its degrees of freedom.  by: SAMPLES or RANGES.  correlation: of weighings that follow one another,
    0 where
    none is beyond chance.  worth: as how many independent weighings its mean counts.  left_out: slips [g].
    """

    sd: float | None
    freedom: float
    by: str
    correlation: float
    worth: float
    left_out: tuple[float, ...] = ()


def own_spreads(here: Rounds) -> list[Spread]:
    """One a mould of the window, in the order of `here.moulds`, each from its own weighings alone.

    The samples of one time pooled (n - 1 degrees of freedom each) where they carry more than its moving ranges;
    else the
    mean moving range over d2, raised by 1 / sqrt(1 - r) where weighings follow one another with correlation r.
    References: [1] ISO 7870-2 and ISO 22514-2 for the two estimators. [2] Cryer and Ryan, Journal of Quality
    Technology
    22 (1990) 187, degrees of freedom of moving ranges. [3] Bayley and Hammersley, Supplement to the Journal of
    the Royal
    Statistical Society 8 (1946) 184: n values with correlation r count as n (1 - r) / (1 + r).
    """
    columns = [_kept(column) for column in here.mean.T]
    r = following(here, np.column_stack([kept for kept, _ in columns]))
    found = []
    for number, (column, left_out) in enumerate(columns):
        kept = column[~np.isnan(column)]
        by_samples, samples = _by_samples(here.sd[:, number], here.n[:, number])
        ranges = RANGE_FREEDOM * (len(kept) - 1)
        if samples >= ranges:
            found.append(_spread(by_samples, samples, SAMPLES, 0.0, float(here.n[:, number].sum())))
        else:
            sd = float(np.abs(np.diff(kept)).mean()) / d2_d3(2)[0] / (1 - r) ** 0.5
            found.append(_spread(sd, ranges, RANGES, r, max(1.0, len(kept) * (1 - r) / (1 + r)), left_out))
    return found


def _spread(sd: float, freedom: float, by: str, r: float, worth: float, left_out: tuple[float, ...] = ()) -> Spread:
    return Spread(sd if freedom >= FEW else None, freedom, by, r, worth, left_out)


def _by_samples(sd: np.ndarray, n: np.ndarray) -> tuple[float, float]:
    """Pooled standard deviation within the samples of each time, and its degrees of freedom."""
    known = (n >= 2) & ~np.isnan(sd)
    freedom = float((n[known] - 1).sum())
    return (float(np.sqrt(((n[known] - 1) * sd[known] ** 2).sum() / freedom)), freedom) if freedom else (0.0, 0.0)


def _kept(column: np.ndarray) -> tuple[np.ndarray, tuple[float, ...]]:
    """A mould's weighings by round, NaN for its slips, and the slips; medians tell them, so that they do not
    hide."""
    apart = np.abs(column - np.nanmedian(column)) if not np.isnan(column).all() else np.full(len(column), np.nan)
    known = ~np.isnan(apart)
    middle = float(np.median(apart[known])) / 0.6745 if known.sum() >= SLIPS_FROM else 0.0
    slip = known & (apart > FAR_OFF * middle) & (middle > 0)
    return np.where(slip, np.nan, column), tuple(float(value) for value in column[slip])


def following(here: Rounds, kept: np.ndarray) -> float:
    """Correlation of weighings that follow one another within a mould, all moulds together; 0 unless beyond chance.

    What moves TOGETHER and more moulds of a gob position at a time is taken out first, then each mould's
    straight line;
    a series of n then tells about (2 + 4 r) / n too little, which is put back. Beyond chance: 2.5 %, one-sided.
    References: [1] Kendall, and Marriott and Pope, Biometrika 41 (1954) 403 and 390: the bias.
    """
    lag = total = moulds = 0.0
    for values in (column[~np.isnan(column)] for column in _alone(here, kept).T):
        n = len(values)
        if n < SLIPS_FROM:
            continue
        t = np.arange(n) - (n - 1) / 2
        rest = values - values.mean() - float(t @ values / (t @ t)) * t
        scale = float(rest @ rest)
        if scale > 0:  # each mould by its own spread
            lag, total, moulds = lag + n * float(rest[1:] @ rest[:-1]) / scale, total + n, moulds + 1
    if not total:
        return 0.0
    each = total / moulds
    r = min(0.95, (lag / total + 2 / each) / (1 - 4 / each))
    return r if r > 1.96 / total**0.5 / (1 - 4 / each) else 0.0


def _alone(here: Rounds, kept: np.ndarray) -> np.ndarray:
    """Each mould's weighings in its own standard deviations, less what its gob position's moulds have in common."""
    known = ~np.isnan(kept)
    counts = np.maximum(known.sum(axis=0), 1)
    centre = np.where(known, kept, 0.0).sum(axis=0) / counts
    apart = np.where(known, kept - centre, np.nan)
    sd = np.sqrt(np.where(known, apart**2, 0.0).sum(axis=0) / counts)
    z: np.ndarray = apart / np.where(sd > 0, sd, 1.0)
    for gob in np.unique(here.gob):
        mine = known & (here.gob == gob)
        size = mine.sum(axis=1, keepdims=True)
        common = np.where(mine, z, 0.0).sum(axis=1, keepdims=True) / np.maximum(size, 1)
        z = np.where(mine & (size >= TOGETHER), z - common, z)
    return z


def borrowed(own: np.ndarray, freedom: np.ndarray) -> tuple[np.ndarray, float]:
    """Each mould's spread with what the others lend it, and how many degrees of freedom they lend a mould like them.

    own, freedom: [moulds], any unit; NaN or freedom 0 where a mould has none of its own. Variances are a scaled
    inverse
    chi-square about a common one, as wide as the marginal likelihood says (s2 / common is then F distributed);
    APART of
    the moulds are unlike the others and lend and borrow nothing, each as far as it looks so.
    References: [1] Smyth, Statistical Applications in Genetics and Molecular Biology 3 (2004) 3: the prior and its F
    distribution. [2] Phipson and others, Annals of Applied Statistics 10 (2016) 946: hyper-variable ones kept apart.
    """
    known = (freedom > 0) & (own > 0)
    if known.sum() < 2:
        together = float(own[known][0]) if known.any() else float("nan")
        return np.where(np.isnan(own) | (freedom <= 0), together, own), 0.0
    s2, nu = own[known] ** 2, freedom[known]
    scale = float(np.median(s2)) * np.exp(np.linspace(-1, 1, 41))[:, None, None]
    like = _log_f(s2, nu, scale, AGREE[None, :, None])
    unlike = _log_f(s2, nu, scale, 1.0)
    mixed = np.logaddexp(np.log(1 - APART) + like, np.log(APART) + unlike)
    weight = mixed.sum(axis=2)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    apart = (weight[..., None] * np.exp(np.log(APART) + unlike - mixed)).sum(axis=(0, 1))
    lent = float(np.exp((weight.sum(axis=0) * np.log(AGREE)).sum()))
    common = float(np.exp((weight.sum(axis=1) * np.log(scale[:, 0, 0])).sum()))
    values = np.full(len(own), common**0.5)
    values[known] = np.sqrt(apart * s2 + (1 - apart) * (nu * s2 + lent * common) / (nu + lent))
    return values, lent


def _log_f(s2: np.ndarray, nu: np.ndarray, scale: np.ndarray, other: np.ndarray | float) -> np.ndarray:
    """Logarithm of the density of s2 where s2 / scale is F distributed with nu and `other` degrees of freedom."""
    from scipy.special import betaln

    x = s2 / scale
    values: np.ndarray = (
        nu / 2 * np.log(nu / other)
        + (nu / 2 - 1) * np.log(x)
        - (nu + other) / 2 * np.log1p(nu * x / other)
        - betaln(nu / 2, other / 2)
        - np.log(scale)
    )
    return values
