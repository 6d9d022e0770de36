"""Capacity from the weight: what moulds enclose against the mixed model solved directly, its interval against draws of
every part.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipelines.measures.laboratory.inferred import Volumes, inferred, volumes

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
DENSITY = 2.5


def checks_of(enclosed: np.ndarray) -> pl.DataFrame:
    """Checks of moulds [moulds, checks] that enclose so much [ml], each of 400 g of glass."""
    rows = [
        (START + timedelta(hours=24 * k + n), str(n), float(value) - 400 / DENSITY, 400.0)
        for n, many in enumerate(enclosed)
        for k, value in enumerate(many)
    ]
    names: dict[str, Any] = {
        "sampled_at": pl.Datetime("us", "UTC"),
        "mould": pl.String,
        "capacity_ml": pl.Float64,
        "empty_g": pl.Float64,
    }
    return pl.DataFrame(rows, schema=names, orient="row")


NO_WEIGHINGS = pl.DataFrame(schema={"sampled_at": pl.Datetime("us", "UTC"), "mould": pl.String, "weight_g": pl.Float64})


def test_a_moulds_volume_is_drawn_to_the_others_as_the_mixed_model_says() -> None:
    """Balanced data: components by the analysis of variance (Searle, Casella and McCulloch, Variance Components (1992),
    3.6), then the best linear unbiased prediction m + b Z' V^-1 (y - m) with NumPy's solver (7.4 there).
    """
    rng = np.random.default_rng(5)
    y = 700 + rng.normal(0, 1.0, (6, 1)) + rng.normal(0, 0.9, (6, 4))
    moulds, each = y.shape
    within = float(((y - y.mean(axis=1, keepdims=True)) ** 2).sum() / (moulds * (each - 1)))
    between = (each * float(y.mean(axis=1).var(ddof=1)) - within) / each
    assert between > 0
    z = np.kron(np.eye(moulds), np.ones((each, 1)))
    v = between * z @ z.T + within * np.eye(moulds * each)
    predicted = y.mean() + between * z.T @ np.linalg.solve(v, y.ravel() - y.mean())
    these_volumes = volumes(checks_of(y), NO_WEIGHINGS, DENSITY, 0.001)
    assert these_volumes is not None and these_volumes.single == pytest.approx(within**0.5, rel=1e-3)
    assert [these_volumes.by_mould[str(n)][0] for n in range(moulds)] == pytest.approx(predicted.tolist(), abs=2e-3)


def test_the_interval_holds_volume_weighings_scale_and_density_together() -> None:
    """By draws: capacity = volume - (mean of four weighings + scale) / density, each part normal with its own standard
    deviation.
    """
    rng = np.random.default_rng(6)
    known = Volumes({"1": (700.0, 0.3)}, (700.0, 1.0), 0.5, (0.0, 0.4), 12)
    weights = [399.0, 401.0, 400.5, 399.5]
    rows = pl.DataFrame(
        {
            "sampled_at": [START + timedelta(hours=n) for n in range(4)],
            "mould": ["1"] * 4,
            "weight_g": weights,
        }
    )
    this_inferred = inferred(known, rows, DENSITY, 0.004, None, None)[0]
    many = 400_000
    mean_weight = 400.0 + rng.normal(0, float(np.std(weights, ddof=1)) / 2, many) + rng.normal(0, 0.4, many)
    drawn = rng.normal(700.0, 0.3, many) - mean_weight / rng.normal(DENSITY, 0.004, many)
    assert this_inferred.capacity_ml == pytest.approx(540.0, abs=1e-6)
    assert this_inferred.high - this_inferred.low == pytest.approx(2 * 1.96 * drawn.std(), rel=0.01)
