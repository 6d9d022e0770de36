"""Bottles as measuring containers: greatest permitted errors, and the acceptance of a batch by a sample.

References:
    [1] Council Directive 75/107/EEC: annex I section 6 (errors); annex II section 1 (the sample is of a batch of, in
        principle, one hour's production; 35 or 40 bottles, by the method; a second test may take a longer time or the
        works' own check-cards), 3.1 (35 bottles, k 1.57, F 0.266). All these read. From memory: the form of the
        inequalities, and of section 3.2 (mean range) the 8 groups of 5, 0.668 and 0.628.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from statistics import fmean, stdev

from pipelines.words import numeral, say
from schemas.answers.measuring import MeasuringVerdict

SAMPLE = 35  # by mean and standard deviation
GROUPS, GROUP = 8, 5
RANGE_SAMPLE = GROUPS * GROUP  # by mean and mean range
BATCH = timedelta(hours=1)
BY_SPREAD = (1.57, 0.266)  # k, F
BY_RANGE = (0.668, 0.628)
LEAST_ML, MOST_ML = 50.0, 5000.0


def permissible_error_ml(nominal_ml: float) -> float:
    """Greatest permitted error [ml], above and below, of a container of nominal capacity [ml]; ValueError outside 50 ml
    to 5 l. [1] annex I
    """
    if not LEAST_ML <= nominal_ml <= MOST_ML:
        raise ValueError(
            say(
                "a nominal capacity of {nominal} ml is outside {least} to {most} ml, which the rules for measuring "
                "containers cover",
                nominal=numeral(nominal_ml, "g"),
                least=numeral(LEAST_ML, "g"),
                most=numeral(MOST_ML, "g"),
            )
        )
    for most, error in ((100, 3.0), (200, 0.03 * nominal_ml), (300, 6.0), (500, 0.02 * nominal_ml), (1000, 10.0)):
        if nominal_ml <= most:
            return error
    return 0.01 * nominal_ml


def by_spread(capacities_ml: Sequence[float], indicated_ml: float, error_ml: float) -> MeasuringVerdict:
    """Mean and standard deviation of a sample [ml at 20 degrees C]: accepted if mean + k s and mean - k s lie within
    the indicated capacity -+ error, and s is no more than F times the whole width. ValueError unless there are 35. [1]
    annex II, 1 and 3.1
    """
    _must_be(capacities_ml, SAMPLE)
    return _judged(say("mean and spread"), capacities_ml, stdev(capacities_ml), BY_SPREAD, indicated_ml, error_ml)


def by_range(capacities_ml: Sequence[float], indicated_ml: float, error_ml: float) -> MeasuringVerdict:
    """Mean and mean range of 8 groups of 5 in the order in which they were taken; the rule as in `by_spread`.

    ValueError unless there are 40. [1] annex II, 1 and 3.2
    """
    _must_be(capacities_ml, RANGE_SAMPLE)
    groups = [capacities_ml[start : start + GROUP] for start in range(0, RANGE_SAMPLE, GROUP)]
    spread = fmean(max(group) - min(group) for group in groups)
    return _judged(say("mean and range"), capacities_ml, spread, BY_RANGE, indicated_ml, error_ml)


def sample_of(times: Sequence[datetime], size: int) -> tuple[int, bool] | None:
    """Where the newest sample of `size` begins in checks in order of time, and whether it is of one hour's production.

    The newest hour that holds so many, else the newest of all (the works' check-cards, [1] annex II 1); None where
    there are fewer.
    """
    for start in range(len(times) - size, -1, -1):
        if times[start + size - 1] - times[start] <= BATCH:
            return start, True
    return (len(times) - size, False) if len(times) >= size else None


def _must_be(capacities_ml: Sequence[float], size: int) -> None:
    if len(capacities_ml) != size:
        raise ValueError(
            f"this rule for measuring containers asks for {size} containers; there are {len(capacities_ml)}"
        )


def _judged(
    method: str,
    values: Sequence[float],
    spread: float,
    factors: tuple[float, float],
    indicated_ml: float,
    error_ml: float,
) -> MeasuringVerdict:
    k, f = factors
    mean, least, most = fmean(values), indicated_ml - error_ml, indicated_ml + error_ml
    low, high, spread_most = mean - k * spread, mean + k * spread, f * (most - least)
    rooms = {
        say("too little at the lower end"): low - least,
        say("too much at the upper end"): most - high,
        say("too much spread"): spread_most - spread,
    }
    broken = tuple(name for name, room in rooms.items() if room < 0)
    return MeasuringVerdict(
        method=method,
        n=len(values),
        mean_ml=mean,
        spread_ml=spread,
        low=low,
        high=high,
        least=least,
        most=most,
        spread_most=spread_most,
        accepted=not broken,
        margin_ml=min(rooms.values()),
        broken=broken,
    )


def chance_accepted(share: float) -> float:
    """Probability that a batch with this share beyond one limit, and none beyond the other, is accepted by mean and
    spread: the noncentral t distribution with 34 degrees of freedom, P(T >= k sqrt(n)), noncentrality z(share) sqrt(n).
    Normal capacities.

    References: [1] as above. [2] Resnikoff and Lieberman, Tables of the Non-Central t-Distribution (1957), for single
    limits.
    """
    from scipy.special import nctdtr, ndtri

    root = SAMPLE**0.5
    return 1 - float(nctdtr(SAMPLE - 1, float(-ndtri(share)) * root, BY_SPREAD[0] * root))
