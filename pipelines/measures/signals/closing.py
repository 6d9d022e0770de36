"""When a signal is over: its rate is back, or no ware of its place passes any more."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipelines.measures.signals.found import Found
from pipelines.measures.signals.onset import Noise, ended
from pipelines.words import template
from schemas.answers.shape import SURE

GONE_MIN = 45  # a place without ware for this long makes no more of the defect
CLOSING_MIN = 960  # an end is looked for in so much of the past
SLOWER = 2.0  # so much more (in log odds) must speak for an end each time a signal was called over too soon
PASSED_MIN = 15  # what is over within this time of being raised, its place a guess, only passed
BACK, GONE = template("the rate is back where it was"), template("no ware of this place passes any more")


@dataclass(frozen=True)
class Course:
    """What a signal's stream did from bin `start` on, a value a bin: calls, calls expected without the signal, calls
    expected by the past alone, and whether a station that could call the defect sent counts. noise: how the calls
    scatter.
    """

    start: int
    step_min: float
    calls: np.ndarray
    expected: np.ndarray
    past: np.ndarray
    sent: np.ndarray
    noise: Noise


def closed(signal: Found, course: Course, critical: bool) -> Found:
    """The signal, ended where its rate is back at the old one, or where no ware of its place passes any more.

    What was over almost at once, its place a guess, only passed; a critical defect never does.
    """
    slow = SLOWER * signal.reopened
    over = ended(course.calls, course.expected, signal.strength, course.step_min, course.noise, slow)
    if over is not None:
        brief = (course.start + over - signal.raised) * course.step_min <= PASSED_MIN
        guess = signal.placing.scopes[signal.place.scope] < SURE
        passed = brief and guess and not critical and not signal.reopened
        return replace(signal, ended=course.start + over, why_ended=BACK, passed=passed)
    gone = _gone(course)
    return signal if gone is None else replace(signal, ended=course.start + gone, why_ended=GONE)


def _gone(course: Course) -> int | None:
    """The bin since which no ware of the signal's place passed, though its stations sent counts; None while it
    passes.
    """
    passed = np.flatnonzero(course.past > 0)
    last = int(passed[-1]) + 1 if len(passed) else 0
    return last if int(course.sent[last:].sum()) * course.step_min >= GONE_MIN else None
