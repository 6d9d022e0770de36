"""Numbers in sentences that programs are told too: there as English writes them, on a page in the works' way."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pipelines.words.message import Message, Worded, Write

_MARKS = [(".", " ")]


def use_marks(decimal: str, apart: str) -> None:
    """The decimal mark and the sign between thousands of pages from now on, in the whole process."""
    _MARKS[0] = (decimal, apart)


class Numeral(Worded):
    """A number with English marks: 1,708.5, or 1 708.5."""

    __slots__ = ()

    def written(self, patterns: Callable[[Message], str], write: Write) -> str:
        """The same number with the marks of the works, and a true minus."""
        decimal, apart = _MARKS[0]
        bare = self.replace(",", " ").replace("\u202f", " ").replace("-", "−")
        return bare.replace(".", "\0").replace(" ", apart).replace("\0", decimal)

    def __reduce__(self) -> tuple[Any, ...]:
        return Numeral, (str(self),)

    def __deepcopy__(self, _memo: object) -> Numeral:
        return self


def numeral(value: float, spec: str) -> str:
    """A number by a format such as ",.0f"."""
    return Numeral(format(value, spec))
