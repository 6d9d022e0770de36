"""Single readings in a time picture: dots on a scale of their own, with limits and a middle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from pipelines.numbers import decimals

ROOM = 0.06  # of the range, above and below


@dataclass(frozen=True)
class Dots:
    """Readings [(moment by the cold-end clock, value)] between limits (each may be None), and the middle between them;
    under: short lines beside the title. A dot beyond a limit is marked.
    """

    title: str
    under: tuple[str, ...]
    points: Sequence[tuple[datetime, float]]
    low: float | None = None
    high: float | None = None
    middle: float | None = None

    def beyond(self, value: float) -> bool:
        """Whether a reading lies beyond a limit."""
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)


class Canvas(Protocol):
    """What dots are drawn on: a picture at the height it has come to."""

    parts: list[str]
    y: float
    right: float

    @property
    def room(self) -> tuple[float, float, float]:
        """Left edge, height of a track and size of letters [px]."""

    def x(self, moment: datetime) -> float: ...

    def text(self, x: float, y: float, text: str, anchor: str = "", kind: str = "") -> None: ...

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None: ...


def draw_dots(canvas: Canvas, dots: Dots) -> None:
    """Scale, limits, middle and dots; what lies beyond a limit is larger and has a cross."""
    left, high_px, size = canvas.room
    edges = [value for value in (dots.low, dots.high, dots.middle) if value is not None]
    every = [value for _, value in dots.points] + edges
    least, most = (min(every), max(every)) if every else (0.0, 1.0)
    room = ROOM * (most - least) or 1.0
    bottom, top = least - room, most + room

    def at(value: float) -> float:
        return canvas.y + high_px * (top - value) / (top - bottom)

    canvas.line(left, canvas.y + high_px, canvas.right, canvas.y + high_px, "axis")
    for value, kind in ((dots.low, "expected"), (dots.high, "expected"), (dots.middle, "rule")):
        if value is not None:
            canvas.line(left, at(value), canvas.right, at(value), kind)
            canvas.text(left - 6, at(value) + 0.35 * size, decimals(value, 1 if value % 1 else 0), "end", "quiet")
    inside, outside = [], []
    for moment, value in dots.points:
        x, y = canvas.x(moment), at(value)
        if dots.beyond(value):
            outside.append(f"M{x - 4:.0f} {y - 4:.0f}l8 8m-8 0l8 -8")
        else:
            inside.append(f"M{x:.0f} {y:.0f}h0")
    for kind, drawn in (("dots", inside), ("outside", outside)):
        if drawn:
            canvas.parts.append(f'<path class="{kind}" d="{"".join(drawn)}"/>')
