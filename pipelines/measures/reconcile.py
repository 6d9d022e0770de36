"""Readings that do not agree, made to: weighted least squares under balances, and which meter is most likely lying."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LEVEL = 0.05


@dataclass(frozen=True)
class Reconciled:
    """What n readings become under m balances.

    values, low, high: [n] reconciled values with 95 % intervals, in the readings' units. z: [n] each meter's adjustment over its
    standard deviation (nan where no balance checks it). losses: unmeasured flows, each at least 0. statistic: weighted sum of
    squared adjustments; freedom: its degrees of freedom; p: probability of as much or more if no meter lies.
    """

    values: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    losses: np.ndarray
    statistic: float
    freedom: int
    p: float


def reconcile(
    readings: Sequence[float] | np.ndarray,
    covariance: np.ndarray,
    balances: np.ndarray,
    losses: np.ndarray | None = None,
    free: Sequence[int] = (),
) -> Reconciled:
    """Reconciled readings: minimise (x - y)' V^-1 (x - y) subject to A x + B u = 0, u >= 0.

    readings y [n]; covariance V [n, n], or standard deviations [n]; balances A [m, n]; losses B [m, k], unmeasured flows u;
    free: meters that are not believed at all and are worked out from the others. ValueError where shapes do not fit.
    References: [1] Kuehn and Davidson, Chemical Engineering Progress 57 (1961) 44. [2] VDI 2048 Part 1. [3] Crowe, Garcia Campos and
    Hrymak, AIChE Journal 29 (1983) 881 (projection of unmeasured flows). [4] Mah and Tamhane, AIChE Journal 28 (1982) 828 (measurement test).
    """
    y, matrix = np.asarray(readings, float), np.asarray(balances, float)
    spread = np.asarray(covariance, float)
    spread = np.diag(spread**2) if spread.ndim == 1 else spread
    if matrix.shape[1] != len(y) or spread.shape != (len(y), len(y)):
        raise ValueError(f"{matrix.shape[1]} columns of balances, {len(y)} readings, covariance {spread.shape}")
    unmeasured = np.zeros((len(matrix), 0)) if losses is None else np.asarray(losses, float)
    kept = _losses_at_least_zero(y, spread, matrix, unmeasured, free)
    return _solved(y, spread, matrix, unmeasured, kept, free)


def _losses_at_least_zero(
    y: np.ndarray, spread: np.ndarray, matrix: np.ndarray, unmeasured: np.ndarray, free: Sequence[int]
) -> list[int]:
    """Which losses are above zero at the optimum; found by SciPy's bounded least squares over losses and balances' null space."""
    from scipy.linalg import null_space
    from scipy.optimize import lsq_linear

    if not unmeasured.shape[1]:
        return []
    space = null_space(np.hstack([matrix, unmeasured]))
    believed = [n for n in range(len(y)) if n not in free]
    root = np.linalg.inv(np.linalg.cholesky(spread[np.ix_(believed, believed)]))
    of_losses, of_meters = space[len(y) :], space[believed]
    rank = int(np.linalg.matrix_rank(of_losses))
    if rank < unmeasured.shape[1]:
        return list(range(unmeasured.shape[1]))  # balances do not tell the losses apart
    rest = null_space(of_losses)
    columns = root @ of_meters @ np.hstack([np.linalg.pinv(of_losses), rest])
    low = np.concatenate([np.zeros(rank), np.full(rest.shape[1], -np.inf)])
    told = lsq_linear(columns, root @ y[believed], bounds=(low, np.full(len(low), np.inf)), tol=1e-12)
    scale = float(np.sqrt(np.trace(spread) / len(y)))
    return [n for n in range(rank) if told.x[n] > 1e-6 * scale]


def _solved(
    y: np.ndarray,
    spread: np.ndarray,
    matrix: np.ndarray,
    unmeasured: np.ndarray,
    kept: Sequence[int],
    free: Sequence[int],
) -> Reconciled:
    """The closed form, with the kept losses and the free meters projected out of the balances."""
    from scipy.special import gammaincc

    gone = np.hstack([unmeasured[:, list(kept)], matrix[:, list(free)]])
    q, _ = np.linalg.qr(gone, mode="complete") if gone.shape[1] else (np.eye(len(matrix)), None)
    rank = int(np.linalg.matrix_rank(gone)) if gone.shape[1] else 0
    believed = [n for n in range(len(y)) if n not in free]
    left = q[:, rank:].T @ matrix[:, believed]
    left = left[np.linalg.norm(left, axis=1) > 1e-12]
    v = spread[np.ix_(believed, believed)]
    gain = v @ left.T @ np.linalg.inv(left @ v @ left.T)
    residual = left @ y[believed]
    adjusted = y[believed] - gain @ residual
    changed = gain @ left @ v
    statistic = float(residual @ np.linalg.inv(left @ v @ left.T) @ residual)
    values, z, sd = _spread_out(y, believed, adjusted, changed, np.sqrt(np.clip(np.diag(v - changed), 0, None)))
    flows, sd_free = _worked_out(matrix, gone, believed, adjusted, v - changed)
    values[list(free)], sd[list(free)] = flows[len(kept) :], sd_free[len(kept) :]
    told = np.zeros(unmeasured.shape[1])
    told[list(kept)] = flows[: len(kept)]
    freedom = len(left)
    p = float(gammaincc(freedom / 2, statistic / 2)) if freedom else 1.0
    return Reconciled(values, values - 1.96 * sd, values + 1.96 * sd, z, told, statistic, freedom, p)


def _spread_out(
    y: np.ndarray, believed: list[int], adjusted: np.ndarray, changed: np.ndarray, sd_believed: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    values, z, sd = y.copy(), np.full(len(y), np.nan), np.full(len(y), np.nan)
    values[believed], sd[believed] = adjusted, sd_believed
    of = np.sqrt(np.clip(np.diag(changed), 0, None))
    checked = of > 1e-9 * np.sqrt(np.max(np.diag(changed), initial=1e-300))
    z[np.array(believed)[checked]] = (y[believed] - adjusted)[checked] / of[checked]
    return values, z, sd


def _worked_out(
    matrix: np.ndarray, gone: np.ndarray, believed: list[int], adjusted: np.ndarray, left: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Losses and free meters from the reconciled others, with their standard deviations."""
    if not gone.shape[1]:
        return np.zeros(0), np.zeros(0)
    back = -np.linalg.pinv(gone) @ matrix[:, believed]
    sd: np.ndarray = np.sqrt(np.clip(np.diag(back @ left @ back.T), 0, None))
    return back @ adjusted, sd


@dataclass(frozen=True)
class Suspect:
    """A meter whose reading the balances refuse: its z when it was named, and its value worked out from all others."""

    meter: int
    z: float
    reading: float
    reconciled: float


def suspects(
    readings: Sequence[float] | np.ndarray,
    covariance: np.ndarray,
    balances: np.ndarray,
    losses: np.ndarray | None = None,
    level: float = LEVEL,
) -> tuple[list[Suspect], Reconciled]:
    """The meters most likely lying, the worst first, and what is reconciled without them.

    While the global test refuses the whole and some |z| is above its bound, the meter with the greatest |z| is no longer believed.
    The bound keeps `level` over all meters together: the normal quantile at 1 - (1 - (1 - level)^(1/n)) / 2.
    References: [1] Mah and Tamhane, AIChE Journal 28 (1982) 828. [2] Serth and Heenan, AIChE Journal 32 (1986) 733 (serial elimination).
    [3] Sidak, Journal of the American Statistical Association 62 (1967) 626.
    """
    y = np.asarray(readings, float)
    named: list[tuple[int, float]] = []
    told = reconcile(y, covariance, balances, losses)
    while told.p < level and told.freedom > 1:
        checked = np.flatnonzero(np.isfinite(told.z))
        worst = int(checked[np.argmax(np.abs(told.z[checked]))])
        if abs(told.z[worst]) <= _bound(len(checked), level):
            break
        named.append((worst, float(told.z[worst])))
        told = reconcile(y, covariance, balances, losses, [meter for meter, _ in named])
    return [Suspect(meter, z, float(y[meter]), float(told.values[meter])) for meter, z in named], told


def _bound(meters: int, level: float) -> float:
    from scipy.special import ndtri

    each = 1 - math.pow(1 - level, 1 / meters)
    return float(ndtri(1 - each / 2))
