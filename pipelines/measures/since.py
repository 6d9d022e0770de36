"""Since when a meter reads wrongly, and by how much: its past days against what the other meters make of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from pipelines.measures.network import FurnaceReading, network_of
from pipelines.measures.reconcile import LIE, reconcile
from pipelines.measures.usual import Expected
from pipelines.plant import Plant

DAYS_BACK = 28


@dataclass(frozen=True)
class Since:
    """The first day of a meter's lie with the days that hold it to 95 %, on how many days it stands, and the lie in percent of what
    the others make of it, with a 95 % interval."""

    first: date
    low: date
    high: date
    days: int
    off_pct: float
    off_low: float
    off_high: float


def since_when(
    plant: Plant, meter: str, days: Sequence[tuple[date, FurnaceReading]], usual: Mapping[str, Expected]
) -> Since | None:
    """From the days of one furnace, oldest first, the last being the day on which the meter was named.

    Each day d the meter is worked out from the others: off(d) = (reading - worked out) / worked out, with its variance. Before the first
    day of the lie off is 0, after it an unknown constant drawn from N(0, (LIE x stated uncertainty)^2); every first day is as likely.
    References: [1] Smith, Biometrika 62 (1975) 407 (posterior of a change-point).
    """
    told = [(day, *found) for day, one in days[-DAYS_BACK:] if (found := _off(plant, one, meter, usual)) is not None]
    if not told:
        return None
    off, variance = (np.array([one[place] for one in told]) for place in (1, 2))
    prior = (LIE * told[-1][3]) ** 2
    precision = np.cumsum((1 / variance)[::-1])[::-1]
    weighted = np.cumsum((off / variance)[::-1])[::-1]
    fit = weighted**2 / (precision + 1 / prior) / 2 - np.log1p(prior * precision) / 2
    share = np.exp(fit - fit.max())
    share /= share.sum()
    best = int(np.argmax(share))
    order = np.argsort(-share)
    kept = order[: int(np.searchsorted(np.cumsum(share[order]), 0.95)) + 1]
    mean, sd = float(weighted[best] / precision[best]), math.sqrt(1 / precision[best])
    return Since(
        told[best][0], told[int(kept.min())][0], told[int(kept.max())][0], len(told) - best,
        100 * mean, 100 * (mean - 1.96 * sd), 100 * (mean + 1.96 * sd),
    )  # fmt: skip


def _off(
    plant: Plant, reading: FurnaceReading, meter: str, usual: Mapping[str, Expected]
) -> tuple[float, float, float] | None:
    """(off, its variance, the meter's own relative uncertainty) of one day; None where the meter said nothing or stood still."""
    try:
        network = network_of(plant, reading, usual)
    except KeyError:  # a day with stations that today's plant has no expectation for
        return None
    found = [n for n, node in enumerate(network.nodes) if node.name == meter and node.believed and node.reading]
    if not found:
        return None
    place, values = found[0], np.array([node.reading for node in network.nodes])
    balances, losses, constants = network.equations(values)
    told = reconcile(values, network.covariance, balances, losses, [*network.unbelieved, place], constants)
    worked, node = float(told.values[place]), network.nodes[place]
    if worked <= 0:
        return None
    variance = (float(told.covariance[place, place]) + node.sd**2) / worked**2
    return (node.reading - worked) / worked, variance, node.sd / worked
