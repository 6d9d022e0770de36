"""Sizes of a time picture: on a desk, on a phone, and small."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Layout:
    """Sizes [px]. beside: titles stand left of the tracks, else above them."""

    name: str
    width: int
    left: int
    right: int
    track: int
    text: float
    beside: bool
    rows: int  # of marks

    @property
    def letter(self) -> float:
        """The width of a letter, about."""
        return 0.6 * self.text


DESK = Layout("wide", 1140, 118, 28, 128, 13, True, 3)
PHONE = Layout("narrow", 345, 32, 14, 104, 15, False, 4)
SMALL = (Layout("wide", 345, 30, 12, 40, 12, False, 1), Layout("narrow", 320, 32, 14, 60, 15, False, 1))
