"""How likely a line's cells are for each place that could be raised: the counts' part of placing a signal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.signals.false_part import POINTS, FalseParts, false_parts, thinned
from pipelines.measures.signals.place_cells import PlaceCells

FACTORS = np.geomspace(1.4, 2000.0, 26)
REMAINS = np.array([0.0, 0.1, 0.25, 0.5, 0.75])  # of its detection, where a station sees less than before
STATION_VARIANCE = 0.04  # of what a station calls beyond the ware's own defects, from mould to mould
WANDER = np.polynomial.hermite_e.hermegauss(5)


@dataclass(frozen=True)
class Raised:
    """One place's log likelihood over that of nothing being raised, and what it makes of each station.

    by_factor: [points, factors], or [1, factors] where the false parts do not matter; growth: the same, by station:
    how many times the station's usual calls are expected there; factors: by how much the place was raised.
    """

    by_factor: np.ndarray
    growth: np.ndarray
    factors: np.ndarray

    @property
    def log(self) -> float:
        return float(mean_exp(self.by_factor.ravel()))

    def told(self, also: np.ndarray | None = None) -> tuple[float, tuple[float, ...]]:
        """Expected factor, and expected growth of each station; `also`: log weights of the factors from elsewhere."""
        logs = self.by_factor if also is None else self.by_factor + also
        weight = np.exp(logs - logs.max())
        weight /= weight.sum()
        growth = np.einsum("pf,pfs->s", weight, self.growth)
        return float(weight.sum(axis=0) @ self.factors), tuple(float(x) for x in growth)


class Likelihoods:
    """Log likelihoods of all cells of a line for its places. Counts are negative binomial; points stand for the false
    parts.

    A raised column changes its own cells only, so the gains of single cells are computed once for all places.
    """

    def __init__(self, cells: PlaceCells):
        self.cells = cells
        self.rows = np.flatnonzero(cells.able)
        self.seen, self.expected, self.ware = (x[self.rows] for x in (cells.seen, cells.expected, cells.ware))
        self.base = cells.usual[self.rows]
        self.size = _sizes(cells, self.rows)
        self.still = log_negative_binomial(self.seen, self.expected, self.size)
        self.parts = self._parts()
        self.true = 1 - self.parts.false[:, self.rows]  # [points, rows]
        self.more = (FACTORS - 1)[None, :, None] * self.true[:, None, :]  # [points, factors, rows]
        mean = self.expected[:, :-1] + self.more[..., None] * self.base[:, :-1]
        raised = log_negative_binomial(self.seen[:, :-1], mean, self.size[:, :-1])
        self.by_column = (raised - self.still[:, :-1]).sum(axis=2)  # [points, factors, columns]

    def _parts(self) -> FalseParts:
        cells = self.cells
        ware = cells.ware.sum(axis=1)
        rate = cells.usual.sum(axis=1) / np.maximum(ware, 1e-9)
        return false_parts(np.where(ware > 0, rate, 0.0), ware, cells.order, cells.able, cells.challenged)

    def of(self, places: Sequence[tuple[int, ...]]) -> list[Raised]:
        """Of each place (its columns): ware of it has the defect more often, so each station's true part there grows,
        its false part does not.
        """
        if not places:
            return []
        member = np.zeros((len(places), self.by_column.shape[-1]))
        for number, columns in enumerate(places):
            member[number, list(columns)] = 1
        share = shares_of(self.cells, member)[:, None, None, None]
        mean = self.expected[:, -1] + share * (self.more * self.base[:, -1])
        unread = log_negative_binomial(self.seen[:, -1], mean, self.size[:, -1]) - self.still[:, -1]
        answer = np.moveaxis(self.by_column @ member.T, 2, 0) + unread.sum(axis=3)
        growth = self._growth(self.more)
        return [Raised(each, growth, FACTORS) for each in answer]

    def of_station(self, station: int) -> Raised:
        """One station calls good ware: calls in proportion to its ware, whatever the mould."""
        at = int(np.flatnonzero(self.rows == station)[0])
        ware, expected = self.ware[at], self.expected[at]
        mean = expected + (FACTORS[:, None] - 1) * ware / max(ware.sum(), 1.0) * self.base[at].sum()
        size = 1 / ((expected / np.maximum(mean, 1e-9)) ** 2 / self.size[at] + STATION_VARIANCE)
        raised = log_negative_binomial(self.seen[at], mean, size) + _norm(self.seen[at], size)
        answer = (raised - self.still[at] - _norm(self.seen[at], self.size[at])).sum(axis=1)
        more = np.zeros((1, len(FACTORS), len(self.rows)))
        more[0, :, at] = FACTORS - 1
        return Raised(answer[None, :], self._growth(more), FACTORS)

    def of_blinded(self, station: int) -> Raised:
        """One station finds less of the defect than before: its own calls fall, those of the stations behind it
        rise.
        """
        cells, parts = self.cells, self.parts
        growth = np.ones((POINTS, len(REMAINS), len(self.rows)))
        for number, remains in enumerate(REMAINS):
            detection = parts.detection.copy()
            detection[:, station] *= remains
            passed = thinned(detection, cells.ware.sum(axis=1), cells.order)
            ratio = detection * passed / np.maximum(parts.detection * parts.passed, 1e-12)
            growth[:, number] = 1 + self.true * (ratio[:, self.rows] - 1)
        mean = self.expected + (growth - 1)[..., None] * self.base
        answer = (log_negative_binomial(self.seen, mean, self.size) - self.still).sum(axis=(2, 3))
        return Raised(answer, self._growth(growth - 1), REMAINS)

    def wandered(self) -> float:
        """Log likelihood of nothing being raised, the whole line's rate wandering as it does: cells.line is its
        variance.
        """
        nodes, weights = WANDER
        sd = np.sqrt(np.log1p(max(self.cells.line, 0.0)))
        level = np.exp(sd * nodes - sd**2 / 2)[:, None, None]
        gain = log_negative_binomial(self.seen, level * self.expected, self.size) - self.still
        logs = gain.sum(axis=(1, 2)) + np.log(weights / weights.sum())
        return float(np.logaddexp.reduce(logs))

    def _growth(self, more: np.ndarray) -> np.ndarray:
        """[..., all stations] from what is added at those that can call the defect."""
        values = np.ones((*more.shape[:-1], len(self.cells.able)))
        values[..., self.rows] += more
        return values


def shares_of(cells: PlaceCells, member: np.ndarray) -> np.ndarray:
    """How much of the line's expected calls falls to each place [places], as far as moulds are read; member: [places,
    columns] 1 or 0.
    """
    by_column = cells.usual[cells.reads, :-1].sum(axis=0)
    if by_column.sum() <= 0:
        by_column = cells.ware[cells.reads, :-1].sum(axis=0)
    total = float(by_column.sum())
    values: np.ndarray = member @ by_column / total if total > 0 else np.ones(len(member))
    return values


def _sizes(cells: PlaceCells, rows: np.ndarray) -> np.ndarray:
    """Size of the negative binomial of each cell: a mould's own variance, for unread ware the line's."""
    variance = np.full((len(rows), cells.seen.shape[1]), cells.own)
    variance[:, -1] = cells.line
    variance[~cells.reads[rows]] = cells.line
    return 1 / np.maximum(variance, 1e-6)


def log_negative_binomial(seen: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Log probability up to terms that do not depend on the mean."""
    mean = np.maximum(mean, 1e-9)
    values: np.ndarray = seen * np.log(mean) - (seen + size) * np.log(mean + size) + size * np.log(size)
    return values


def _norm(seen: np.ndarray, size: np.ndarray) -> np.ndarray:
    """The terms of the log probability that depend on the size and not on the mean."""
    from scipy.special import gammaln

    values: np.ndarray = gammaln(seen + size) - gammaln(size)
    return values


def mean_exp(logs: np.ndarray) -> np.ndarray:
    """log of the mean of exp(logs) over the last axis."""
    top = logs.max(axis=-1, keepdims=True)
    values: np.ndarray = top[..., 0] + np.log(np.exp(logs - top).mean(axis=-1))
    return values
