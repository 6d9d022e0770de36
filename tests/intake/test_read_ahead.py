"""Files read ahead: in order, what each takes asked once, no more in memory than is allowed."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from pipelines.intake.ahead import _BYTES, _FILES, read_ahead
from pipelines.intake.find import Arrival


class Held:
    """A file that was read, and counts how often it is asked what it takes."""

    def __init__(self, name: str, size: int, asked: Counter[str]):
        self.name, self.size, self.asked = name, size, asked

    @property
    def held_bytes(self) -> int:
        self.asked[self.name] += 1
        return self.size


def arrivals(count: int, size: int) -> list[Arrival]:
    return [Arrival(Path(f"{number:04d}.csv"), f"{number:04d}.csv", size, 0) for number in range(count)]


def test_what_a_file_takes_is_asked_once_however_many_wait() -> None:
    asked: Counter[str] = Counter()
    given = arrivals(5 * _FILES, 10)
    seen = [arrival.name for arrival, _ in read_ahead(given, lambda file: [Held(file.name, 10, asked)])]
    assert seen == [arrival.name for arrival in given]
    assert set(asked.values()) == {1} and len(asked) == len(given)


def test_files_that_grow_are_not_read_far_ahead() -> None:
    """Eight files of no size that unpack to half of what may wait: at most those already begun are ever held."""
    read: list[str] = []
    asked: Counter[str] = Counter()

    def grown(arrival: Arrival) -> list[Held]:
        read.append(arrival.name)
        return [Held(arrival.name, _BYTES // 2, asked)]

    for number, _ in enumerate(read_ahead(arrivals(8, _BYTES // 2), grown), start=1):
        assert len(read) <= number + 2, read
