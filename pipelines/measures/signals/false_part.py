"""What of a station's calls is true: each station calls some good ware, and finds what the stations before it let
pass.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

POINTS = 32
DETECTION = (6.0, 1.0)  # beta distribution of the share of a defect that a station finds; challenges are added to it
BLIND = 0.07  # so many stations find little of a defect they could call, or nothing
BLIND_MOST = 0.4  # of the defect, at most, where a station finds little


@dataclass(frozen=True)
class FalseParts:
    """What the stations' usual calls may be made of. detection, false: [points, stations], the share of the defect
    found and the share of calls that are false; passed: [points, stations] the share of the defect that the stations
    before let through.
    """

    detection: np.ndarray
    false: np.ndarray
    passed: np.ndarray


def false_parts(
    rate: np.ndarray, ware: np.ndarray, orders: np.ndarray, able: np.ndarray, challenged: np.ndarray | None = None
) -> FalseParts:
    """Equally likely ways to split every station's rate into a true and a false part; [stations] of one line, in any
    order.

    rate: calls a container inspected; ware: containers; able: whether the defect can be called; challenged: [stations,
    2] passes caught and missed. With detection d, a share r let pass by earlier orders and a level L of the defect the
    true part of a station's rate is d L r. It cannot exceed the rate, so L = U x min over stations of rate / (d r), U
    uniform: where the split is unknown it is integrated over. A station without ware or calls bounds nothing.
    Points: [1] Halton, Numerische Mathematik 2 (1960) 84.
    """
    values = _points(int(able.sum()) + 1)
    detection = np.zeros((POINTS, len(rate)))
    detection[:, able] = _detection(values[:, 1:], None if challenged is None else challenged[able])
    passed = thinned(detection, ware, orders)
    found = detection * passed
    bound = np.where((able & (ware > 0) & (rate > 0))[None, :], rate / np.maximum(found, 1e-12), np.inf).min(axis=1)
    level = values[:, 0] * np.where(np.isfinite(bound), bound, 0.0)
    true = found * level[:, None]
    false = 1 - np.clip(true / np.maximum(rate, 1e-300), 0.0, 1.0)
    return FalseParts(detection, np.where(rate > 0, false, 0.0), passed)


def thinned(detection: np.ndarray, ware: np.ndarray, orders: np.ndarray) -> np.ndarray:
    """The share of the defect that reaches each station [points, stations]: the product over earlier orders of one less
    the detection of the order's lanes, averaged by their ware (equal parts where none passed).
    """
    values = np.ones_like(detection)
    for order in np.unique(orders):
        lanes = orders == order
        part = ware[lanes] / ware[lanes].sum() if ware[lanes].sum() > 0 else np.full(lanes.sum(), 1 / lanes.sum())
        values[:, orders > order] *= 1 - (detection[:, lanes] * part).sum(axis=1, keepdims=True)
    return values


def _detection(uniform: np.ndarray, challenged: np.ndarray | None) -> np.ndarray:
    """Quantiles of the detection; a station that was challenged is known by that."""
    from scipy.special import betaincinv

    caught, missed = np.zeros((2, uniform.shape[1])) if challenged is None else challenged.T
    share = np.where(caught + missed > 0, 0.0, BLIND)
    seeing = betaincinv(
        DETECTION[0] + caught, DETECTION[1] + missed, np.clip((uniform - share) / (1 - share), 1e-6, 1 - 1e-6)
    )
    blind = BLIND_MOST * uniform / np.maximum(share, 1e-12)
    return np.where(uniform < share, blind, seeing)


@lru_cache(maxsize=16)
def _points(dimensions: int) -> np.ndarray:
    """POINTS points of the Halton sequence in (0, 1), the first, all zero, left out."""
    from scipy.stats.qmc import Halton

    sequence = Halton(dimensions, scramble=False)
    sequence.fast_forward(1)
    values: np.ndarray = sequence.random(POINTS)
    return values
