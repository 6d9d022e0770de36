"""What was heard and is not in the inbox yet: lines forced to the disk before the broker is told that they were heard,
then given out as one whole file.
"""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

log = logging.getLogger("coldledger.listen")
_OPEN = re.compile(r"(?P<name>[A-Za-z0-9_-]+)\.open\.jsonl\Z")


class Spool:
    """Files under .listen/ of a site, one open a name. One listener a site holds it; not safe for several threads."""

    def __init__(self, folder: Path, inbox: Path):
        self.folder, self.inbox = folder, inbox
        folder.mkdir(exist_ok=True)
        self._count = 0
        self.recover()

    def recover(self) -> None:
        """After a stop: a line that was cut off is dropped (its message was not acknowledged and comes again), what is
        whole is given out.
        """
        for path in sorted(self.folder.iterdir()):
            if not _OPEN.match(path.name):
                continue
            data = path.read_bytes()
            whole = data[: data.rfind(b"\n") + 1]
            if len(whole) < len(data):
                with path.open("r+b") as file:
                    file.truncate(len(whole))
                    os.fsync(file.fileno())
        self.give_out()

    def keep(self, name: str, lines: Sequence[str]) -> None:
        """Add lines and force them to the disk. OSError where that failed: then none of them counts as heard."""
        path = self._open(name)
        before = path.stat().st_size if path.exists() else 0
        text = "".join(f"{line}\n" for line in lines).encode("utf-8", "replace")
        try:
            with path.open("ab") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
        except OSError:
            self._cut(path, before)
            raise

    @staticmethod
    def _cut(path: Path, size: int) -> None:
        try:
            os.truncate(path, size)
        except OSError as error:
            log.error(
                "%s could not be cut back (%s); its last line may be torn and will be set aside", path, error.strerror
            )

    def give_out(self) -> list[str]:
        """Every name's lines as one file into the inbox, by a rename. What cannot be given out now stays and is tried
        again; the names of those that were.
        """
        given = []
        for path in sorted(self.folder.iterdir()):
            found = _OPEN.match(path.name)
            if not found or not path.stat().st_size:
                continue
            try:
                given.append(self._give(path, found["name"]))
            except OSError as error:
                log.error(
                    "%s could not be put into the inbox (%s); it is kept and tried again", path.name, error.strerror
                )
        return given

    def _give(self, path: Path, name: str) -> str:
        """The stamp and a running number make the name new, so that nothing is ever written over."""
        while True:
            self._count += 1
            target = self.inbox / f"{name}.heard.{datetime.now(UTC):%Y%m%dT%H%M%S}Z-{self._count:04d}.jsonl"
            if not target.exists():
                break
        path.rename(target)
        return target.name

    @property
    def waiting(self) -> int:
        """Bytes that are kept and not given out."""
        return sum(p.stat().st_size for p in self.folder.iterdir() if _OPEN.match(p.name))

    def _open(self, name: str) -> Path:
        return self.folder / f"{name}.open.jsonl"
