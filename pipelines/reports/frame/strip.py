"""A series of one line as a strip: small, drawn once for every width, several below each other on one scale.

There is no text in it: what it says stands beside it, so that it can be stretched. Only what lies above expectation
since an open signal's onset is filled strongly.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from pipelines.reports.frame.time_scale import known_runs, stepped
from pipelines.words import Drawing, Message

WIDE, HIGH, FOOT = 1000.0, 60.0, 10.0


@dataclass(frozen=True)
class Strip:
    """Every sequence is [bins], nan where nothing is known; ends: where each bin ends, 0..1 of the width. unseen: from
    where to where what lies in the lehr is hatched. spans: (from, to, kind) of each signal. top: where the upright
    scale ends. silent: from where to where nothing came although it should have.
    """

    name: str
    ends: Sequence[float]
    values: Sequence[float]
    expected: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    beyond: Sequence[float]
    unseen: tuple[float, float]
    spans: Sequence[tuple[float, float, str]]
    top: float
    silent: tuple[float, float] = (0.0, 0.0)
    fits: Sequence[float] = ()


def drawn_strip(strip: Strip) -> Drawing:
    """The strip as SVG that fills its place."""
    left, right = (WIDE * at for at in strip.unseen)
    parts = [
        *_band(strip),
        *_filled(strip),
        f'<path class="rule" d="M0 {HIGH:.0f}H{WIDE:.0f}"/>',
    ]
    if right > left:
        parts.append(f'<rect class="unseen" x="{left:.0f}" width="{right - left:.0f}" height="{HIGH:.0f}"/>')
        parts.append(f'<path class="now" d="M{left:.0f} 0V{HIGH:.0f}"/>')
    start, end = (WIDE * at for at in strip.silent)
    if end > start:
        parts.append(f'<rect class="silent" x="{start:.0f}" width="{end - start:.0f}" height="{HIGH:.0f}"/>')
        parts.append(f'<path class="now" d="M{end:.0f} 0V{HIGH:.0f}"/>')
    for at in strip.fits:
        parts.append(f'<path class="fit" d="M{WIDE * at:.0f} 0V{HIGH:.0f}"/>')
    for start, end, kind in strip.spans:
        wide = max(4.0, WIDE * (end - start))
        parts.append(f'<rect class="{kind}" x="{WIDE * start:.0f}" y="{HIGH + 3:.0f}" width="{wide:.0f}" height="5"/>')
    text = (
        f'<svg class="strip" role="img" aria-label="{escape(strip.name)}" viewBox="0 0 {WIDE:.0f} {HIGH + FOOT:.0f}" '
        f'preserveAspectRatio="none">{"".join(parts)}</svg>'
    )
    return Drawing(text, [strip.name] if isinstance(strip.name, Message) else [])


def _runs(strip: Strip, *series: Sequence[float]) -> Iterator[list[tuple[float, ...]]]:
    def edges(number: int) -> tuple[float, float]:
        return WIDE * strip.ends[number - 1] if number else 0.0, WIDE * strip.ends[number]

    return known_runs(edges, *series)


def _y(value: float, top: float) -> float:
    return HIGH * (1 - min(value, top) / top)


def _band(strip: Strip) -> Iterator[str]:
    """What 95 of 100 bins keep, and what is expected."""
    for run in _runs(strip, strip.high, strip.low):
        there = stepped([(right, _y(high, strip.top)) for _, right, high, _ in run])
        back = stepped([(left, _y(low, strip.top)) for left, _, _, low in reversed(run)])
        yield f'<path class="band" d="M{run[0][0]:.0f} {_y(run[0][3], strip.top):.0f}{there}{back}z"/>'
    for run in _runs(strip, strip.expected):
        line = stepped([(right, _y(should, strip.top)) for _, right, should in run])
        yield f'<path class="expected" d="M{run[0][0]:.0f} {_y(run[0][2], strip.top):.0f}{line}"/>'


def _filled(strip: Strip) -> Iterator[str]:
    """What lies beyond as an area, and the series as a line of steps over it."""
    for run in _runs(strip, strip.values, strip.beyond):
        for left, right, value, beyond in run:
            if beyond > 0:
                foot, head = _y(value - beyond, strip.top), _y(value, strip.top)
                yield f'<path class="beyond" d="M{left:.0f} {foot:.0f}V{head:.0f}H{right:.0f}V{foot:.0f}z"/>'
        line = stepped([(right, _y(value, strip.top)) for _, right, value, _ in run])
        yield f'<path class="seen" d="M{run[0][0]:.0f} {_y(run[0][2], strip.top):.0f}{line}"/>'
