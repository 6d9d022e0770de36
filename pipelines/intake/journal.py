"""The archive's own list of what was received, beside the files: with it a ledger is made again in the same order and
at the same times.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from pipelines.ledger.delivery import FileEntry
from pipelines.settings import Site

_UNNUMBERED = 1 << 60  # after every file that the list has of the same moment
_KEPT = ("feed", "sha256", "file", "archived_as", "bytes", "retry_of")


def journal_path(site: Site) -> Path:
    return site.archive / "received.jsonl"


def note_received(site: Site, numbered: Mapping[int, FileEntry], at: datetime) -> None:
    """Add files that were just committed. A list that lacks some, after a power cut, is made whole by the next rebuild
    from the archive.
    """
    path = journal_path(site)
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = [
        {
            "batch": batch,
            "received_at": at.astimezone(UTC).isoformat(),
            **{name: getattr(entry, name) for name in _KEPT},
        }
        for batch, entry in numbered.items()
    ]
    lines = "".join(json.dumps(row) + "\n" for row in rows).encode()
    with path.open("ab+") as file:
        if file.tell() and _torn(file):
            lines = b"\n" + lines  # a power cut tore the last line: the next ones must not be lost with it
        file.write(lines)


def _torn(file: BinaryIO) -> bool:
    file.seek(-1, os.SEEK_END)
    return file.read(1) != b"\n"


@dataclass(frozen=True)
class Received:
    """One file of the archive as it was received. batch: its number then, None where only the file itself is known."""

    feed: str
    file: str
    archived_as: str
    bytes: int
    received_at: datetime
    batch: int | None = None
    retry_of: int | None = None
    sha256: str = ""


def received_files(site: Site) -> list[Received]:
    """Everything in the archive in the order of receipt: by the list, else by the time of the file (then its name)."""
    listed = {this_received.archived_as: this_received for this_received in _listed(site) if this_received.archived_as}
    found: list[tuple[datetime, int, str, Received]] = []
    latest = datetime.min.replace(tzinfo=UTC)
    for received in sorted(
        listed.values(), key=lambda answer: answer.batch or 0
    ):  # by number: the computer's clock may have jumped
        latest = max(latest, received.received_at)
        found.append((latest, received.batch or 0, received.file, received))
    for path in sorted(site.archive.rglob("*")) if site.archive.is_dir() else ():
        name = path.relative_to(site.archive).as_posix()
        parts = name.split("/")
        if not path.is_file() or path.name.startswith(".") or name in listed or len(parts) != 3 or parts[0] == "holds":
            continue
        stat = path.stat()
        at = datetime.fromtimestamp(stat.st_mtime, UTC)
        found.append((at, _UNNUMBERED, path.name, Received(parts[0], path.name, name, stat.st_size, at)))
    return [this_received for *_, this_received in sorted(found, key=lambda entry: entry[:3])]


def _listed(site: Site) -> list[Received]:
    path = journal_path(site)
    if not path.exists():
        return []
    found: list[Received] = []
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        try:
            answer: dict[str, Any] = json.loads(line)
            found.append(Received(**{**answer, "received_at": datetime.fromisoformat(answer["received_at"])}))
        except (ValueError, TypeError, KeyError):
            continue  # a line that a power cut tore: the file itself is there
    return found
