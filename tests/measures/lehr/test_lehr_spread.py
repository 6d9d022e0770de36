"""How sure a lehr time is: its interval against its real error, where counts scatter more than a multinomial says."""

from __future__ import annotations

import numpy as np

from pipelines.measures.lehr.lehr_time import Crossing, lehr_by_hour

MOULDS, MINUTES, LEAD = 8, 60, 180
OVER = 3.0  # variance over mean of a minute's count: ware comes off the lehr's mat in rows and clumps; invented


def simulated(rng: np.random.Generator, lehr_min: float) -> Crossing:
    """An hour at the station; two sections stood for some minutes each, so that their moulds left gaps. Ware spreads by
    two minutes on its way; counts are negative binomial with a variance of OVER times their mean.
    """
    left = np.full((MOULDS, LEAD + MINUTES + 20), 9.0)
    for mould in (1, 5):
        stop = int(LEAD - lehr_min + rng.integers(8, 40))
        left[mould, stop : stop + int(rng.integers(5, 12))] = 0.0
    at = np.arange(-9, 10)
    kernel = np.exp(-0.5 * (at / 2.0) ** 2)
    late = np.stack([np.convolve(row, kernel / kernel.sum(), mode="same") for row in left])
    grid = np.arange(left.shape[1])
    mean = np.stack([np.interp(np.arange(MINUTES) + LEAD - lehr_min, grid, row) for row in late])
    seen = rng.negative_binomial(np.maximum(mean, 1e-6) / (OVER - 1), 1 / OVER)
    return Crossing(left, seen.astype(float), LEAD)


def test_the_interval_of_an_hour_is_as_wide_as_its_error() -> None:
    """Two hundred simulated hours: 95 % intervals hold the truth in 90 to 99.5 %. Counts taken as multinomial would
    hold it in 70 %.
    """
    rng = np.random.default_rng(41)
    held = []
    for _ in range(200):
        truth = float(rng.uniform(86, 98))
        hour = lehr_by_hour(simulated(rng, truth), 92.0)[0][0]
        held.append(hour.low <= truth <= hour.high)
    assert 0.9 <= np.mean(held) <= 0.995
