"""A signal's counts, small, on the two clocks: what is above expectation since its onset is filled strongly."""

from __future__ import annotations

from datetime import datetime, timedelta
from math import nan

from pipelines.clock import Span
from pipelines.numbers import decimals, expected
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.time_layout import SMALL
from pipelines.reports.frame.time_picture import MarkedOnset, PictureWords, TimePicture, Track, drawn
from pipelines.words import say
from schemas.answers.signals import Signal


def signal_picture(plant: Plant, signal: Signal, now: datetime) -> str:
    """The picture as SVG; empty where the signal carries no counts."""
    if signal.series_from is None or not signal.series_calls:
        return ""
    minutes, mean = f"{signal.series_step_min:.0f}", sum(signal.series_expected) / len(signal.series_expected)
    words = say(
        "Calls in {minutes} min from {begin}: {calls}; expected about {mean} each",
        minutes=minutes,
        begin=clock_words(plant, signal.series_from, now),
        calls=", ".join(f"{calls:.0f}" for calls in signal.series_calls),
        mean=decimals(mean, 1),
    )
    step = timedelta(minutes=signal.series_step_min)
    under = (say("{number} expected", number=expected(mean)),)
    track = Track(
        title=say("calls in {minutes} min", minutes=minutes),
        under=under,
        step_s=round(step.total_seconds()),
        values=list(map(float, signal.series_calls)),
        expected=list(map(float, signal.series_expected)),
        low=[nan] * len(signal.series_calls),
        high=[nan] * len(signal.series_calls),
        beyond=_beyond(signal, signal.series_from, step),
    )
    lehr = signal.onset - signal.formed
    picture = TimePicture(
        name=words,
        span=Span(signal.series_from, signal.series_from + len(signal.series_calls) * step),
        lehr=lehr,
        tracks=(track,),
        marks=(),
        words=_words(lehr),
        local=plant.clock.local,
        onset=MarkedOnset(signal.onset, signal.onset_low, signal.onset_high, _since(plant, signal, now)),
        fixed=True,
    )
    return drawn(picture, SMALL)


def _since(plant: Plant, signal: Signal, now: datetime) -> str:
    return say("since {onset}", onset=clock_words(plant, signal.onset, now))


def _words(lehr: timedelta) -> PictureWords:
    return PictureWords(
        cold_end=say("cold end"),
        formed=say("formed"),
        shift=say("{minutes} min before", minutes=decimals(lehr / timedelta(minutes=1))),
        still=say("no ware"),
        silent=say("no counts"),
        lehr=(),
        now="",
    )


def _beyond(signal: Signal, begin: datetime, step: timedelta) -> list[float]:
    """Of each bin of which more than half lies after the onset, and before the end, what is above expectation."""
    lit = []
    for number, (calls, should) in enumerate(zip(signal.series_calls, signal.series_expected, strict=True)):
        middle = begin + (number + 0.5) * step
        within = middle >= signal.onset and (signal.ended is None or middle < signal.ended)
        lit.append(max(0.0, calls - should) if within else 0.0)
    return lit
