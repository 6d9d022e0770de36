"""The time picture: counts on one axis with two clocks, and all that happened, each on its own clock.

The cold-end clock stands above, the forming clock below, shifted by the time through the lehr: what stands under a
count was made then. Challenges are marked above, what happened at the machine below; hatched to the right of now is the
ware in the lehr, which nobody has seen yet. Only what is beyond expectation since an onset is coloured, never a bar for
being high. Drawn as SVG by hand: two axes, marks that give way to each other and a still picture that a script can set
a window in are not a declaration's work. It is drawn twice, for a desk and for a phone, and the style sheet shows one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape
from itertools import groupby
from math import isfinite

from pipelines.clock import Span
from pipelines.numbers import decimals
from pipelines.reports.frame.time_dots import Dots, draw_dots
from pipelines.reports.frame.time_layout import DESK, PHONE, Layout
from pipelines.reports.frame.time_marks import GLYPHS, Mark, placed
from pipelines.reports.frame.time_scale import known_runs, round_up, stepped
from pipelines.words import Drawing, Message, joined

HOUR_STEPS = (1, 2, 3, 6, 12, 24, 48)
MINUTE_STEPS = (5, 10, 15, 30)


@dataclass(frozen=True)
class Track:
    """One series in bins of `step_s` from the picture's start; every sequence is [bins], nan where nothing is known.

    beyond: of each bin, what an open signal lets stand above expectation. under: short lines beside the title.
    """

    title: str
    under: tuple[str, ...]
    step_s: int
    values: Sequence[float]
    expected: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    beyond: Sequence[float]


@dataclass(frozen=True)
class MarkedOnset:
    """When a signal began, by the cold-end clock, with its 95 % interval."""

    at: datetime
    low: datetime
    high: datetime
    words: str


@dataclass(frozen=True)
class PictureWords:
    """What the picture says of itself. now: with the time of a live picture."""

    cold_end: str
    formed: str
    shift: str
    still: str
    silent: str
    lehr: tuple[str, ...]
    now: str


@dataclass(frozen=True)
class TimePicture:
    """A window by the cold-end clock. now: the moment of a live picture, which goes on to what lies in the lehr.

    still: spans without ware; silent: without counts. chosen: the window that is looked at. name: for those who cannot
    see it.
    """

    name: str
    span: Span
    lehr: timedelta
    tracks: tuple[Track | Dots, ...]
    marks: tuple[Mark, ...]
    words: PictureWords
    local: Callable[[datetime], datetime]
    still: tuple[Span, ...] = ()
    silent: tuple[Span, ...] = ()
    onset: MarkedOnset | None = None
    chosen: Span | None = None
    now: datetime | None = None
    fixed: bool = False  # no window is set in it

    @property
    def end(self) -> datetime:
        """Where the axis ends: with the window, or with what is formed now and has still to come out."""
        return self.span.end if self.now is None else max(self.span.end, self.now + self.lehr)


def drawn(picture: TimePicture, layouts: tuple[Layout, Layout] = (DESK, PHONE)) -> Drawing:
    """The picture for a desk and for a phone, one after the other."""
    both = [_Picture(picture, layout) for layout in layouts]
    svg = "".join(each.svg() for each in both)
    texts = [picture.name, *(text for each in both for text in each.said)]
    return Drawing(svg, (text for text in texts if isinstance(text, Message)))


class _Picture:
    """One picture in one layout; `y` is how far down it is drawn."""

    def __init__(self, picture: TimePicture, layout: Layout):
        self.picture, self.layout = picture, layout
        self.parts: list[str] = []
        self.said: list[str] = []
        self.seconds = (picture.end - picture.span.start).total_seconds()
        self.right: float = layout.width - layout.right
        self.y = 0.0

    def svg(self) -> str:
        """The whole picture as one element."""
        p, layout = self.picture, self.layout
        self._marks([mark for mark in p.marks if mark.cold_end])
        self._clock(p.words.cold_end, timedelta(), above=True)
        self._tracks()
        self._clock(p.words.formed, p.lehr, above=False)
        self._marks([mark for mark in p.marks if not mark.cold_end])
        data = "" if p.fixed else self._for_a_script()
        return (
            f'<svg class="times {layout.name}" role="img" aria-label="{escape(p.name)}" viewBox="0 0 {layout.width} '
            f'{self.y:.0f}" font-size="{layout.text:g}" {data}>{"".join(self.parts)}</svg>'
        )

    def _for_a_script(self) -> str:
        """What a script must know to set a window in it."""
        p = self.picture
        offset = (p.local(p.span.start).utcoffset() or timedelta()).total_seconds()
        return (
            f'data-from="{p.span.start.timestamp():.0f}" data-to="{p.end.timestamp():.0f}" '
            f'data-left="{self.layout.left}" data-right="{self.right}" '
            f'data-last="{p.span.end.timestamp():.0f}" data-offset="{offset:.0f}"'
        )

    # where things stand

    def x(self, moment: datetime) -> float:
        """The place of a moment of the cold-end clock."""
        part = (moment - self.picture.span.start).total_seconds() / self.seconds
        return self.layout.left + part * (self.right - self.layout.left)

    def _within(self, span: Span) -> tuple[float, float]:
        start, end = max(span.start, self.picture.span.start), min(span.end, self.picture.end)
        return self.x(start), self.x(max(start, end))

    def text(self, x: float, y: float, text: str, anchor: str = "", kind: str = "") -> None:
        """A text at a place."""
        self.said.append(text)
        how = (f' text-anchor="{anchor}"' if anchor else "") + (f' class="{kind}"' if kind else "")
        self.parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{how}>{escape(text)}</text>')

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """A straight line."""
        self.parts.append(f'<path class="{kind}" d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"/>')

    # the clocks

    def _clock(self, title: str, shift: timedelta, above: bool) -> None:
        """An axis of local times; shift: by how much its clock is behind the cold end's."""
        size, now = self.layout.text, self.picture.now
        if above and not self.layout.beside:
            self.text(0, self.y + size, title, kind="strong")
            self.y += 0.7 * size
        axis = self.y + (1.9 * size if above else 0.0)
        words = axis - 0.6 * size if above else axis + 1.5 * size
        end = self.right if now is None else self.x(now + shift)
        self.line(self.layout.left, axis, end, axis, "axis")
        last = "" if now is None else self.picture.words.now if above else f"{self.picture.local(now):%H:%M}"
        room = end + 1 if now is None else end - (len(last) + 4) * self.layout.letter
        for moment in self._ticks(shift):
            x = self.x(moment + shift)
            if x <= end:
                self.line(x, axis, x, axis - 5 if above else axis + 5, "axis")
            if x <= room:
                self.text(x, words, self.picture.local(moment).strftime(self.hours), "middle")
        if now is not None:
            self.text(end, words, last, "end", "strong")
        if self.layout.beside:
            self.text(0, words, title, kind="strong")
            if not above:
                self.text(0, words + 1.25 * size, self.picture.words.shift, kind="quiet")
        elif not above:
            self.text(0, words + 1.35 * size, joined(", ", (title, self.picture.words.shift)), kind="quiet")
            axis += 0.9 * size
        self.y = axis + (0.8 * size if above else 2.4 * size)

    @property
    def hours(self) -> str:
        """How a tick's time is written: with its day where days pass."""
        return "%H:%M" if self.seconds <= 30 * 3600 else "%d. %Hh" if self.layout.beside else "%d."

    def _ticks(self, shift: timedelta) -> Iterator[datetime]:
        """Round local times in this clock's window, no closer than they can be read."""
        apart = 6.5 * self.layout.letter * self.seconds / (self.right - self.layout.left)  # seconds
        steps = [m * 60 for m in MINUTE_STEPS] + [h * 3600 for h in HOUR_STEPS]
        step = next((s for s in steps if s >= apart), steps[-1])
        start, end = self.picture.span.start - shift, self.picture.end - shift
        local = self.picture.local(start)
        midnight = start - timedelta(hours=local.hour, minutes=local.minute, seconds=local.second)
        moment = midnight + timedelta(seconds=-(-(start - midnight).total_seconds() // step) * step)
        while moment <= end:
            yield moment
            moment += timedelta(seconds=step)

    # the series

    def _tracks(self) -> None:
        for number, track in enumerate(self.picture.tracks):
            self._track(track)
            if number == 0 and self.picture.onset is not None:
                self._onset(self.picture.onset)
            self.y += self.layout.text

    def _track(self, track: Track | Dots) -> None:
        size, layout = self.layout.text, self.layout
        if layout.beside:
            self.text(0, self.y + size, track.title, kind="title")
            for number, text in enumerate(track.under):
                self.text(0, self.y + (2.4 + 1.25 * number) * size, text, kind="quiet")
        else:
            self.text(0, self.y + size, track.title, kind="title")
            self.text(layout.width, self.y + size, joined(", ", track.under), "end", "quiet")
            self.y += 1.9 * size
        if isinstance(track, Dots):
            draw_dots(self, track)
        else:
            self._series(track)
        words = self.picture.words
        for span in self.picture.still:
            self._empty("still", span, words.still)
        for span in self.picture.silent:
            self._empty("silent", span, words.silent)
        self._across(first=track is self.picture.tracks[0])
        self.y += layout.track

    def _series(self, track: Track) -> None:
        top = round_up(max((v for v in (*track.values, *track.high) if isfinite(v)), default=1.0))
        self._scale(top)
        self._band(track, top)
        self._bars(track, top)

    @property
    def room(self) -> tuple[float, float, float]:
        """Left edge, height of a track and size of letters [px]."""
        return self.layout.left, self.layout.track, self.layout.text

    def _height(self, value: float, top: float) -> float:
        return self.y + self.layout.track * (1 - min(value, top) / top)

    def _scale(self, top: float) -> None:
        for part in (0.0, 0.5, 1.0):
            y = self._height(part * top, top)
            self.line(self.layout.left, y, self.right, y, "axis" if part == 0 else "rule")
            if self.layout.beside or part != 0.5:
                words = decimals(part * top, 0 if (part * top) % 1 == 0 else 1)
                self.text(self.layout.left - 6, y + 0.35 * self.layout.text, words, "end", "quiet")

    def _runs(self, step_s: int, *series: Sequence[float]) -> Iterator[list[tuple[float, ...]]]:
        """Runs of bins of which the first series knows something: (left, right, value of each series) each."""
        step, start = timedelta(seconds=step_s), self.picture.span.start

        def edges(number: int) -> tuple[float, float]:
            begin = start + number * step
            return self.x(begin), self.x(min(begin + step, self.picture.span.end))

        return known_runs(edges, *series)

    def _band(self, track: Track, top: float) -> None:
        """What 95 of 100 bins keep, and what is expected."""
        for run in self._runs(track.step_s, track.high, track.low):
            there = stepped([(right, self._height(high, top)) for _, right, high, _ in run])
            back = stepped([(left, self._height(low, top)) for left, _, _, low in reversed(run)])
            foot = self._height(run[0][3], top)
            self.parts.append(f'<path class="band" d="M{run[0][0]:.1f} {foot:.0f}{there}{back}z"/>')
        for run in self._runs(track.step_s, track.expected):
            line = stepped([(right, self._height(value, top)) for _, right, value in run])
            first = self._height(run[0][2], top)
            self.parts.append(f'<path class="expected" d="M{run[0][0]:.1f} {first:.1f}{line}"/>')

    def _bars(self, track: Track, top: float) -> None:
        """Counts as one stepped shape, and what lies beyond on top of it as another."""
        plain, lit = [], []
        for run in self._runs(track.step_s, track.values, track.beyond):
            plain += self._shape(run, [value - beyond for _, _, value, beyond in run], [0.0] * len(run), top)
            lit += self._shape(
                run, [value for *_, value, _ in run], [value - beyond for _, _, value, beyond in run], top
            )
        for kind, shapes in (("plain", plain), ("beyond", lit)):
            if shapes:
                self.parts.append(f'<path class="{kind}" d="{"".join(shapes)}"/>')

    def _shape(self, run: list[tuple[float, ...]], tops: list[float], feet: list[float], top: float) -> list[str]:
        """The outlines between two stepped lines, one for each stretch in which the upper lies above the lower."""
        shapes = []
        for above, stretch in groupby(range(len(run)), lambda n: tops[n] > feet[n]):
            if not above:
                continue
            numbers = list(stretch)
            there = stepped([(run[n][1], self._height(tops[n], top)) for n in numbers])
            back = stepped([(run[n][0], self._height(feet[n], top)) for n in reversed(numbers)])
            first = numbers[0]
            shapes.append(f"M{run[first][0]:.1f} {self._height(feet[first], top):.0f}{there}{back}z")
        return shapes

    def _empty(self, kind: str, span: Span, words: str) -> None:
        """A span of which there is nothing to draw, and why."""
        left, right = self._within(span)
        if right - left < 2:
            return
        self._rect(kind, left, right)
        if right - left > 1.3 * self.layout.text:
            x, y = (left + right) / 2 + 0.35 * self.layout.text, self.y + self.layout.track / 2
            self.said.append(words)
            self.parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" class="quiet" transform="rotate(-90 {x:.1f} '
                f'{y:.1f})">{escape(words)}</text>'
            )

    # what stands across

    def _onset(self, onset: MarkedOnset) -> None:
        """The onset with its interval, under the first track."""
        y = self.y + 1.1 * self.layout.text
        low, high = self._within(Span(onset.low, onset.high))
        at = min(max(self.x(onset.at), self.layout.left), self.right)
        self.line(low, y, high, y, "whisker")
        self.parts.append(f'<circle class="onset" cx="{at:.1f}" cy="{y:.1f}" r="4"/>')
        room = len(onset.words) * self.layout.letter
        left = low - 8 - room >= 0
        self.text(low - 8 if left else high + 8, y + 0.35 * self.layout.text, onset.words, "end" if left else "")
        self.y += 1.6 * self.layout.text

    def _across(self, first: bool) -> None:
        """What stands over a track: the ware in the lehr, and the window that is looked at (drawn also where none is,
        for a script to move).
        """
        now, chosen = self.picture.now, self.picture.chosen
        if now is not None:
            left = self.x(now)
            self._rect("unseen", left, self.right)
            self.line(left, self.y - 4, left, self.y + self.layout.track, "now")
            if first:
                self._in_the_lehr(left)
        if self.picture.fixed:
            return
        left, right = self._within(chosen) if chosen is not None else (0.0, 0.0)
        self._rect("chosen" if chosen is not None else "chosen off", left, right)

    def _rect(self, kind: str, left: float, right: float) -> None:
        """A part of the track's height."""
        self.parts.append(
            f'<rect class="{kind}" x="{left:.1f}" y="{self.y:.1f}" width="{right - left:.1f}" '
            f'height="{self.layout.track}"/>'
        )

    def _in_the_lehr(self, left: float) -> None:
        size, words = self.layout.text, self.picture.words.lehr
        if self.right - left > max(len(text) for text in words) * self.layout.letter:
            for number, text in enumerate(words):
                y = self.y + self.layout.track / 2 + (number - 0.5) * 1.25 * size
                self.text((left + self.right) / 2, y, text, "middle")

    def _marks(self, marks: Sequence[Mark]) -> None:
        """Marks of one clock in rows, so that none lies over another; what has no room keeps its sign."""
        layout = self.layout
        if not marks:
            return
        shift = timedelta() if marks[0].cold_end else self.picture.lehr
        rows = placed(
            [(self.x(mark.at + shift), mark) for mark in marks], layout.left, self.right, layout.letter, layout.rows
        )
        deep = 1.7 * layout.text
        for row, places in enumerate(rows):
            y = self.y + (row + 0.9) * deep
            for x, words_x, anchor, mark in places:
                kind = "bad" if mark.bad else "mark"
                self.parts.append(f'<g class="{kind}" transform="translate({x:.1f} {y:.1f})">{GLYPHS[mark.kind]}</g>')
                if anchor:
                    self.text(words_x, y + 0.35 * layout.text, mark.words, anchor, "bad" if mark.bad else "")
        self.y += len(rows) * deep + 0.3 * layout.text
