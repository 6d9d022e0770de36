"""When a signal is over, and which one only passed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipelines.measures.signals.closing import BACK, GONE, Course, closed
from pipelines.measures.signals.found import Found
from pipelines.measures.signals.onset import Noise, Onset
from pipelines.measures.signals.scope import Placing, ScopePlace


def signal(probability: float = 0.5, reopened: int = 0) -> Found:
    place = ScopePlace("mould", ("7",), (0,), None, probability, 6.0)
    placing = Placing(place, {"mould": probability, "line": 1 - probability}, (place,), True)
    return Found("L-D-1", 0, 100, placing, Onset(90, 80, 95), None, 0, 0.001, strength=6.0, reopened=reopened)


def course(calls: np.ndarray, rate: float = 4.0) -> Course:
    """A stream from bin 100 on, `rate` calls an hour expected."""
    expected = np.full(len(calls), rate / 60)
    return Course(100, 1.0, calls, expected, expected, np.ones(len(calls), bool), Noise())


def after(quiet_from: int, length: int = 240) -> np.ndarray:
    """A call every 2.5 minutes until `quiet_from`, one every 15 from then on."""
    calls = np.zeros(length)
    calls[0:quiet_from:5] = 2.0
    calls[quiet_from::15] = 1.0
    return calls


def test_what_was_over_at_once_and_came_from_nowhere_only_passed() -> None:
    this_signal = closed(signal(), course(after(0)), critical=False)
    assert (
        this_signal.ended is not None
        and this_signal.ended - 100 <= 15
        and this_signal.passed
        and this_signal.why_ended == BACK
    )


@pytest.mark.parametrize("change", ["sure", "critical", "reopened", "long"])
def test_what_was_sure_critical_came_again_or_lasted_did_not_pass(change: str) -> None:
    found = signal(0.95) if change == "sure" else signal(reopened=1) if change == "reopened" else signal()
    this_signal = closed(found, course(after(120 if change == "long" else 0, 400)), critical=change == "critical")
    assert this_signal.ended is not None and not this_signal.passed


def test_the_end_is_where_the_calls_fall_back() -> None:
    this_signal = closed(signal(), course(after(120, 400)), critical=False)
    assert this_signal.ended is not None and abs(this_signal.ended - 220) <= 15


def test_a_signal_that_goes_on_stays_open_and_one_without_ware_is_gone() -> None:
    on = course(after(240))
    assert closed(signal(), on, critical=False).ended is None
    past = np.where(np.arange(240) < 150, 4.0 / 60, 0.0)
    calls = np.where(np.arange(240) < 150, after(240), 0.0)
    gone = closed(signal(), replace(on, calls=calls, expected=past, past=past), critical=False)
    assert gone.ended == 250 and gone.why_ended == GONE and not gone.passed
    silent = replace(on, calls=calls, expected=past, past=past, sent=np.arange(240) < 150)
    assert closed(signal(), silent, critical=False).ended is None
