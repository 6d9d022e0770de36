"""The machine as small multiples: each cavity's last twelve hours on one scale, and what a wider signal explains as the
whole that it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta

import numpy as np

from pipelines.answers.moulds import FittedPart, MachineNow
from pipelines.measures.pareto.cavities import CavityState
from pipelines.measures.pareto.cavities_in_time import CavitiesInTime
from pipelines.measures.pareto.explained_calls import WHOLE, Spot, place_of
from pipelines.numbers import count, decimals, expected
from pipelines.reports.frame.strip import Strip, drawn_strip
from pipelines.words import say, worded
from schemas.answers.signals import Signal


def cavity_strips(machine: MachineNow) -> dict[Spot, str]:
    """A drawing of each cavity; empty where nothing was counted."""
    series = machine.lately
    if series is None:
        return {}
    places = [(c.section, c.gob) for c in machine.cavities]
    top = max((float(np.nanmax(calls)) for calls in series.calls.values() if np.isfinite(calls).any()), default=0.0)
    inner = [(s, place_of(s, places)) for s in machine.signals if s.scope not in WHOLE]
    strips = {}
    for number, cavity in enumerate(machine.cavities):
        should = _of_a_bin(machine, series, cavity.expected)
        mine = [signal for signal, held in inner if held[number]]
        name = f"{cavity.section}{cavity.gob}"
        calls = series.calls[cavity.section, cavity.gob]
        drawn = _drawn(name, series, calls, should, mine, max(top, 1.0), _fits(machine, series, cavity))
        strips[cavity.section, cavity.gob] = drawn
    return strips


def _fits(machine: MachineNow, series: CavitiesInTime, cavity: CavityState) -> list[float]:
    """Where in a strip stands the first ware of each part that was fitted in its time, 0..1."""
    whole = len(series.whole) * series.step_s
    minutes = timedelta(minutes=machine.lehr.minutes)
    parts = machine.parts.get((cavity.section, cavity.gob), ())
    at = ((part.fitted_at + minutes - series.first).total_seconds() / whole for part in parts)
    return sorted({round(moment, 3) for moment in at if 0 < moment < 1})


def last_hour(machine: MachineNow, cavities: Iterable[CavityState]) -> tuple[int, float | None] | None:
    """Calls of some cavities in the newest hour, and what is expected in it; None where nothing was counted."""
    series = machine.lately
    if series is None:
        return None
    mine, bins = list(cavities), 3600 // series.step_s
    counted = [series.calls[c.section, c.gob][-bins:] for c in mine]
    if not mine or not np.isfinite(counted).any():
        return None
    known = [c.expected for c in mine if c.expected is not None]
    should = sum(known) * 3600 / machine.span.seconds if len(known) == len(mine) else None
    return int(np.nansum(counted)), should


def sum_words(machine: MachineNow, cavities: Iterable[CavityState]) -> str:
    """The newest hour of some cavities in a few words."""
    counted = last_hour(machine, cavities)
    if counted is None:
        return say("no counts")
    calls, should = counted
    if should is None:
        return say("{calls} calls", calls=count(calls))
    return say("{calls}, {should} expected", calls=count(calls), should=expected(should))


def part_words(part: FittedPart) -> str:
    """A part with its age."""
    hours = part.age / timedelta(hours=1)
    age = say("{hours} h", hours=decimals(hours)) if hours < 48 else say("{days} d", days=decimals(hours / 24))
    return say("{part} {number}, {age}", part=worded(part.part.replace("_", " ")), number=part.number, age=age)


def whole_strip(machine: MachineNow) -> str:
    """All cavities together, where a signal of the whole machine or wider goes on in it; else nothing."""
    series = machine.lately
    wide = [signal for signal in machine.signals if signal.scope in WHOLE]
    if series is None or not wide:
        return ""
    known = [c.expected for c in machine.cavities if c.expected is not None]
    should = _of_a_bin(machine, series, sum(known) if len(known) == len(machine.cavities) else None)
    top = float(np.nanmax(series.whole)) if np.isfinite(series.whole).any() else 1.0
    return _drawn(machine.line, series, series.whole, should, wide, max(top, 1.0))


def _of_a_bin(machine: MachineNow, series: CavitiesInTime, expected: float | None) -> float | None:
    """What is expected of a bin, at the rate of the map's own time."""
    return None if expected is None else expected * series.step_s / machine.span.seconds


def _drawn(
    name: str,
    series: CavitiesInTime,
    calls: np.ndarray,
    should: float | None,
    signals: Sequence[Signal],
    top: float,
    fits: Sequence[float] = (),
) -> str:
    bins = len(calls)
    lit = np.zeros(bins, bool)
    for signal in signals:
        lit |= series.since(signal.onset, signal.ended)
    usual = np.full(bins, np.nan if should is None else should)
    beyond = np.where(lit, np.maximum(np.nan_to_num(calls - np.nan_to_num(usual)), 0.0), 0.0)
    nothing = [float("nan")] * bins
    strip = Strip(
        name=_words(name, calls, should),
        ends=[(number + 1) / bins for number in range(bins)],
        values=calls.tolist(),
        expected=usual.tolist(),
        low=nothing,
        high=nothing,
        beyond=beyond.tolist(),
        unseen=(1.0, 1.0),
        spans=(),
        top=top,
        fits=fits,
    )
    return drawn_strip(strip)


def _words(name: str, calls: np.ndarray, should: float | None) -> str:
    if not np.isfinite(calls).any():
        return say("{place}: no counts", place=name)
    low, high = count(float(np.nanmin(calls))), count(float(np.nanmax(calls)))
    if should is None:
        return say("{place}: {low} to {high} calls a half hour", place=name, low=low, high=high)
    return say(
        "{place}: {low} to {high} calls a half hour, {expected} expected",
        place=name,
        low=low,
        high=high,
        expected=decimals(should, 1),
    )
