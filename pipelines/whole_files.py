"""Files that are there whole or not at all: written beside their place under another name, then renamed into it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

LONGEST = 255  # bytes of a name, on the file systems in use


def beside(target: Path) -> Path:
    """Where a file is written before it is whole. No station's file and no page has such a name: it begins with a point
    and ends in .part.
    """
    name = f".{target.name}.part"
    if len(os.fsencode(name)) > LONGEST:
        name = f".{hashlib.sha256(os.fsencode(target.name)).hexdigest()}.part"
    return target.with_name(name)


@contextmanager
def written_whole(target: Path, durable: bool = False, private: bool = False) -> Iterator[Path]:
    """The path to write to; when the block ends well it takes the name of `target`, in one step that no reader and no
    power cut can see half of.

    durable: what was written is on the disk before it takes the name. private: for this account alone, from the first
    byte.
    An error leaves `target` as it was and nothing beside it; a process that is killed may leave the part, which the
    next writer overwrites.
    """
    part = beside(target)
    try:
        if private:
            part.touch(mode=0o600)
            part.chmod(0o600)
        yield part
        if durable:
            with part.open("rb") as file:
                os.fsync(file.fileno())
        part.replace(target)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise
