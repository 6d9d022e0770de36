"""The yields of furnaces that share no meter, as one."""

from __future__ import annotations

import math
from collections.abc import Sequence


def together(parts: Sequence[tuple[float, float, float, float]]) -> tuple[float, float, float] | None:
    """Share, low and high of several shares, each as (mass that it is of [kg], share, low, high): their mean by mass,
    with limits from independent errors, u^2 = sum (m_i u_i)^2 / (sum m_i)^2, below and above apart. None without mass.

    References: [1] JCGM 100:2008 (GUM) 5.1.2 (combined standard uncertainty, uncorrelated input quantities).
    """
    mass = sum(part[0] for part in parts)
    if not mass:
        return None
    share = sum(m * value for m, value, _, _ in parts) / mass
    below = math.hypot(*(m * (value - low) for m, value, low, _ in parts)) / mass
    above = math.hypot(*(m * (high - value) for m, value, _, high in parts)) / mass
    return share, share - below, share + above
