"""A line on one axis with two clocks, as a picture, its figures, and the same in rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from pipelines.answers.line_times import Happened, LineTimes
from pipelines.clock import Span
from pipelines.measures.pareto.calls_in_time import CallsInTime, counts_kept
from pipelines.numbers import count, decimals, expected
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Figure
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.time_marks import Mark
from pipelines.reports.frame.time_picture import MarkedOnset, PictureWords, TimePicture, Track, drawn, in_words
from pipelines.reports.signals import clock_words, place_words
from schemas.answers.signals import Signal

KINDS = {"challenge": "Challenge", "fitted": "Parts fitted", "stop": "Stop", "job": "Job change"}
COLUMNS = (
    Column("cold_end", "Cold end", "id"),
    Column("formed", "Formed", "id"),
    Column("kind", "What"),
    Column("what", "Which"),
)


def line_picture(plant: Plant, times: LineTimes, now: datetime | None, chosen: Span | None = None) -> tuple[str, str]:
    """The picture as SVG and in words. now: the moment of a live picture."""
    tracks = _tracks(plant, times)
    signal = _signal(times)
    picture = TimePicture(
        name=f"{times.line} in time: {in_words(tracks)}",
        span=times.span,
        lehr=timedelta(minutes=times.lehr.minutes),
        tracks=tracks,
        marks=tuple(_mark(happened) for happened in times.happened),
        words=_words(times),
        local=plant.clock.local,
        still=tuple(times.still),
        onset=_onset(plant, times, signal) if signal is not None else None,
        chosen=chosen,
        now=now,
    )
    return drawn(picture), in_words(tracks)


def _signal(times: LineTimes) -> Signal | None:
    """The signal whose onset is marked: the most harmful that goes on, of the defect asked for."""
    mine = [s for s in times.signals if s.kind == "excess" and not s.passed and s.ended is None]
    return next((s for s in mine if times.defect in (None, s.defect)), None)


def _words(times: LineTimes) -> PictureWords:
    minutes = f"{decimals(times.lehr.minutes)} min"
    low, high = (times.lehr.minutes + side * times.lehr.half_width for side in (-1, 1))
    return PictureWords(
        cold_end="cold end",
        formed="formed",
        shift=f"{minutes} before ({decimals(low)} to {decimals(high)})",
        still="no ware",
        lehr=("in the", "lehr", minutes),
        now="now",
    )


def _onset(plant: Plant, times: LineTimes, signal: Signal) -> MarkedOnset:
    def at(moment: datetime) -> str:
        return clock_words(plant, moment, times.span.end)

    words = f"onset {at(signal.onset)} ({at(signal.onset_low)} to {at(signal.onset_high)})"
    return MarkedOnset(signal.onset, signal.onset_low, signal.onset_high, words)


def _tracks(plant: Plant, times: LineTimes) -> tuple[Track, ...]:
    excesses = [s for s in times.signals if s.kind == "excess" and not s.passed]
    tracks = [_track("Calls", times, times.calls, _beyond(times, excesses))]
    codes = [times.defect] if times.defect is not None else []
    for code in codes:
        assert times.chosen is not None
        mine = [s for s in excesses if s.defect == code]
        lost = np.maximum.reduce(
            [times.chosen.beyond(s.onset, s.ended) for s in mine] or [np.zeros(len(times.calls.ware))]
        )
        tracks.append(_track(f"{plant.defects[code].name} {code}", times, times.chosen, lost))
    return tuple(tracks)


def _beyond(times: LineTimes, excesses: Sequence[Signal]) -> np.ndarray:
    """What all signals together let stand above expectation: no more than lies above it."""
    beyond = [times.calls.beyond(s.onset, s.ended) for s in excesses]
    answer: np.ndarray = np.maximum.reduce(beyond or [np.zeros(len(times.calls.ware))])
    return answer


def _track(title: str, times: LineTimes, series: CallsInTime, beyond: np.ndarray) -> Track:
    minutes = series.step_s // 60
    each = f"per {minutes} min" if minutes < 60 else f"per {minutes // 60} h"
    known = series.expected[np.isfinite(series.expected) & (series.expected > 0)]
    under = (
        f"{times.line}, {each}",
        f"{expected(float(known.mean()))} expected" if len(known) else "no past to compare",
    )
    values = (series.calls, series.expected, series.low, series.high, beyond)
    return Track(title, under, series.step_s, *(list(map(float, value)) for value in values))


def _mark(happened: Happened) -> Mark:
    kind = "missed" if happened.kind == "challenge" and happened.bad else happened.kind
    return Mark(happened.at, kind, _short(happened), happened.cold_end, happened.bad)


def _short(happened: Happened) -> str:
    """A mark in a few words."""
    what = happened.what
    if happened.kind == "challenge":
        caught, passes = happened.counted
        if happened.bad:
            return f"{count(passes - caught)} of {count(passes)} not caught"
        return f"challenge, {count(caught)} of {count(passes)}"
    if happened.kind == "fitted":
        return what[0] if len(what) == 1 else f"{len(what)} parts fitted"
    if happened.kind == "stop":
        return f"stop {_long(happened)}{f', {what[0]}' if what[0] else ''}"
    return f"job {what[0]}"


def _long(happened: Happened) -> str:
    if happened.until is None:
        return "goes on"
    return f"{(happened.until - happened.at).total_seconds() / 60:.0f} min"


def happened_sheet(plant: Plant, times: LineTimes) -> Sheet:
    """All marks as rows, with both clocks; the last first."""
    lehr = timedelta(minutes=times.lehr.minutes)

    def row(happened: Happened) -> dict[str, object]:
        formed = happened.at - lehr if happened.cold_end else happened.at
        near = times.span.end
        return {
            "cold_end": clock_words(plant, formed + lehr, near),
            "formed": clock_words(plant, formed, near),
            "kind": KINDS[happened.kind],
            "what": _whole(happened),
        }

    last_first = sorted(
        times.happened, key=lambda each: each.at + (timedelta() if each.cold_end else lehr), reverse=True
    )
    rows = [row(happened) for happened in last_first]
    strong = [n for n, happened in enumerate(last_first) if happened.bad]
    caption = (
        f"Cold end and forming clock lie {decimals(times.lehr.minutes)} min apart ({times.lehr.source}). Challenges "
        "have the cold end's clock, the rest the forming clock; the other one is worked out."
    )
    return Sheet("happened", "What happened", COLUMNS, rows, caption, strong=strong)


def _whole(happened: Happened) -> str:
    """A row's words: every part that was fitted, cause and section of a stop, station of a challenge."""
    what = [text for text in happened.what if text]
    if happened.kind == "challenge":
        return f"caught: {', '.join(what)}"
    if happened.kind == "stop":
        return ", ".join([_long(happened), *what])
    return ", ".join(what)


def window_words(plant: Plant, times: LineTimes, chosen: Span) -> list[tuple[str, str]]:
    """The figures of a window: (figure, what it is)."""
    series = [("calls", times.calls)]
    if times.defect is not None and times.chosen is not None:
        series.append((plant.defects[times.defect].name, times.chosen))
    figures = [
        (
            _hours(plant, chosen),
            f"chosen; formed {_hours(plant, chosen.shifted(-timedelta(minutes=times.lehr.minutes)))}",
        )
    ]
    for name, of in series:
        inside = _inside(of, chosen)
        figures.append((count(float(np.nansum(of.calls[inside]))), f"{name}; {_should(of, inside)}"))
    ware = times.calls.ware[_inside(times.calls, chosen)]
    figures.append(
        (count(float(np.nansum(ware))) if np.isfinite(ware).any() else "–", "containers reached the first station")
    )
    return figures


def _hours(plant: Plant, span: Span) -> str:
    return f"{plant.clock.local(span.start):%H:%M} to {plant.clock.local(span.end):%H:%M}"


def _inside(series: CallsInTime, chosen: Span) -> np.ndarray:
    """The bins whose middle lies in the window."""
    middles = (np.arange(len(series.calls)) + 0.5) * series.step_s
    start, end = ((moment - series.first).total_seconds() for moment in (chosen.start, chosen.end))
    answer: np.ndarray = (middles >= start) & (middles < end)
    return answer


def _should(series: CallsInTime, inside: np.ndarray) -> str:
    mean = series.expected[inside]
    if not len(mean) or np.isnan(mean).any():
        return "nothing to compare with"
    relative = np.maximum((series.high[inside] - series.low[inside]) / 3.92, np.sqrt(mean))
    low, high = counts_kept(np.array([mean.sum()]), np.array([(relative**2).sum()]))
    return f"{expected(float(mean.sum()))} expected ({count(float(low[0]))} to {count(float(high[0]))})"


def head_figure(plant: Plant, times: LineTimes) -> tuple[Figure, ...]:
    """What is to be acted on: containers lost an hour, defect and place, since when on both clocks; none where nothing
    is open.
    """
    signal = _signal(times)
    if signal is None:
        return ()
    near = times.span.end
    since = f"Since {clock_words(plant, signal.onset, near)} at the cold end"
    formed = f"formed since {clock_words(plant, signal.formed, near)}"
    interval = f"{clock_words(plant, signal.formed_low, near)} to {clock_words(plant, signal.formed_high, near)}"
    what = f"lost an hour: {signal.name}, {place_words(plant, signal)}"
    kind = "critical" if signal.severity == "critical" else ""
    return (Figure(decimals(signal.lost_per_hour), what, f"{since}; {formed} ({interval}).", kind),)
