"""Capacity by weighing water."""

from __future__ import annotations

import numpy as np

AIR_G_ML = 0.0012  # density of air at about 20 degrees and 1013 hPa
STANDARDS_G_ML = 8.0  # density that a balance's mass standards are taken to have
GLASS_PER_C = 27e-6  # cubic expansion of soda-lime glass, three times 9e-6: common practice, also in ISO 4787
LEAST_C, MOST_C = 0.0, 40.0


def water_density(water_c: np.ndarray | float) -> np.ndarray:
    """Density of air-free water at 101.325 kPa [g/ml] by its temperature [degrees C]; NaN outside 0 to 40, where the
    formula holds.

    References: [1] Tanaka and others, Metrologia 38 (2001) 301, recommended formula.
    """
    t = np.asarray(water_c, float)
    values = 0.999974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    return np.where((t >= LEAST_C) & (t <= MOST_C), values, np.nan)


def capacity_ml(water_g: np.ndarray | float, water_c: np.ndarray | float, air_g_ml: float = AIR_G_ML) -> np.ndarray:
    """Volume [ml] of a container at the water's temperature [degrees C] from the mass of the water in it [g] as a
    balance in air shows it:
    m (1 - air / standards) / (water - air).

    References: [1] ISO 4787, [2] ISO 8655-6, formula of the gravimetric method (Z factors are this volume over the
    mass).
    """
    values: np.ndarray = (
        np.asarray(water_g, float) * (1 - air_g_ml / STANDARDS_G_ML) / (water_density(water_c) - air_g_ml)
    )
    return values


def at_20c(volume_ml: np.ndarray | float, water_c: np.ndarray | float) -> np.ndarray:
    """The volume that the glass has at 20 degrees C: V (1 - expansion (t - 20)). [as `capacity_ml`, 1, 2]"""
    values: np.ndarray = np.asarray(volume_ml, float) * (1 - GLASS_PER_C * (np.asarray(water_c, float) - 20))
    return values
