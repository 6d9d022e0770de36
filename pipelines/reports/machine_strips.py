"""The machine as small multiples: each cavity's last twelve hours on one scale, and what a wider signal explains as the
whole that it is.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipelines.answers.moulds import MachineNow
from pipelines.measures.pareto.cavities_in_time import CavitiesInTime
from pipelines.measures.pareto.explained_calls import WHOLE, Spot, place_of
from pipelines.numbers import count, decimals
from pipelines.reports.frame.strip import Strip, drawn_strip
from pipelines.words import say
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
        strips[cavity.section, cavity.gob] = _drawn(name, series, calls, should, mine, max(top, 1.0))
    return strips


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
    name: str, series: CavitiesInTime, calls: np.ndarray, should: float | None, signals: Sequence[Signal], top: float
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
