"""How sure the time to the pallet is: its standard deviation against its real error, on simulated pallets."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl

from pipelines.measures.trace.packing import packing_time

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTES, UNITS = 1440, 1500


def simulated(rng: np.random.Generator, way_min: float) -> tuple[np.ndarray, pl.DataFrame]:
    """A day of uneven ware, and the pallets filled with it `way_min` later; each pallet's limits are noted up to
    a minute off, so
    that what one pallet has too much its neighbour has too little. Invented."""
    flow = np.clip(200 * (1 + 0.4 * np.sin(np.arange(MINUTES) / 40) + rng.normal(0, 0.2, MINUTES)), 5, None)
    whole = np.concatenate([[0.0], np.cumsum(rng.poisson(flow))])
    full = np.arange(UNITS, whole[-1], UNITS)
    ends = np.interp(full, whole, np.arange(MINUTES + 1)) + way_min + rng.uniform(-1, 1, len(full))
    times = [START + timedelta(minutes=float(m)) for m in ends]
    rows = [("B", a, b, UNITS) for a, b in pairwise(times) if b > a]
    schema = {
        "item": pl.String,
        "packed_from": pl.Datetime("us", "UTC"),
        "packed_to": pl.Datetime("us", "UTC"),
        "units": pl.Int64,
    }
    return np.diff(whole), pl.DataFrame(rows, schema=schema, orient="row")


def errors() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(71)
    off, sd = [], []
    for _ in range(60):
        way = float(rng.uniform(3, 12))
        flow, pallets = simulated(rng, way)
        time = packing_time({"B": flow}, START, pallets)
        if time.source.startswith("estimated"):
            off.append(time.minutes - way)
            sd.append(time.sd)
    return np.array(off), np.array(sd)


def test_the_spread_of_the_time_to_the_pallet_is_as_wide_as_its_error() -> None:
    """Sixty simulated days: errors over the stated standard deviation have a root mean square near 1, and 95 %
    intervals hold the
    truth in 88 % and more. Taking neighbouring pallets as independent would tell half the spread."""
    off, sd = errors()
    assert len(off) >= 55
    assert 0.75 < np.sqrt(np.mean((off / sd) ** 2)) < 1.4
    assert np.mean(np.abs(off) < 1.96 * sd) >= 0.88
