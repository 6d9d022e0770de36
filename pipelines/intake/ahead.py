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
    takes: packed files can grow a thousandfold.
    """
    waiting: deque[tuple[Arrival, Future[list[T]]]] = deque()
    with ThreadPoolExecutor(2) as pool:
        for arrival in arrivals:
            while waiting and (len(waiting) >= _FILES or _held(waiting) + arrival.size > _BYTES):
                first, future = waiting.popleft()
                yield first, future.result()
            waiting.append((arrival, pool.submit(read, arrival)))
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()


def _held(waiting: deque[tuple[Arrival, Future[list[T]]]]) -> int:
    return sum(
        sum(this_t.held_bytes for this_t in future.result()) if future.done() else arrival.size
        for arrival, future in waiting
    )
