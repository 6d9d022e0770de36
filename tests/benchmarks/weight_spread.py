"""Capability of one mould among 24 with twice their spread: whether its interval holds the truth, beside two plain
methods.

Tidy: weighings of a mould are independent, and the other moulds scatter alike. Rough: the others' spreads differ by up
to a half either way, and weighings follow one another (AR(1), correlation 0.2 to 0.5 from half hour to half hour). The
true index is by the mould's own standard deviation of all its containers. Source of the plain intervals: NIST/SEMATECH
e-Handbook of Statistical Methods, 6.1.6, chi-square.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter
from scipy.stats import chi2

from pipelines.measures.statistics.capability import capability
from pipelines.measures.weights.rounds import Rounds
from pipelines.measures.weights.spreads import own_spreads

MOULDS, TIMES, SD, EVERY_S = 24, 2.0, 0.5, 1800.0
LOW, HIGH = 195.0, 205.0


def drawn(rng: np.random.Generator, rough: bool, weighings: int) -> tuple[Rounds, np.ndarray]:
    """Rounds of single weighings, and each mould's true spread; the first mould is the one with twice the others'."""
    spread = SD * (rng.uniform(0.67, 1.5, MOULDS) if rough else np.ones(MOULDS))
    spread[0] = TIMES * SD
    r = float(rng.uniform(0.2, 0.5)) if rough else 0.0
    noise = rng.normal(0, (1 - r**2) ** 0.5, (weighings, MOULDS))
    noise[0] = rng.normal(0, 1, MOULDS)
    values = 200 + rng.normal(0, 0.8, MOULDS) + spread * lfilter([1.0], [1.0, -r], noise, axis=0)
    shape = (weighings, MOULDS)
    gob = np.tile(np.tile([0, 1], MOULDS // 2), (weighings, 1))
    names = tuple(str(n) for n in range(MOULDS))
    seconds = np.arange(weighings) * EVERY_S
    return Rounds(seconds, names, ("A", "B"), np.round(values, 1), np.full(shape, np.nan), np.ones(shape), gob), spread


def held(lines: int, seed: int, rough: bool, weighings: int) -> dict[str, str]:
    """Shares of intervals of Cp that hold the truth, for the odd mould and for all others."""
    rng = np.random.default_rng([seed, weighings, int(rough)])
    inside: dict[str, list[bool]] = {}
    ratios: list[float] = []
    for _ in range(lines):
        rounds, spread = drawn(rng, rough, weighings)
        true = (HIGH - LOW) / (6 * spread)
        pooled = float(np.sqrt(rounds.mean.var(axis=0, ddof=1).mean()))
        for number, this_spread in enumerate(own_spreads(rounds)):
            this_capability = capability(200.0, this_spread.sd, this_spread.worth, this_spread.freedom, LOW, HIGH)
            which = "odd mould" if number == 0 else "other moulds"
            holds = (
                this_capability.c_low is not None
                and this_capability.c_high is not None
                and this_capability.c_low <= true[number] <= this_capability.c_high
            )
            inside.setdefault(which, []).append(holds)
            if number:
                continue
            ratios.append(float(this_capability.c / true[0]) if this_capability.c is not None else float("nan"))
            plain = float(rounds.mean[:, 0].std(ddof=1))
            for name, sd, freedom in (
                ("own plain standard deviation", plain, weighings - 1),
                ("pooled over moulds", pooled, MOULDS * (weighings - 1)),
            ):
                ends = [(HIGH - LOW) / (6 * sd) * (chi2.ppf(p, freedom) / freedom) ** 0.5 for p in (0.025, 0.975)]
                inside.setdefault(f"odd mould, {name}", []).append(bool(ends[0] <= true[0] <= ends[1]))
    at = f"Cp of {weighings} weighings"
    rows = {
        f"{at}, {which}: interval holds": f"{100 * np.mean(hits):.1f} % of {len(hits)}"
        for which, hits in inside.items()
    }
    return rows | {f"{at}, odd mould: told / true, median": f"{np.nanmedian(ratios):.2f}"}
