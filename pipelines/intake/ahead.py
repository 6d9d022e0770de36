"""Files read by two threads ahead of the one that is used, by so much memory and no more."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Protocol, TypeVar

from pipelines.intake.find import Arrival

_BYTES, _FILES = 32 << 20, 64


class Sized(Protocol):
    @property
    def held_bytes(self) -> int: ...


T = TypeVar("T", bound=Sized)


def read_ahead(arrivals: list[Arrival], read: Callable[[Arrival], list[T]]) -> Iterator[tuple[Arrival, list[T]]]:
    """Each file, in order, with what `read` gives for it. A file counts by its size until it is read, then by what it
    takes: packed files can grow a thousandfold. What it takes is asked of each file once.
    """

    def held_and_read(arrival: Arrival) -> tuple[int, list[T]]:
        reads = read(arrival)
        return sum(read_file.held_bytes for read_file in reads), reads

    waiting: deque[tuple[Arrival, Future[tuple[int, list[T]]]]] = deque()
    with ThreadPoolExecutor(2) as pool:
        for arrival in arrivals:
            while waiting and (len(waiting) >= _FILES or _held(waiting) + arrival.size > _BYTES):
                first, future = waiting.popleft()
                yield first, future.result()[1]
            waiting.append((arrival, pool.submit(held_and_read, arrival)))
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()[1]


def _held(waiting: deque[tuple[Arrival, Future[tuple[int, list[T]]]]]) -> int:
    return sum(future.result()[0] if future.done() else arrival.size for arrival, future in waiting)
