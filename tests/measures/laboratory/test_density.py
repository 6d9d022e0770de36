"""The noise of density readings: unbiased with the greatest range left out, and with a change in them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import multivariate_normal

from pipelines.measures.laboratory.density import density_chart, noise_of
from pipelines.measures.laboratory.density_sentences import density_sentences
from pipelines.plant.works import Plant
from schemas.answers.laboratory import Density

START = datetime(2026, 3, 2, 6, tzinfo=UTC)


@pytest.mark.parametrize("n", [6, 10, 11, 20, 60])
def test_the_noise_is_that_of_a_reading(n: int) -> None:
    """Normal readings with standard deviation 1 (simulated, 3,000 series): the mean noise is 1 within 2 %.
    Leaving the greatest range out without more would tell 0.82 at eleven readings.
    """
    rng = np.random.default_rng([41, n])
    noises = [noise_of(rng.normal(size=n)) for _ in range(3000)]
    assert np.mean(noises) == pytest.approx(1.0, abs=0.02)


def test_a_change_is_no_noise() -> None:
    rng = np.random.default_rng(42)
    noises = [noise_of(rng.normal(size=30) + 12.0 * (np.arange(30) >= 14), [14]) for _ in range(2000)]
    assert np.mean(noises) == pytest.approx(1.0, abs=0.02)


def test_one_slip_hardly_widens_the_noise() -> None:
    """One wild reading makes two ranges: the greater is left out, the other is one of sixty."""
    y = np.random.default_rng(43).normal(size=61)
    wild = y.copy()
    wild[30] += 12
    plain = np.abs(np.diff(wild)).mean() / 1.128
    assert noise_of(wild) < 1.35 * noise_of(y) and noise_of(wild) < plain


def readings(values: np.ndarray) -> pl.DataFrame:
    return pl.DataFrame(
        {"sampled_at": [START + timedelta(hours=8 * n) for n in range(len(values))], "density_g_cm3": values}
    )


@pytest.mark.parametrize("step", [0.0, 0.0030])
def test_limits_of_single_readings_are_as_wide_as_they_should_be(step: float) -> None:
    """Noise 0.0002 g/cm3, with and without a step of fifteen of them; three standard deviations each way, on
    average of 200 series."""
    rng = np.random.default_rng([44, int(1e4 * step)])
    widths = []
    for _ in range(200):
        chart = density_chart(readings(2.5 + rng.normal(0, 0.0002, 40) + step * (np.arange(40) >= 25)))
        assert chart is not None and chart.high is not None and chart.low is not None
        assert (chart.change is not None) is bool(step)
        widths.append((chart.high - chart.low) / 2)
    assert np.mean(widths) == pytest.approx(0.0006, rel=0.04)


@pytest.mark.parametrize("sign", [1, -1])
def test_one_reading_is_no_step_and_the_second_one_makes_it_one(sign: int) -> None:
    """Noise 0.0002 g/cm3 and twenty of them: a slip looks like the first reading of a step."""
    rng = np.random.default_rng(46)
    y = 2.5 + rng.normal(0, 0.0002, 26)
    y[24:] += sign * 0.004
    whole, plain = density_chart(readings(y)), density_chart(readings(y[:24]))
    chart = density_chart(readings(y[:25]))
    assert chart is not None and whole is not None and plain is not None
    assert chart.change is None and chart.lone == pytest.approx(sign * 0.004, abs=0.0008) and chart.beyond
    assert chart.centre == pytest.approx(plain.centre)
    assert whole.change is not None and whole.lone is None and whole.change.by_g_cm3 * sign > 0.003
    density = Density(
        readings=(), earlier=25, noise_g_cm3=chart.noise, centre_g_cm3=chart.centre, lone_by_g_cm3=chart.lone
    )
    said = density_sentences(Plant.model_construct(), "F1", density)
    assert any("One reading: whether it is a step or a slip cannot be told" in text for text in said)
    assert not any("no change that is more" in text for text in said)


def test_a_change_is_as_probable_as_the_marginal_likelihoods_say() -> None:
    """By SciPy's normal density: readings with a mean of any size, against those with a step of eight noises' spread at
    each place besides; a step is beforehand one in twenty (Smith, Biometrika 62 (1975) 407).
    """
    rng = np.random.default_rng(15)
    y = 2.5 + 0.0005 * (rng.normal(0, 1, 24) + np.where(np.arange(24) >= 14, 2.2, 0.0))
    times = [START + timedelta(days=n) for n in range(24)]
    chart = density_chart(pl.DataFrame({"sampled_at": times, "density_g_cm3": y}))
    assert chart is not None and chart.noise is not None and chart.change is not None
    z, ones = (y - y.mean()) / chart.noise, np.ones((24, 24))
    plain = multivariate_normal(np.zeros(24), np.eye(24) + 1e6 * ones).logpdf(z)
    steps = [(np.arange(24) >= n).astype(float) for n in range(1, 24)]
    logs = [multivariate_normal(np.zeros(24), np.eye(24) + 1e6 * ones + 64 * np.outer(s, s)).logpdf(z) for s in steps]
    factor = float(np.exp(np.array(logs) - plain).mean())
    assert chart.change.probability == pytest.approx(factor / (factor + 19), abs=2e-4)
    assert chart.change.probability < 0.9995
