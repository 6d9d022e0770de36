"""What is compared to place an excess: calls, expected calls and ware of one defect by station and column, on a line
and on those beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.measures.signals.counts import CountColumn


@dataclass(frozen=True)
class Beside:
    """Another line of the furnace in the same forming window: its cells by its own past, whatever it was told
    meanwhile.
    """

    line: str
    cells: PlaceCells


@dataclass(frozen=True)
class PlaceCells:
    """Calls of one defect in a window. seen, expected, ware: [stations, columns + 1], the last column unread.

    reads: [stations] whether moulds are read there. able: [stations] whether the defect can be called there.
    own: relative variance of a mould's count in the window; line: of the whole line's.
    base: what the past alone lets expect, without other signals; where not given, `expected`. orders: of the stations,
    lanes sharing one; where not given, all are lanes. challenged: [stations, 2] challenge passes of the defect, caught
    and missed.
    """

    seen: np.ndarray
    expected: np.ndarray
    ware: np.ndarray
    reads: np.ndarray
    able: np.ndarray
    own: float
    line: float
    columns: tuple[CountColumn, ...]
    stations: tuple[str, ...]
    beside: tuple[Beside, ...] = ()
    base: np.ndarray | None = None
    orders: tuple[int, ...] = ()
    challenged: np.ndarray | None = None

    @property
    def usual(self) -> np.ndarray:
        return self.expected if self.base is None else self.base

    @property
    def order(self) -> np.ndarray:
        return np.array(self.orders or [1] * len(self.stations))
