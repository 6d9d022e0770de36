"""A complaint in its own trace: the containers that were found at the customer's are among those expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipelines.answers.trace.line_trace import LineTrace
from pipelines.answers.trace.parts import totals
from pipelines.answers.trace.question import AskedTrace
from pipelines.measures.trace.complained import Given, beside, given_found
from pipelines.measures.trace.escapes import CarriedEscapes, pallet_variance
from pipelines.measures.trace.exposure import counted
from pipelines.words import numeral, say, say_n

UNLIKELY = 0.025  # a complaint that was less likely than this by the counts says that they tell too few
Totals = tuple[float | None, float | None, float | None]


def with_complaint(asked: AskedTrace, parts: Sequence[LineTrace]) -> tuple[list[LineTrace], Totals, list[str]]:
    """The lines with what their pallets carry, and the sum with its interval, given what was complained of; and what
    has to be said of it.
    """
    found, every = asked.units, list(parts)
    mean, low, high = totals(parts)
    if not found or asked.question.defect is None:
        return every, (mean, low, high), []
    words = _reached(found, asked.question.defect)
    known = [n for n, part in enumerate(every) if part.exposure.missed_known and part.view.passing.found is not None]
    if mean is None or not known:
        return every, (mean, low, high), [words]
    variance = sum(every[n].carried.variance for n in known)
    at = _in_hand(asked, [every[n] for n in known])
    if at is None:
        given = given_found(mean, variance, found)
        for n in known:
            every[n] = replace(every[n], carried=_all_more(every[n], given.mean / mean if mean > 0 else 1.0))
    else:
        part, number = every[known[at[0]]], at[1]
        own, own_variance = float(part.carried.mean[number]), float(pallet_variance(part.exposure)[number])
        alone = given_found(own, own_variance, found)
        every[known[at[0]]] = replace(part, carried=_one_more(part.carried, number, alone))
        given = beside(alone, found, max(0.0, mean - own), max(0.0, variance - own_variance))
    return (
        every,
        (given.mean, float(given.low), float(given.high)),
        [say("{words}, and is counted in the numbers", words=words), *_surprise(given)],
    )


def _reached(found: int, defect: str) -> str:
    return say_n(
        "at least {n} container with {defect} reached the customer: that was complained of",
        "at least {n} containers with {defect} reached the customer: that was complained of",
        found,
        defect=defect,
    )


def _surprise(given: Given) -> list[str]:
    if given.chance >= UNLIKELY:
        return []
    least = numeral(100 * max(given.chance, 0.001), ".1f")
    return [
        say(
            "by the counts alone the chance of so many was {chance}: more gets past than they tell, or the container "
            "is not of this ware; the numbers are rather too low",
            chance=say("{share}%", share=least) if given.chance >= 0.001 else say("less than {share}%", share=least),
        )
    ]


def _in_hand(asked: AskedTrace, parts: Sequence[LineTrace]) -> tuple[int, int] | None:
    """The line (by place) and the number of the pallet in hand; None without one."""
    pallet = asked.question.pallet if asked.pallet_row is not None else None
    for n, part in enumerate(parts):
        names = part.view.pallets["pallet"].to_list()
        if pallet is not None and pallet in names:
            return n, names.index(pallet)
    return None


def _all_more(part: LineTrace, factor: float) -> CarriedEscapes:
    """What is found lies on a pallet in proportion to what is expected on it."""
    was, exposure = part.carried, part.exposure
    counts = counted(was.mean * factor, pallet_variance(exposure) * factor**2)
    most = np.ceil(exposure.ware.sum(axis=0))
    low, high = (np.minimum([getattr(c, name) for c in counts], most) for name in ("low", "high"))
    return replace(was, mean=was.mean * factor, low=low, high=high)


def _one_more(was: CarriedEscapes, number: int, given: Given) -> CarriedEscapes:
    parts = [values.astype(float) for values in (was.mean, was.low, was.high)]
    for values, value in zip(parts, (given.mean, given.low, given.high), strict=True):
        values[number] = value
    mean, low, high = parts
    return replace(was, mean=mean, low=low, high=high)
