"""A copy of what a checkpoint writes over in place, kept while it does: a power cut in the middle of such a write would
else leave a ledger that cannot be opened.

DuckDB writes rows to free blocks and then says in the file's header where they are; only its headers and the blocks
that describe its tables are written over. They are few. (Found by cutting the power after half of each write:
tests/faults.)
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

HEADERS = 12_288  # bytes before the first block: the file's header and two headers of the database


class Guard:
    """The copy beside one ledger. `save` and `restore` are for holders of the gate, while nobody has the ledger open to
    write.
    """

    def __init__(self, ledger: Path):
        self.ledger, self.path = ledger, ledger.with_name(f".{ledger.name}.guard")

    @property
    def there(self) -> bool:
        """Whether a writer began and did not say that it ended well."""
        return self.path.exists()

    def save(self, blocks: Sequence[int], block_size: int, here: bool) -> None:
        """Copy the headers and these blocks, forced to the disk. here: this process has the ledger open nowhere (to
        open and close it here would drop DuckDB's lock on it); else another process copies.
        """
        if here:
            copy_parts(self.ledger, self.path, blocks, block_size)
            return
        texts = [str(self.ledger), str(self.path), str(block_size), *map(str, blocks)]
        command = [sys.executable, "-I", "-S", str(Path(__file__).resolve()), *texts]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
        if done.returncode:
            raise OSError(
                5, done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "the ledger could not be guarded"
            )

    def restore(self) -> bool:
        """Put the parts back as they were; whether there was a whole copy of them."""
        try:
            data = self.path.read_bytes()
            head, _, body = data.partition(b"\n")
            answer = json.loads(head)
        except (OSError, ValueError):
            return False
        if hashlib.sha256(body).hexdigest() != answer["sha256"]:
            return False
        at = 0
        with self.ledger.open("r+b") as file:
            for offset, size in answer["parts"]:
                file.seek(offset)
                file.write(body[at : at + size])
                at += size
            file.flush()
            os.fsync(file.fileno())
        return True

    def drop(self) -> None:
        """The ledger is well: no copy is needed. One that cannot be taken away now is looked at, and taken away, when
        the ledger is opened next.
        """
        with contextlib.suppress(OSError):
            self.path.unlink()


def copy_parts(ledger: Path, target: Path, blocks: Sequence[int], block_size: int) -> None:
    """Write the copy under its name only when all of it is on the disk."""
    parts = [(0, HEADERS), *((HEADERS + block * block_size, block_size) for block in sorted(set(blocks)))]
    found, pieces = [], []
    with ledger.open("rb") as file:
        for offset, size in parts:
            file.seek(offset)
            piece = file.read(size)
            found.append([offset, len(piece)])
            pieces.append(piece)
    body = b"".join(pieces)
    head = json.dumps({"sha256": hashlib.sha256(body).hexdigest(), "parts": found}).encode()
    part = target.with_name(f"{target.name}.part")
    with part.open("wb") as out:
        out.write(head + b"\n" + body)
        out.flush()
        os.fsync(out.fileno())
    part.replace(target)


if __name__ == "__main__":
    copy_parts(Path(sys.argv[1]), Path(sys.argv[2]), [int(text) for text in sys.argv[4:]], int(sys.argv[3]))
