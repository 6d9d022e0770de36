"""The upright scale of a time picture: where it ends, and a line of steps on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import isfinite


def known_runs(
    edges: Callable[[int], tuple[float, float]], *series: Sequence[float]
) -> Iterator[list[tuple[float, ...]]]:
    """Runs of bins of which the first series knows something: (left, right, value of each series) each. edges: where a
    bin begins and ends.
    """
    run: list[tuple[float, ...]] = []
    for number, values in enumerate(zip(*series, strict=True)):
        if isfinite(values[0]):
            run.append((*edges(number), *values))
        elif run:
            yield run
            run = []
    if run:
        yield run


def stepped(steps: Sequence[tuple[float, float]]) -> str:
    """A line of steps: (where a step ends, its height); neighbours of one height are one step."""
    heights = [f"{y:.0f}" for _, y in steps]
    ends = [x for n, (x, _) in enumerate(steps) if n + 1 == len(steps) or heights[n + 1] != heights[n]]
    kept = [y for n, y in enumerate(heights) if n + 1 == len(steps) or heights[n + 1] != y]
    return "".join(f"V{y}H{x:.1f}" for x, y in zip(ends, kept, strict=True))


def round_up(value: float) -> float:
    """The next of 1, 2, 4, 6, 8, 10 times a power of ten, at least 2, so that half of it can be read."""
    power = 1.0
    while power * 10 <= value:
        power *= 10
    return max(2.0, next(step * power for step in (1, 2, 4, 6, 8, 10, 20) if step * power >= value))
