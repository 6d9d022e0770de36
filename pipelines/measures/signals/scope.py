"""Where an excess comes from: one mould, a section, a gob position, the line, the furnace's lines, or one station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipelines.measures.signals.counts import Column, cavities_of, groups_of

SCOPES = ("mould", "section", "gob", "line", "furnace", "station")
FACTORS = np.geomspace(1.4, 2000.0, 48)
COINCIDENCE = 0.003  # probability that another line has the same defect at the same time from a cause of its own
STATION_VARIANCE = 0.04  # of what a station calls beyond the ware's own defects, from mould to mould
READ_SHARE = 0.2  # below this share of calls with a mould number no place inside the line is judged

# Prior probability of each scope by the defect's origin in works.toml: a guess of this tool, common practice without a source.
PRIORS = {
    "mould": {"mould": 0.62, "section": 0.10, "gob": 0.05, "line": 0.06, "furnace": 0.02, "station": 0.15},
    "timing": {"mould": 0.18, "section": 0.50, "gob": 0.06, "line": 0.09, "furnace": 0.02, "station": 0.15},
    "gob": {"mould": 0.10, "section": 0.10, "gob": 0.40, "line": 0.19, "furnace": 0.06, "station": 0.15},
    "glass": {"mould": 0.05, "section": 0.05, "gob": 0.10, "line": 0.20, "furnace": 0.45, "station": 0.15},
    "lehr": {"mould": 0.10, "section": 0.10, "gob": 0.05, "line": 0.55, "furnace": 0.05, "station": 0.15},
    "handling": {"mould": 0.12, "section": 0.10, "gob": 0.06, "line": 0.40, "furnace": 0.04, "station": 0.28},
}
LOOK_FIRST = {
    "mould": "mould equipment: the mould, blank and neck ring of this cavity",
    "section": "section timing and the section's own mechanisms",
    "gob": "gob delivery: shears, feeder tube and needle, scoop, trough and deflector of this gob position",
    "line": "what all ware of the line shares: forehearth, feeder, conveyor, lehr, handling",
    "furnace": "glass: furnace, batch and cullet, and what feeds all its lines",
    "station": "the station itself: its settings, cleanliness and last challenge, before anybody at the hot end acts",
}


@dataclass(frozen=True)
class Beside:
    """Another line of the furnace in the same forming window: calls, expected, relative variance of the count."""

    line: str
    calls: float
    expected: float
    variance: float


@dataclass(frozen=True)
class Cells:
    """Calls of one defect in a window. seen, expected, ware: [stations, columns + 1], the last column unread.

    reads: [stations] whether moulds are read there. able: [stations] whether the defect can be called there.
    own: relative variance of a mould's count in the window; line: of the whole line's.
    """

    seen: np.ndarray
    expected: np.ndarray
    ware: np.ndarray
    reads: np.ndarray
    able: np.ndarray
    own: float
    line: float
    columns: tuple[Column, ...]
    stations: tuple[str, ...]
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True)
class Place:
    """One possible place. columns: the columns in it; station: its number where the scope is a station."""

    scope: str
    members: tuple[str, ...]
    columns: tuple[int, ...]
    station: int | None
    probability: float
    factor: float


@dataclass(frozen=True)
class Placing:
    """The likeliest place, the probability of each scope, all places. inside: False where no mould number tells a place
    inside the line, so that only line, furnace and station were compared."""

    best: Place
    scopes: dict[str, float]
    places: tuple[Place, ...]
    inside: bool


def place(cells: Cells, line: str, origin: str) -> Placing:
    """The probability of each place by comparing models that differ only in where the rate is raised.

    Counts are negative binomial; inside a place the mean is factor x expected, for a station expected + a number of calls in
    proportion to its ware, whatever the mould. The factor is summed out under a flat log prior; places share their
    scope's prior equally.
    References: [1] Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773, Bayes factors: eq. 1-3.
    """
    inside = _readable(cells)
    trials = _trials(cells, line, inside)
    prior = _prior(origin, inside)
    number = {scope: sum(trial[0] == scope for trial in trials) for scope in SCOPES}
    likely = _Likelihoods(cells)
    by_factor = np.stack([likely.of(columns, station) + _beside(cells, scope) for scope, _, columns, station in trials])
    log_prior = np.array([np.log(prior[trial[0]] / number[trial[0]]) for trial in trials])
    weights = _weights(_mean_exp(by_factor) + log_prior)
    inner = np.exp(by_factor - by_factor.max(axis=1, keepdims=True))
    factors = inner @ FACTORS / inner.sum(axis=1)
    told = [Place(*trial, float(w), float(f)) for trial, w, f in zip(trials, weights, factors, strict=True)]
    scopes = {scope: sum(p.probability for p in told if p.scope == scope) for scope in SCOPES if number[scope]}
    top = max(scopes, key=lambda scope: scopes[scope])
    best = max((p for p in told if p.scope == top), key=lambda p: p.probability)
    return Placing(best, scopes, tuple(sorted(told, key=lambda p: -p.probability)), inside)


def _prior(origin: str, inside: bool) -> dict[str, float]:
    """Without mould numbers "line" stands for every place on it: their prior probabilities are its own."""
    told = PRIORS[origin]
    return told if inside else {**told, "line": sum(told[scope] for scope in ("mould", "section", "gob", "line"))}


def _weights(logs: np.ndarray) -> np.ndarray:
    told: np.ndarray = np.exp(logs - logs.max())
    return told / told.sum()


def _readable(cells: Cells) -> bool:
    read = float(cells.seen[cells.reads, :-1].sum())
    return len(cells.columns) > 1 and read >= READ_SHARE * max(float(cells.seen.sum()), 1.0)


def _trials(cells: Cells, line: str, inside: bool) -> list[tuple[str, tuple[str, ...], tuple[int, ...], int | None]]:
    every = tuple(range(len(cells.columns)))
    told: list[tuple[str, tuple[str, ...], tuple[int, ...], int | None]] = [("line", (line,), every, None)]
    if inside:
        present = [n for n in every if cells.ware[:, n].sum() > 0]
        told += [("mould", (cells.columns[n].mould,), (n,), None) for n in present]
        told += [("mould", tuple(cells.columns[n].mould for n in v), tuple(v), None) for v in _changed(cells, present)]
        sections, gobs = groups_of([cells.columns[n] for n in every])
        told += [
            ("section", (str(k),), tuple(v), None) for k, v in sections.items() if _some(cells, v) and len(sections) > 1
        ]
        told += [("gob", (k,), tuple(v), None) for k, v in gobs.items() if _some(cells, v) and len(gobs) > 1]
    if cells.beside:
        told.append(("furnace", (line, *(b.line for b in cells.beside)), every, None))
    told += [("station", (cells.stations[n],), every, int(n)) for n in np.flatnonzero(cells.able)]
    return told


def _changed(cells: Cells, present: Sequence[int]) -> list[list[int]]:
    """Cavities in which more than one mould ran in the window: what stays through a change is the cavity's equipment."""
    cavities = cavities_of(cells.columns)
    here = [[n for n in numbers if n in present] for numbers in cavities.values()]
    return [numbers for numbers in here if len(numbers) > 1]


def _some(cells: Cells, columns: Sequence[int]) -> bool:
    return bool(cells.ware[:, list(columns)].sum() > 0)


class _Likelihoods:
    """Log likelihood of all cells of a line for a place, at each factor, over that of nothing being raised.

    A raised column changes its own cells only, so the gains of single cells are computed once for all places.
    """

    def __init__(self, cells: Cells):
        self.cells = cells
        self.rows = np.flatnonzero(cells.able)
        self.seen, self.expected, self.ware = (x[self.rows] for x in (cells.seen, cells.expected, cells.ware))
        self.size = _sizes(cells, self.rows)
        self.still = _log_negative_binomial(self.seen, self.expected, self.size)
        raised = _log_negative_binomial(
            self.seen[:, :-1], FACTORS[:, None, None] * self.expected[:, :-1], self.size[:, :-1]
        )
        self.by_column = (raised - self.still[:, :-1]).sum(axis=1)

    def of(self, columns: tuple[int, ...], station: int | None) -> np.ndarray:
        """[factors]"""
        if station is not None:
            return self._of_station(int(np.flatnonzero(self.rows == station)[0]))
        growth = 1 + (FACTORS[:, None] - 1) * _share(self.cells, columns)
        unread = _log_negative_binomial(self.seen[:, -1], growth * self.expected[:, -1], self.size[:, -1])
        told: np.ndarray = self.by_column[:, list(columns)].sum(axis=1) + (unread - self.still[:, -1]).sum(axis=1)
        return told

    def _of_station(self, at: int) -> np.ndarray:
        ware, expected = self.ware[at], self.expected[at]
        mean = expected + (FACTORS[:, None] - 1) * ware / max(ware.sum(), 1.0) * expected.sum()
        size = 1 / ((expected / np.maximum(mean, 1e-9)) ** 2 / self.size[at] + STATION_VARIANCE)
        raised = _log_negative_binomial(self.seen[at], mean, size) + _norm(self.seen[at], size)
        told: np.ndarray = (raised - self.still[at] - _norm(self.seen[at], self.size[at])).sum(axis=1)
        return told


def _share(cells: Cells, columns: tuple[int, ...]) -> float:
    """How much of the line's expected calls falls to these columns, as far as moulds are read."""
    by_column = cells.expected[cells.reads, :-1].sum(axis=0)
    if by_column.sum() <= 0:
        by_column = cells.ware[cells.reads, :-1].sum(axis=0)
    total = float(by_column.sum())
    return float(by_column[list(columns)].sum()) / total if total > 0 else 1.0


def _sizes(cells: Cells, rows: np.ndarray) -> np.ndarray:
    """Size of the negative binomial of each cell: a mould's own variance, for unread ware the line's."""
    variance = np.full((len(rows), cells.seen.shape[1]), cells.own)
    variance[:, -1] = cells.line
    variance[~cells.reads[rows]] = cells.line
    return 1 / np.maximum(variance, 1e-6)


def _log_negative_binomial(seen: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Log probability up to terms that do not depend on the mean."""
    mean = np.maximum(mean, 1e-9)
    told: np.ndarray = seen * np.log(mean / (mean + size)) - size * np.log1p(mean / size)
    return told


def _norm(seen: np.ndarray, size: np.ndarray) -> np.ndarray:
    """The terms of the log probability that depend on the size and not on the mean."""
    from scipy.special import gammaln

    told: np.ndarray = gammaln(seen + size) - gammaln(size)
    return told


def _beside(cells: Cells, scope: str) -> np.ndarray:
    """The furnace's other lines: raised for the scope furnace; else as expected, or by a fault of their own as a rare chance."""
    total = np.zeros(len(FACTORS))
    for other in cells.beside:
        seen, size = np.array(other.calls), np.array(1 / max(other.variance, 1e-6))
        still = _log_negative_binomial(seen, np.array(other.expected), size)
        raised = float(_mean_exp(_log_negative_binomial(seen, FACTORS * other.expected, size)) - still)
        total = total + (
            raised if scope == "furnace" else np.logaddexp(np.log1p(-COINCIDENCE), np.log(COINCIDENCE) + raised)
        )
    return total


def _mean_exp(logs: np.ndarray) -> np.ndarray:
    """log of the mean of exp(logs) over the last axis."""
    top = logs.max(axis=-1, keepdims=True)
    told: np.ndarray = top[..., 0] + np.log(np.exp(logs - top).mean(axis=-1))
    return told
