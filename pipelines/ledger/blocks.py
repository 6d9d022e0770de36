"""Every block of a ledger's file read and its checksum worked out anew, also of blocks that no table's rows lie in:
indexes, the description of the tables, free ones.

The file (https://duckdb.org/docs/stable/internals/storage.html, checked against the files themselves): three headers of
4,096 bytes, then blocks of one size. Each begins with 8 bytes of checksum over the rest. The newer database header says
how many blocks count and where the list of free ones stands.
Runs as a process of its own: to open and close the file in a process that has the ledger open would drop DuckDB's lock
on it.
"""

from __future__ import annotations

import hashlib
import json
import struct
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

_HEADER, _HEADERS = 4096, 12_288  # bytes
_SEED, _FACTOR = 5381, np.uint64(0xBF58476D1CE4E5B9)  # of DuckDB's checksum: the words multiplied, then all xor
_PARTS, _NEXT = 64, 56  # pieces of a block that describes; bits of a pointer before the number of its piece
_NOWHERE = (1 << 64) - 1


@dataclass(frozen=True)
class Blocks:
    """headers: those whose checksum does not hold.  count: blocks of the file.  due: how many its header counts.
    broken: blocks whose checksum does not hold.
    free: blocks that hold nothing; None where their list cannot be read.  same: blocks, not free, that hold the same
    bytes, together.
    """

    headers: list[str]
    count: int
    due: int
    broken: list[int]
    free: list[int] | None
    same: list[list[int]]

    @property
    def in_use(self) -> list[int]:
        """Blocks that must hold; all of them where it is not known which are free."""
        return sorted(set(range(self.due)) - set(self.free or ()))


def look_at_blocks(path: Path) -> Blocks:
    """Read a ledger's file whole. OSError where it cannot be read."""
    command = [sys.executable, "-I", str(Path(__file__).resolve()), str(path)]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise OSError(5, (done.stderr.strip().splitlines() or ["the ledger's blocks could not be read"])[-1])
    return Blocks(**json.loads(done.stdout))


def checksum(data: bytes) -> int:
    """DuckDB's checksum of a piece of a file; data: a multiple of 8 bytes."""
    return _SEED ^ int(np.bitwise_xor.reduce(np.frombuffer(data, "<u8") * _FACTOR))


def _holds(data: bytes) -> bool:
    return len(data) > 8 and len(data) % 8 == 0 and struct.unpack_from("<Q", data)[0] == checksum(data[8:])


def looked_at(path: Path) -> Blocks:
    """As look_at_blocks, in this process: for one that has no ledger open."""
    with path.open("rb") as file:
        heads = [file.read(_HEADER) for _ in range(3)]
        wrong = [name for name, head in zip(("first", "second", "third"), heads, strict=True) if not _holds(head)]
        rows = [struct.unpack_from("<QQQQQ", head, 8) for head in heads[1:] if _holds(head)]
        if not rows:
            return Blocks(wrong, 0, 0, [], None, [])
        _, _, free_list, due, size = max(rows)
        broken: list[int] = []
        digests: dict[bytes, list[int]] = {}
        count = 0
        for number, data in enumerate(_blocks(file, size)):
            count += 1
            if _holds(data):
                digests.setdefault(hashlib.blake2b(data, digest_size=16).digest(), []).append(number)
            else:
                broken.append(number)
        free = _free(file, size, free_list, due, broken)
    used = set(range(due)) - set(free or ())
    same = [[each for each in alike if each in used] for alike in digests.values()]
    return Blocks(wrong, count, due, broken, free, [alike for alike in same if len(alike) > 1])


def _blocks(file: BinaryIO, size: int) -> Iterator[bytes]:
    file.seek(_HEADERS)
    while data := file.read(size):
        yield data


def _free(file: BinaryIO, size: int, pointer: int, due: int, broken: Sequence[int]) -> list[int] | None:
    """The list of free blocks: a count, then the numbers, from the piece at `pointer` on; each piece begins with a
    pointer to the next. None where it does not read as one.
    """
    if pointer == _NOWHERE:
        return []
    piece = (size - 8) // _PARTS // 8 * 8
    data, wanted, seen = b"", 1, set()
    while len(data) < 8 * wanted:
        block, part = pointer & ((1 << _NEXT) - 1), pointer >> _NEXT
        if pointer in seen or block >= due or block in broken or part >= _PARTS:
            return None
        seen.add(pointer)
        file.seek(_HEADERS + block * size + 8 + part * piece)
        here = file.read(piece)
        pointer = struct.unpack_from("<Q", here)[0]
        data += here[8:]
        wanted = 1 + struct.unpack_from("<Q", data)[0]
        if wanted > due + 1:
            return None
    free = struct.unpack_from(f"<{wanted - 1}Q", data, 8)
    return sorted(free) if all(each < due for each in free) and len(set(free)) == len(free) else None


if __name__ == "__main__":
    print(json.dumps(vars(looked_at(Path(sys.argv[1])))))
