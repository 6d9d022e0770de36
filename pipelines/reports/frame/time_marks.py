"""Marks of a time picture: the sign of each kind, and where their words find room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

GAP = 10.0  # px between the words of two marks
SIGN = 9.0  # px from a sign's middle to its words

# signs about their own middle, drawn in the colour of the text
GLYPHS = {
    "challenge": '<circle r="5" fill="none" stroke="currentColor" stroke-width="1.8"/>',
    "missed": '<path d="M-4 -4L4 4M4 -4L-4 4" fill="none" stroke="currentColor" stroke-width="2.4"/>',
    "fitted": '<path d="M-4.5 -4.5h9v9h-9z" fill="currentColor"/>',
    "stop": '<path d="M-6 -1.7h12v3.4h-12z" fill="currentColor"/>',
    "job": '<path d="M-2.5 -6v12M2.5 -6v12" fill="none" stroke="currentColor" stroke-width="2"/>',
    "reading": '<path d="M-7 4h6v-8h6" fill="none" stroke="currentColor" stroke-width="1.8"/>',
    "action": '<path d="M-4 -5.5L5.5 0L-4 5.5z" fill="currentColor"/>',
}
Place = tuple[float, float, str, "Mark"]


@dataclass(frozen=True)
class Mark:
    """One thing that happened: at by its own clock (cold_end: the cold end's, else the forming clock). kind: a key of
    GLYPHS; bad: what is to be seen first.
    """

    at: datetime
    kind: str
    words: str
    cold_end: bool = False
    bad: bool = False


def placed(
    marks: Sequence[tuple[float, Mark]], left: float, right: float, letter: float, most: int
) -> list[list[Place]]:
    """Rows of (sign's x, words' x, anchor of the words, mark), so that nothing lies over anything else.

    marks: x [px] and mark. letter: width of a letter [px]. What finds no room in `most` rows keeps its sign in the last
    row and has an empty anchor: its words stand in the list beside the picture. Bad ones choose first.
    """
    rows: list[list[tuple[float, float]]] = []
    places: list[list[Place]] = []
    for x, mark in sorted(marks, key=lambda pair: (not pair[1].bad, pair[0])):
        if not left - 1 <= x <= right + 1:
            continue
        room = len(mark.words) * letter
        for words_x, anchor, span in _ways(x, room):
            if span[0] < left - SIGN or span[1] > right + SIGN:
                continue
            row = next((n for n, taken in enumerate(rows) if _free(taken, span)), len(rows))
            if row < most:
                if row == len(rows):
                    rows.append([])
                    places.append([])
                rows[row].append(span)
                places[row].append((x, words_x, anchor, mark))
                break
        else:
            if not rows:
                rows.append([])
                places.append([])
            places[-1].append((x, x, "", mark))
            rows[-1].append((x - SIGN, x + SIGN))
    return places


def _ways(x: float, room: float) -> list[tuple[float, str, tuple[float, float]]]:
    """Words right of the sign, else left of it."""
    return [
        (x + SIGN, "start", (x - SIGN, x + SIGN + room + GAP)),
        (x - SIGN, "end", (x - SIGN - room - GAP, x + SIGN)),
    ]


def _free(taken: Sequence[tuple[float, float]], span: tuple[float, float]) -> bool:
    return all(span[1] <= low or span[0] >= high for low, high in taken)
