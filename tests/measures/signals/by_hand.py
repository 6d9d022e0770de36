"""Places worked out by hand: the same models cell by cell in plain loops, with SciPy's negative binomial as
reference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.special import logsumexp
from scipy.stats import nbinom

from pipelines.measures.signals.place_cells import PlaceCells

FACTORS = np.geomspace(1.4, 2000.0, 26)


def halton(number: int, base: int) -> float:
    """The radical inverse of `number`: its digits in `base`, mirrored at the point."""
    value, part = 0.0, 1.0
    while number:
        part /= base
        number, digit = divmod(number, base)
        value += digit * part
    return value


def splits(cells: PlaceCells) -> list[tuple[list[float], list[float]]]:
    """Detection and false share of each station at each of the 32 points; all stations can call the defect."""
    answer = []
    for point in range(1, 33):
        level, *uniform = (halton(point, base) for base in (2, 3, 5, 7)[: 1 + len(cells.stations)])
        detection = [0.4 * u / 0.07 if u < 0.07 else ((u - 0.07) / 0.93) ** (1 / 6) for u in uniform]
        found = [d * let_pass(cells, detection, n) for n, d in enumerate(detection)]
        rates = [float(cells.usual[n].sum() / cells.ware[n].sum()) for n in range(len(found))]
        most = min(rate / part for rate, part in zip(rates, found, strict=True))
        answer.append((detection, [1 - level * most * f / rate for f, rate in zip(found, rates, strict=True)]))
    return answer


def let_pass(cells: PlaceCells, detection: Sequence[float], station: int) -> float:
    """What reaches a station: of each earlier order the share that its lanes, by their ware, do not find."""
    value = 1.0
    for order in sorted({o for o in cells.orders if o < cells.orders[station]}):
        lanes = [n for n, o in enumerate(cells.orders) if o == order]
        ware = [float(cells.ware[n].sum()) for n in lanes]
        value *= 1 - sum(w * detection[n] for w, n in zip(ware, lanes, strict=True)) / sum(ware)
    return value


def of_ware(cells: PlaceCells, columns: Sequence[int]) -> np.ndarray:
    """Log likelihood [points, factors] of a fault of the ware of some columns."""
    read = cells.usual[cells.reads, :-1]
    share = float(read[:, list(columns)].sum() / read.sum())
    inside = [1.0 if c in columns else 0.0 for c in range(len(cells.columns))] + [share]
    values = np.zeros((32, len(FACTORS)))
    for point, (_, false) in enumerate(splits(cells)):
        for number, factor in enumerate(FACTORS):

            def mean(s: int, c: int, false: Sequence[float] = tuple(false), factor: float = float(factor)) -> float:
                return float(cells.expected[s, c] + cells.usual[s, c] * (1 - false[s]) * (factor - 1) * inside[c])

            values[point, number] = _log(cells, mean)
    return values


def of_station(cells: PlaceCells, station: int) -> np.ndarray:
    """Log likelihood [1, factors] of a station that calls good ware."""
    found = []
    usual, seen = cells.expected[station], cells.seen[station]
    variance = np.array([_variance(cells, station, c) for c in range(len(usual))])
    for factor in FACTORS:
        mean = usual + (factor - 1) * cells.ware[station] / cells.ware[station].sum() * cells.usual[station].sum()
        grown = (usual / np.maximum(mean, 1e-9)) ** 2 * variance + 0.04
        found.append(float((_nb(seen, mean, grown) - _nb(seen, usual, variance)).sum()))
    return np.array([found])


def of_blinded(cells: PlaceCells, station: int) -> np.ndarray:
    """Log likelihood [points, shares that remain] of a station that finds less than before."""
    values = np.zeros((32, 5))
    for point, (detection, false) in enumerate(splits(cells)):
        for number, remains in enumerate((0.0, 0.1, 0.25, 0.5, 0.75)):
            now = [d * (remains if n == station else 1) for n, d in enumerate(detection)]

            def mean(
                s: int, c: int, now: list[float] = now, was: list[float] = detection, false: list[float] = false
            ) -> float:
                ratio = now[s] * let_pass(cells, now, s) / (was[s] * let_pass(cells, was, s))
                return float(cells.expected[s, c] + cells.usual[s, c] * (1 - false[s]) * (ratio - 1))

            values[point, number] = _log(cells, mean)
    return values


def wandered(cells: PlaceCells) -> float:
    """Nothing raised, the line's level lognormal with mean 1 and variance cells.line: Gauss and Hermite's five
    nodes.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(5)
    sd = np.sqrt(np.log(1 + cells.line))
    logs = [_log(cells, lambda s, c, k=np.exp(sd * x - sd**2 / 2): float(k * cells.expected[s, c])) for x in nodes]  # type: ignore[misc]
    return float(logsumexp(logs, b=weights / weights.sum()))


def alike(by_factor: np.ndarray) -> np.ndarray:
    """A line's likelihood for each factor of the furnace's: its own lies about it on a log scale with sd 0.25."""
    mine = logsumexp(by_factor, axis=0) - np.log(len(by_factor))
    found = []
    for factor in FACTORS:
        weight = np.exp(-0.5 * (np.log(FACTORS / factor) / 0.25) ** 2)
        found.append(logsumexp(mine, b=weight / weight.sum()))
    return np.array(found)


def marginal(logs: np.ndarray) -> float:
    return float(logsumexp(logs) - np.log(logs.size))


def _log(cells: PlaceCells, mean: Callable[[int, int], float]) -> float:
    """Log likelihood of all cells over that of their expectation."""
    means = np.array([[mean(s, c) for c in range(cells.seen.shape[1])] for s in range(cells.seen.shape[0])])
    variance = np.array([[_variance(cells, s, c) for c in range(means.shape[1])] for s in range(len(means))])
    return float((_nb(cells.seen, means, variance) - _nb(cells.seen, cells.expected, variance)).sum())


def _variance(cells: PlaceCells, station: int, column: int) -> float:
    return cells.own if cells.reads[station] and column < len(cells.columns) else cells.line


def _nb(seen: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> np.ndarray:
    mean, size = np.maximum(mean, 1e-9), 1 / variance
    values: np.ndarray = nbinom.logpmf(seen, size, size / (size + mean))
    return values
