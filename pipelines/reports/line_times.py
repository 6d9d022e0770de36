"""A line on one axis with two clocks, as a picture, its figures, and the same in rows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from pipelines.answers.lehr import LehrTime
from pipelines.answers.line_times import Happened, LineTimes
from pipelines.clock import Span
from pipelines.measures.pareto.calls_in_time import CallsInTime, counts_kept
from pipelines.numbers import count, decimals, expected
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Figure
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.time_in_words import in_words
from pipelines.reports.frame.time_marks import Mark
from pipelines.reports.frame.time_picture import MarkedOnset, PictureWords, TimePicture, Track, drawn
from pipelines.reports.signals import place_words
from pipelines.words import defect_name, joined, numeral, say, worded
from schemas.answers.signals import Signal

KINDS = {
    "challenge": say("Challenge"),
    "fitted": say("Parts fitted"),
    "stop": say("Stop"),
    "job": say("Job change"),
    "action": say("Done"),
    "reading": say("Reading moved"),
}
COLUMNS = (
    Column("cold_end", say("Cold end"), "id"),
    Column("formed", say("Formed"), "id"),
    Column("kind", say("What")),
    Column("what", say("Which")),
)


def line_picture(plant: Plant, times: LineTimes, now: datetime | None, chosen: Span | None = None) -> tuple[str, str]:
    """The picture as SVG and in words. now: the moment of a live picture."""
    tracks, signal = _tracks(plant, times), _signal(times)
    words = in_words(tracks)
    picture = TimePicture(
        name=say("{line} in time: {words}", line=times.line, words=words),
        span=times.span,
        lehr=timedelta(minutes=times.lehr.minutes),
        tracks=tracks,
        marks=tuple(mark_of(happened) for happened in times.happened),
        words=clock_titles(plant, times.lehr, now),
        local=plant.clock.local,
        still=tuple(times.still),
        silent=_silent(times, now),
        onset=_onset(plant, times, signal) if signal is not None else None,
        chosen=chosen,
        now=now,
    )
    return drawn(picture), words


def _signal(times: LineTimes) -> Signal | None:
    """The signal whose onset is marked: the most harmful that goes on, of the defect asked for."""
    mine = [s for s in times.signals if s.kind == "excess" and not s.passed and s.ended is None]
    return next((s for s in mine if times.defect in (None, s.defect)), None)


def clock_titles(plant: Plant, lehr: LehrTime, now: datetime | None) -> PictureWords:
    """What a picture says of its clocks. now: of a live one."""
    minutes = say("{minutes} min", minutes=decimals(lehr.minutes))
    low, high = (decimals(lehr.minutes + side * lehr.half_width) for side in (-1, 1))
    return PictureWords(
        cold_end=say("cold end"),
        formed=say("formed"),
        shift=say("{minutes} before ({low} to {high})", minutes=minutes, low=low, high=high),
        still=say("no ware"),
        silent=say("no counts"),
        lehr=(say("in the"), say("lehr"), minutes),
        now="" if now is None else say("now {time}", time=f"{plant.clock.local(now):%H:%M}"),
    )


def _silent(times: LineTimes, now: datetime | None) -> tuple[Span, ...]:
    """The spans without counts; in a live picture also from the newest count until now."""
    since = () if now is None or now <= times.span.end else (Span(times.span.end, now),)
    return (*times.silent, *since)


def _onset(plant: Plant, times: LineTimes, signal: Signal) -> MarkedOnset:
    def at(moment: datetime) -> str:
        return clock_words(plant, moment, times.span.end)

    low, high = at(signal.onset_low), at(signal.onset_high)
    words = say("onset {at} ({low} to {high})", at=at(signal.onset), low=low, high=high)
    return MarkedOnset(signal.onset, signal.onset_low, signal.onset_high, words)


def _tracks(plant: Plant, times: LineTimes) -> tuple[Track, ...]:
    excesses = [s for s in times.signals if s.kind == "excess" and not s.passed]
    tracks = [_track(_title(times), times, times.calls, excesses)]
    if times.defect is not None and times.chosen is not None:
        mine = [s for s in excesses if s.defect == times.defect]
        tracks.append(_track(_named(plant, times.defect), times, times.chosen, mine))
    return tuple(tracks)


def _title(times: LineTimes) -> str:
    only = times.only
    if only is None:
        return say("Calls")
    return say("Mould {mould}", mould=only.mould) if only.mould is not None else say("Calls there")


def _track(title: str, times: LineTimes, series: CallsInTime, signals: Sequence[Signal]) -> Track:
    """A series with what these signals together let stand above expectation: no more than lies above it."""
    minutes = series.step_s // 60
    if minutes < 60:
        each = say("{line}, per {minutes} min", line=times.line, minutes=minutes)
    else:
        each = say("{line}, per {hours} h", line=times.line, hours=minutes // 60)
    known = series.expected[np.isfinite(series.expected) & (series.expected > 0)]
    mean = expected(float(known.mean())) if len(known) else ""
    usual = say("{number} expected", number=mean) if len(known) else say("no past to compare")
    if times.only is not None:
        usual = say("{number} moulds' mean", number=mean) if len(known) else ""
    under = tuple(text for text in (each, usual) if text)
    beyond = [np.zeros(len(series.calls)), *(series.beyond(s.onset, s.ended) for s in signals)]
    values = (series.calls, series.expected, series.low, series.high, np.maximum.reduce(beyond))
    return Track(title, under, series.step_s, *(list(map(float, value)) for value in values))


def mark_of(happened: Happened) -> Mark:
    """The mark of something that happened."""
    kind = "missed" if happened.kind == "challenge" and happened.bad else happened.kind
    return Mark(happened.at, kind, _short(happened), happened.cold_end, happened.bad)


def _short(happened: Happened) -> str:
    """A mark in a few words."""
    what = happened.what
    if happened.kind == "challenge":
        caught, passes = happened.counted
        if happened.bad:
            return say("{missed} of {passes} not caught", missed=count(passes - caught), passes=count(passes))
        return say("challenge, {caught} of {passes}", caught=count(caught), passes=count(passes))
    if happened.kind == "fitted":
        return _part(what[0]) if len(what) == 1 else say("{number} parts fitted", number=len(what))
    if happened.kind == "stop":
        where = (_section(what[0]),) if what[0] else ()
        return joined(", ", (say("stop {long}", long=_long(happened)), *where))
    if happened.kind == "action":
        return what[0]
    if happened.kind == "reading":
        return say("{quantity} {by}", quantity=what[0], by=_moved_by(what[3]))
    return say("job {job}", job=what[0])


def _moved_by(text: str) -> str:
    """A difference to three figures, with its sign."""
    off = float(text)
    size = numeral(abs(off), ",.0f" if 1000 <= abs(off) < 1e6 else ".3g")
    return joined("", ("+" if off > 0 else "−", size))


def _part(text: str) -> str:
    """A part and its place: `mould 36 in 4A` in the reader's words."""
    part, number, place = text.split(" ", 1)[0], *text.split(" ", 1)[1].rsplit(" in ", 1)
    return say("{part} {number} in {place}", part=worded(part.replace("_", " ")), number=number, place=place)


def _section(number: str) -> str:
    return say("section {members}", members=number)


def _named(plant: Plant, code: str) -> str:
    return say("{name} {code}", name=defect_name(plant.defects[code].name), code=code)


def _long(happened: Happened) -> str:
    if happened.until is None:
        return say("goes on")
    return say("{minutes} min", minutes=f"{(happened.until - happened.at).total_seconds() / 60:.0f}")


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
    caption = say(
        "Cold end and forming clock lie {minutes} min apart ({source}). Challenges have the cold end's clock, the rest "
        "the forming clock; the other one is worked out.",
        minutes=decimals(times.lehr.minutes),
        source=times.lehr.source,
    )
    return Sheet("happened", say("What happened"), COLUMNS, rows, caption, strong=strong)


def _whole(happened: Happened) -> str:
    """A row's words: every part that was fitted, cause and section of a stop, station of a challenge."""
    what = [text for text in happened.what if text]
    if happened.kind == "reading":
        quantity, at, value, by = happened.what
        words = {"quantity": quantity, "at": at, "value": numeral(float(value), ",g"), "by": _moved_by(by)}
        return say("{quantity} at {at}: {value}, {by} from what it was", **words)
    if happened.kind == "challenge":
        return say("caught: {stations}", stations=joined(", ", (_caught(text) for text in what)))
    if happened.kind == "stop":
        section = (_section(happened.what[0]),) if happened.what[0] else ()
        return joined(", ", (_long(happened), *section, *([happened.what[1]] if happened.what[1] else [])))
    return joined(", ", (_part(text) for text in what) if happened.kind == "fitted" else what)


def _caught(text: str) -> str:
    station, caught, _, passes = text.rsplit(" ", 3)
    return say("{station} {caught} of {passes}", station=station, caught=caught, passes=passes)


def window_words(plant: Plant, times: LineTimes, chosen: Span) -> list[tuple[str, str]]:
    """The figures of a window: (figure, what it is)."""
    series = [(say("calls"), times.calls)]
    if times.defect is not None and times.chosen is not None:
        series.append((defect_name(plant.defects[times.defect].name), times.chosen))
    made = _hours(plant, chosen.shifted(-timedelta(minutes=times.lehr.minutes)))
    figures = [(_hours(plant, chosen), say("chosen; formed {hours}", hours=made))]
    for name, of in series:
        inside = _inside(of, chosen)
        should = say("{what}; {expected}", what=name, expected=_should(of, inside))
        figures.append((count(float(np.nansum(of.calls[inside]))), should))
    ware = times.calls.ware[_inside(times.calls, chosen)]
    came = count(float(np.nansum(ware))) if np.isfinite(ware).any() else "–"
    return [*figures, (came, say("containers reached the first station"))]


def _hours(plant: Plant, span: Span) -> str:
    start, end = plant.clock.local(span.start), plant.clock.local(span.end)
    return say("{start} to {end}", start=f"{start:%H:%M}", end=f"{end:%H:%M}")


def _inside(series: CallsInTime, chosen: Span) -> np.ndarray:
    """The bins whose middle lies in the window."""
    middles = (np.arange(len(series.calls)) + 0.5) * series.step_s
    start, end = ((moment - series.first).total_seconds() for moment in (chosen.start, chosen.end))
    answer: np.ndarray = (middles >= start) & (middles < end)
    return answer


def _should(series: CallsInTime, inside: np.ndarray) -> str:
    mean = series.expected[inside]
    if not len(mean) or np.isnan(mean).any():
        return say("nothing to compare with")
    relative = np.maximum((series.high[inside] - series.low[inside]) / 3.92, np.sqrt(mean))
    low, high = counts_kept(np.array([mean.sum()]), np.array([(relative**2).sum()]))
    number, least, most = expected(float(mean.sum())), count(float(low[0])), count(float(high[0]))
    return say("{number} expected ({low} to {high})", number=number, low=least, high=most)


def head_figure(plant: Plant, times: LineTimes) -> tuple[Figure, ...]:
    """What is to be acted on: containers lost an hour, defect and place, since when on both clocks; none where nothing
    is open.
    """
    signal = _signal(times)
    if signal is None:
        return ()
    near = times.span.end
    under = say(
        "Since {onset} at the cold end; formed since {formed} ({low} to {high}).",
        onset=clock_words(plant, signal.onset, near),
        formed=clock_words(plant, signal.formed, near),
        low=clock_words(plant, signal.formed_low, near),
        high=clock_words(plant, signal.formed_high, near),
    )
    name, place = defect_name(signal.name), place_words(plant, signal)
    kind = "critical" if signal.severity == "critical" else ""
    words = say("lost an hour: {name}, {place}", name=name, place=place)
    if signal.scope == "furnace":
        words = say("lost an hour on {line}: {name}, {place}", line=times.line, name=name, place=place)
    return (Figure(decimals(signal.lost_per_hour), words, under, kind),)
