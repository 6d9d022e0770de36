"""A file that was read, and what an intake did."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import BinaryIO

from pipelines.errors import FileRefused
from pipelines.intake.find import Arrival, Kind
from pipelines.intake.raw import Raw, long_texts


@dataclass
class IntakeReport:
    """What one intake did. `messages` are sentences for a person; `touched` are (line, moment) of cold-end counts kept,
    one moment in each quarter of an hour; `checked` are (line or furnace, moment) of the laboratory's rows, one an
    hour. refused_whole: those of the messages that speak of a file set aside whole.
    """

    files: int = 0
    rows_kept: int = 0
    rows_refused: int = 0
    files_refused: int = 0
    repeated: int = 0
    first_batch: int = 0
    messages: list[str] = field(default_factory=list)
    refused_whole: list[str] = field(default_factory=list)
    touched: set[tuple[str, datetime]] = field(default_factory=set)
    checked: set[tuple[str, datetime]] = field(default_factory=set)
    lock_held_s: float = 0.0

    @property
    def needs_a_person(self) -> bool:
        return bool(self.rows_refused or self.files_refused or self.messages)


@dataclass
class ReadFile:
    """A file that was read: its cells, or why it could not be. `data` are its bytes, or the open file where they are
    many. heavy: to be read again, alone.
    """

    arrival: Arrival
    data: bytes | BinaryIO
    sha256: str
    feed: str
    kind: Kind | None = None
    raw: Raw | None = None
    refused: FileRefused | None = None
    heavy: bool = False

    @property
    def rows(self) -> int:
        return self.raw.rows if self.raw else 0

    @property
    def held_bytes(self) -> int:
        """Memory that it takes, about, when each row has its texts for itself."""
        cells = self.raw.table.nbytes + int(long_texts(self.raw.table).sum()) if self.raw else 0
        return cells + (len(self.data) if isinstance(self.data, bytes) else 0)

    def refuse(self, why: FileRefused) -> None:
        """Set the file aside whole."""
        self.raw, self.refused = None, why
