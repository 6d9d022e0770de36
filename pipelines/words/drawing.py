"""Drawings: an SVG, and the messages among its texts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from html import escape, unescape
from typing import Any

from pipelines.words.message import Message, Worded, Write

_TEXT = re.compile(r"<text([^>]*)>([^<]*)</text>")
_SIZE = re.compile(r'(<svg[^>]*?) width="([\d.]+)"([^>]*?) viewBox="([-\d.]+) ([-\d.]+) ([\d.]+) ([\d.]+)"')
_LETTER_PX = 6.6  # of a text of 12 px, on average


class Drawing(Worded):
    """An SVG whose texts are English. texts: the messages among them."""

    __slots__ = ("texts",)
    texts: tuple[Message, ...]

    def __new__(cls, svg: str, texts: Iterable[Message] = ()) -> Drawing:
        drawing = super().__new__(cls, svg)
        drawing.texts = tuple(dict.fromkeys(texts))
        return drawing

    def written(self, patterns: Callable[[Message], str], write: Write) -> str:
        """The same drawing with its texts in a language; wider at a side where a longer text would be cut off."""
        others = {str(text): write(text) for text in self.texts}
        if all(english == other for english, other in others.items()):
            return str(self)
        ends, right = (0, 0), 0

        def text(found: re.Match[str]) -> str:
            nonlocal ends, right
            english = unescape(found[2])
            other = _exchanged(english, others)
            if 'text-anchor="end"' in found[1] and "rotate" not in found[1]:
                ends = max(ends[0], len(english)), max(ends[1], len(other))
            elif 'text-anchor="start"' in found[1]:
                right = max(right, len(other) - len(english))
            return f"<text{found[1]}>{escape(other, quote=False)}</text>"

        svg = _TEXT.sub(text, self)
        svg = re.sub(r'aria-label="([^"]*)"', lambda m: f'aria-label="{_label(m[1], others)}"', svg)
        return _widened(svg, _LETTER_PX * max(0, ends[1] - ends[0]), _LETTER_PX * right)

    def __reduce__(self) -> tuple[Any, ...]:
        return Drawing, (str(self), self.texts)

    def __deepcopy__(self, _memo: object) -> Drawing:
        return self


def _label(text: str, others: dict[str, str]) -> str:
    return escape(others.get(unescape(text), unescape(text)))


def _exchanged(text: str, others: dict[str, str]) -> str:
    """A text of the drawing in the other language; one that was cut short by the drawer is cut as short."""
    if text in others:
        return others[text]
    if text.endswith("…"):
        for english, other in others.items():
            if english.startswith(text[:-1]):
                return other if len(other) <= len(text) else f"{other[: len(text) - 1].rstrip()}…"
    return text


def _widened(svg: str, left: float, right: float) -> str:
    found = _SIZE.search(svg)
    if not found or not (left or right):
        return svg
    x, width = float(found[4]) - left, float(found[6]) + left + right
    size = f'{found[1]} width="{width:g}"{found[3]} viewBox="{x:g} {found[5]} {width:g} {found[7]}"'
    svg = svg[: found.start()] + size + svg[found.end() :]
    return re.sub(r"--own:[\d.]+rem", f"--own:{width / 16:.2f}rem", svg, count=1)
