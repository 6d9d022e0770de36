"""A call is not a defect: how much of what the stations call is good ware, and how much of the defect they find and let
past.

A station's calls of a defect = false part + true part; each station sees what those before it let pass. Nothing tells
the parts apart
directly, so they are integrated over: draws of every station's detection (by its challenges, else as the works'
stations do) and of its false calls (as its other defects leave room for), each weighed by how well it explains the
calls of all stations in the row. A station behind another
thereby tells of it: if it calls as often as the first, either the first is blind or both call good ware.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

# Calls of good ware, all defects of a station together: 0.05 to 0.3 % of the ware; common practice, a guess. The spread
# is of the logarithm.
FALSE_SHARE, FALSE_SPREAD = 0.0012, 0.6
UNEVEN = 0.8  # standard deviation of the logarithm of a defect's false calls about its station's level; a guess
DRAWS, FEW_DRAWS = 512, 20  # of what is not known of one defect in question, and of every other defect
LOOSE = 100.0  # the shape of a gamma by which a station's calls may differ from the model beyond chance
LEVELS = np.exp(np.linspace(np.log(5e-5), np.log(0.1), 40))  # true defects a container, even on the logarithm: a guess
# power of a level in its prior on the logarithmic grid: at 1 false calls are neither liked nor shunned, at 0 liked
NEUTRAL = 0.5
STEPS = np.linspace(-3.0, 3.0, 21)  # of a false level, in standard deviations of its logarithm
NODES, SHARES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)]), np.array([1.0, 4.0, 1.0]) / 6  # Gauss-Hermite, 3 points
PRIMES = (2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 17.0, 19.0, 23.0, 29.0, 31.0, 37.0, 41.0, 43.0, 47.0, 53.0)
Beta = tuple[float, float]  # parameters of a share missed: missed, found


@dataclass(frozen=True)
class CallPlace:
    """A place in the row of a line's stations in a window: what its lanes saw together.

    ware: containers, of the lanes that sent counts. part: their share of the lanes; 0 where none did, and nothing is
    known of the calls.
    calls: of each defect that it can call, 0 where it called none. missed: of each such defect, what each lane misses.
    """

    ware: float
    part: float
    calls: Mapping[str, float]
    missed: Mapping[str, Sequence[Beta]]

    @property
    def grid(self) -> np.ndarray:
        """False calls of one defect per container, the middle one of its defects: a grid about FALSE_SHARE in all."""
        values: np.ndarray = FALSE_SHARE / max(1, len(self.calls)) * np.exp(STEPS * FALSE_SPREAD - UNEVEN**2 / 2)
        return values


@dataclass(frozen=True)
class Split:
    """Draws of what the calls of one defect are made of, [draws] each, with their weights (sum 1).

    past: share of the defect that gets past all stations. found: share that is called, by the stations that sent
    counts. false: calls of good ware per container of the line. level: true defects per container. mean_*: the weighted
    means.
    """

    past: np.ndarray
    found: np.ndarray
    false: np.ndarray
    level: np.ndarray
    weight: np.ndarray

    def mean(self, values: np.ndarray) -> float:
        return float(self.weight @ values)

    @property
    def false_share(self) -> float:
        """The share of the calls that is false, on average over the window."""
        called = self.false + self.level * self.found
        return self.mean(self.false / np.maximum(called, 1e-30))

    def escapes(self, called: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Escapes per container at `called` calls per container (any shape): mean over the draws, and mean of the
        square.
        """
        answer = np.maximum(called[..., None] - self.false, 0.0) * (self.past / np.maximum(self.found, 1e-3))
        return answer @ self.weight, (answer**2) @ self.weight


def even_points(many: int, dimensions: int) -> np.ndarray:
    """Points that fill the unit cube evenly, [many, dimensions]: multiples of square roots of primes, modulo 1.

    References: [1] Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods (1992), section 3.1: Kronecker
    sequences.
    """
    steps = np.sqrt(np.array([PRIMES[n % len(PRIMES)] * (1 + n // len(PRIMES)) for n in range(dimensions)]))
    values: np.ndarray = (0.5 + np.arange(1, many + 1)[:, None] * steps) % 1.0
    return np.clip(values, 1e-6, 1 - 1e-6)


def false_levels(places: Sequence[CallPlace]) -> list[dict[str, np.ndarray]]:
    """How well each false level of a place's grid explains its calls of each defect, in logarithms [grid], place by
    place.

    All its calls together are false in a share of the ware about FALSE_SHARE beforehand, spread over the defects that
    it can call, uneven by UNEVEN. True defects can be of any level that the places before it leave room for. So the
    defects that a place hardly calls bound its level, and those that it calls as often as the place before it, which
    should have left it little, raise it.
    """
    rows: list[dict[str, np.ndarray]] = []
    for number, place in enumerate(places):
        rows.append({code: _explained(code, places[: number + 1], rows) for code in place.calls if place.part})
    return rows


def _explained(defect: str, row: Sequence[CallPlace], before: Sequence[dict[str, np.ndarray]]) -> np.ndarray:
    """Log likelihood of the last place's calls of a defect by its false level [grid], the places before it taken as
    `before` has them.
    """
    places = [place for place in row if defect in place.calls]
    points = even_points(FEW_DRAWS, 3 * len(places))
    past, logs = np.ones(FEW_DRAWS), np.zeros((FEW_DRAWS, len(LEVELS)))
    for at, place in enumerate(places[:-1]):
        mine = points[:, 3 * at : 3 * at + 3]
        missed = _missed(place.missed[defect], mine[:, 0])
        if place.part:
            wrong = _false(place, before[row.index(place)], defect, mine[:, 1:])
            mean = place.ware * (LEVELS * (past * (1 - missed))[:, None] + wrong[:, None])
            logs += _log_calls(place.calls[defect], mean)
        past = past * missed
    weight = np.exp(logs - logs.max()) * LEVELS**NEUTRAL
    last = places[-1]
    true = LEVELS * (past * (1 - _missed(last.missed[defect], points[:, -3])))[:, None]
    wrong = last.grid[:, None] * np.exp(UNEVEN * NODES)
    mean = last.ware * (true[:, :, None, None] + wrong)
    chance = np.exp(
        _log_calls(last.calls[defect], mean) - _log_calls(last.calls[defect], np.array(last.calls[defect] + 0.5))
    )
    explained = np.einsum("dl,dlgn,n->g", weight / weight.sum(), chance, SHARES)
    values: np.ndarray = np.log(np.maximum(explained, 1e-300))
    return values


def split_calls(defect: str, places: Sequence[CallPlace], levels: Sequence[dict[str, np.ndarray]]) -> Split:
    """Draws of detection, false calls and level that explain the calls of a defect at the places of a line, in the
    order in which ware meets them.

    levels: as `false_levels` tells them. A place that sent no counts finds its share, and nothing is known of its
    calls.
    """
    points = even_points(DRAWS, 3 * len(places))
    past, found, false = np.ones(DRAWS), np.zeros(DRAWS), np.zeros(DRAWS)
    logs = np.zeros((DRAWS, len(LEVELS)))
    for at, (place, level) in enumerate(zip(places, levels, strict=True)):
        if defect not in place.calls:
            continue
        mine = points[:, 3 * at : 3 * at + 3]
        missed = _missed(place.missed[defect], mine[:, 0])
        if place.part:
            wrong, caught = _false(place, level, defect, mine[:, 1:]), past * (1 - missed)
            logs += _log_calls(place.calls[defect], place.ware * (LEVELS * caught[:, None] + wrong[:, None]))
            found, false = found + place.part * caught, false + place.part * wrong
        past = past * missed
    weights = np.exp(logs - logs.max()) * LEVELS**NEUTRAL
    total = weights.sum(axis=1)
    return Split(past, found, false, weights @ LEVELS / np.maximum(total, 1e-300), total / total.sum())


def _missed(lanes: Sequence[Beta], at: np.ndarray) -> np.ndarray:
    """Draws of the share that a place misses: lanes count by equal parts; each lane's own draw from a point of its
    own.
    """
    from scipy.special import betaincinv

    shifts = (at[:, None] + np.arange(len(lanes)) * (np.sqrt(5.0) - 1) / 2) % 1.0 * (1 - 2e-6) + 1e-6
    values: np.ndarray = np.stack([betaincinv(*lane, shifts[:, n]) for n, lane in enumerate(lanes)]).mean(axis=0)
    return values


def _false(place: CallPlace, levels: Mapping[str, np.ndarray], leave_out: str, points: np.ndarray) -> np.ndarray:
    """Draws of the false calls of a defect per container, its station's level by its other defects."""
    from scipy.special import ndtri

    logs = -0.5 * STEPS**2 + sum(each for code, each in levels.items() if code != leave_out)
    weight = np.exp(logs - logs.max())
    middle = (np.cumsum(weight) - weight / 2) / weight.sum()
    values: np.ndarray = np.exp(np.interp(points[:, 0], middle, np.log(place.grid)) + UNEVEN * ndtri(points[:, 1]))
    return values


def _log_calls(calls: float, mean: np.ndarray) -> np.ndarray:
    """Log likelihood of calls: Poisson about a gamma of shape LOOSE, up to what does not depend on the mean."""
    values: np.ndarray = calls * np.log(np.maximum(mean, 1e-12) / (mean + LOOSE)) - LOOSE * np.log1p(mean / LOOSE)
    return values
