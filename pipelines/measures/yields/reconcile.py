"""Readings that do not agree, made to: weighted least squares under balances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Reconciled:
    """What n readings become under m balances.

    values, low, high: [n] reconciled values with 95 % intervals, in the readings' units. z: [n] each meter's
    adjustment, weighed by the inverse covariance, over its standard deviation (nan where no balance checks it): for
    independent readings the adjustment over its own. losses: unmeasured flows, each at least 0. statistic: weighted sum
    of squared adjustments; freedom: its degrees of freedom; p: probability of as much or more if no meter lies.
    covariance: [n, n] of the values, as if no loss were held at zero, which is the wider. seen: [n] by how many
    standard deviations z moves for each unit by which a meter is off; 0 where no balance checks it.
    """

    values: np.ndarray
    low: np.ndarray
    high: np.ndarray
    z: np.ndarray
    losses: np.ndarray
    statistic: float
    freedom: int
    p: float
    covariance: np.ndarray
    seen: np.ndarray


def reconcile(
    readings: Sequence[float] | np.ndarray,
    covariance: np.ndarray,
    balances: np.ndarray,
    losses: np.ndarray | None = None,
    free: Sequence[int] = (),
    constants: np.ndarray | None = None,
) -> Reconciled:
    """Reconciled readings: minimise (x - y)' V^-1 (x - y) subject to A x + B u = c, u >= 0.

    readings y [n]; covariance V [n, n], or standard deviations [n]; balances A [m, n]; losses B [m, k], unmeasured
    flows u;
    constants c [m], zero where not given; free: meters that are not believed at all and are worked out from the others.
    ValueError where shapes do not fit.
    References: [1] Kuehn and Davidson, Chemical Engineering Progress 57 (1961) 44. [2] VDI 2048 Part 1. [3] Crowe,
    Garcia Campos and Hrymak, AIChE Journal 29 (1983) 881 (projection of unmeasured flows). [4] Mah and Tamhane, AIChE
    Journal 28 (1982) 828 (measurement test).
    """
    y, matrix = np.asarray(readings, float), np.asarray(balances, float)
    spread = np.asarray(covariance, float)
    spread = np.diag(spread**2) if spread.ndim == 1 else spread
    if matrix.shape[1] != len(y) or spread.shape != (len(y), len(y)):
        raise ValueError(f"{matrix.shape[1]} columns of balances, {len(y)} readings, covariance {spread.shape}")
    unmeasured = np.zeros((len(matrix), 0)) if losses is None else np.asarray(losses, float)
    base = np.linalg.lstsq(matrix, np.asarray(constants, float))[0] if constants is not None else np.zeros(len(y))
    kept = _losses_at_least_zero(y - base, spread, matrix, unmeasured, free)
    reconciled = _solved(y - base, spread, matrix, unmeasured, kept, free)
    every = list(range(unmeasured.shape[1]))
    wide = reconciled if len(kept) == len(every) else _solved(y - base, spread, matrix, unmeasured, every, free)
    values, half = reconciled.values + base, 1.96 * np.sqrt(np.clip(np.diag(wide.covariance), 0, None))
    return replace(reconciled, values=values, low=values - half, high=values + half, covariance=wide.covariance)


def _losses_at_least_zero(
    y: np.ndarray, spread: np.ndarray, matrix: np.ndarray, unmeasured: np.ndarray, free: Sequence[int]
) -> list[int]:
    """Which losses are above zero at the optimum; found by SciPy's bounded least squares over losses and balances' null
    space.
    """
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
    answer = lsq_linear(columns, root @ y[believed], bounds=(low, np.full(len(low), np.inf)), tol=1e-12)
    scale = float(np.sqrt(np.trace(spread) / len(y)))
    return [n for n in range(rank) if answer.x[n] > 1e-6 * scale]


def without(gone: np.ndarray) -> np.ndarray:
    """Combinations [combinations, balances] of balances in which the columns `gone` [balances, n] do not occur,
    orthonormal.

    By singular values: an unpivoted QR's first columns need not span columns of a lower rank, and would leave some of
    them in.
    """
    from scipy.linalg import null_space

    values: np.ndarray = null_space(gone.T).T if gone.shape[1] else np.eye(len(gone))
    return values


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
    believed = [n for n in range(len(y)) if n not in free]
    left = without(gone) @ matrix[:, believed]
    left = left[np.linalg.norm(left, axis=1) > 1e-12]
    v = spread[np.ix_(believed, believed)]
    gain = v @ left.T @ np.linalg.inv(left @ v @ left.T)
    residual = left @ y[believed]
    adjusted = y[believed] - gain @ residual
    changed = gain @ left @ v
    statistic = float(residual @ np.linalg.inv(left @ v @ left.T) @ residual)
    back = -np.linalg.pinv(gone) @ matrix[:, believed] if gone.shape[1] else np.zeros((0, len(believed)))
    flows, k = back @ adjusted, len(kept)
    values, z, answer = y.copy(), np.full(len(y), np.nan), np.zeros(unmeasured.shape[1])
    values[believed], values[list(free)], answer[list(kept)] = adjusted, flows[k:], flows[:k]
    pull, seen = left.T @ np.linalg.inv(left @ v @ left.T), np.zeros(len(y))
    seen[believed] = np.sqrt(np.clip(np.diag(pull @ left), 0, None))
    checked = seen[believed] ** 2 * np.diag(v) > 1e-9
    z[np.array(believed)[checked]] = (pull @ residual)[checked] / seen[believed][checked]
    freedom = len(left)
    p = float(gammaincc(freedom / 2, statistic / 2)) if freedom else 1.0
    of = np.zeros((len(y), len(believed)))
    of[believed], of[list(free)] = np.eye(len(believed)), back[k:]
    sure = of @ (v - changed) @ of.T
    return Reconciled(values, values, values, z, answer, statistic, freedom, p, sure, seen)
