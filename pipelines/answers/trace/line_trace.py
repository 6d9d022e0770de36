"""One line's part of a trace, before it is put into words and tables."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipelines.answers.trace.line_ware import LineView
from pipelines.clock import Span
from pipelines.measures.trace.escapes import CarriedEscapes
from pipelines.measures.trace.exposure import Exposure
from schemas.answers.signals import Signal


@dataclass(frozen=True)
class LineTrace:
    """One line's part of a trace. first: how many of the exposure's stays lie in the window; the others are the same
    fault beyond it.

    weights: of stays and of pallets, in escapes (in ware without a defect), comparable between lines; moments: each
    stay's 95 % window;
    scale: by which they were made comparable.
    """

    view: LineView
    window: Span
    exposure: Exposure
    first: int
    carried: CarriedEscapes
    beyond: np.ndarray
    weights: tuple[np.ndarray, np.ndarray]
    moments: list[Span]
    faults: list[Signal]
    fault: Span | None
    scale: float
