"""How far a source was read and what of it was given out: kept so that a process can be killed at any instant.

A file is given out in four steps: its bytes beside their place in the inbox, forced to the disk; a note of what is
known from then on, with the file's name; the file's own name; the note takes effect. `settle` finishes what a note
says.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from pipelines.clock import parse_timestamp, utc_text
from pipelines.plant.database import DatabaseSource
from pipelines.settings import Site
from pipelines.sources.database.trouble import SourceTrouble
from pipelines.sources.database.watermark import READERS, Watermark
from pipelines.whole_files import beside, written_whole
from pipelines.words import say
from pipelines.words.keeping import packed, unpacked

FOLDER = ".sources"


@dataclass(frozen=True)
class ReadSoFar:
    """given: rows given out that can be asked again, by their digests: how often, and their value of the column `since`
    that the watermark is of.
    """

    since: str = ""
    watermark: Watermark | None = None
    given: dict[str, tuple[int, Any]] = field(default_factory=dict)

    @property
    def told(self) -> dict[str, Any]:
        """As plain texts."""
        if self.watermark is None:
            return {"since": self.since, "watermark": None, "given": []}
        kind = self.watermark.kind
        rows = [[mark, often, Watermark(kind, value).shown] for mark, (often, value) in self.given.items()]
        return {"since": self.since, "watermark": self.watermark.told, "given": rows}

    @classmethod
    def kept(cls, texts: dict[str, Any]) -> ReadSoFar:
        """What `told` gave."""
        if texts["watermark"] is None:
            return cls(texts["since"])
        watermark = Watermark.kept(texts["watermark"])
        read = READERS[watermark.kind]
        return cls(texts["since"], watermark, {mark: (often, read(text)) for mark, often, text in texts["given"]})


@dataclass(frozen=True)
class LastTimes:
    """When a source was read well last and when it was tried; what was the matter, since when; the rows of the last
    reading that brought some.
    """

    read_at: datetime | None = None
    tried_at: datetime | None = None
    trouble: str = ""
    trouble_since: datetime | None = None
    rows: int = 0
    rows_at: datetime | None = None


class Progress:
    """What is kept of one source under .sources/. Whoever holds the source's lock may write."""

    def __init__(self, site: Site, source: DatabaseSource):
        self.folder, self.inbox, self.name = site.root / FOLDER, site.inbox, source.name
        self._kept, self._pending = (self.folder / f"{source.name}.{each}.json" for each in ("read", "pending"))
        self._times = self.folder / f"{source.name}.times.json"
        self._count = 0

    def settle(self) -> None:
        """After a stop: what was noted is finished, what was not is dropped; its rows are asked for again."""
        self.folder.mkdir(mode=0o700, exist_ok=True)
        if self._pending.exists():
            file = self.inbox / str(_texts_of(self._pending)["file"])
            if beside(file).exists():
                self._name(file)
            self._pending.replace(self._kept)
        for part in self.inbox.glob(f".{self.name}.read.*.part"):
            part.unlink(missing_ok=True)

    def so_far(self) -> ReadSoFar:
        """How far it was read."""
        if not self._kept.exists():
            return ReadSoFar()
        texts = _texts_of(self._kept)
        try:
            return ReadSoFar.kept(texts)
        except (ValueError, KeyError, TypeError):
            raise _spoilt(self._kept) from None

    def watermark(self) -> str:
        """The watermark as it is shown; nothing where none can be read."""
        try:
            texts = json.loads(self._kept.read_text(encoding="utf-8"))
            return str(texts["watermark"]["value"])
        except (OSError, ValueError, KeyError, TypeError):
            return ""

    def forget(self) -> None:
        """As if it had never been read."""
        for note in (self._kept, self._pending):
            note.unlink(missing_ok=True)

    def give(self, write: Callable[[IO[str]], None], after: ReadSoFar) -> str:
        """Give out a file that `write` fills, and keep what is known from then on; the file's name. Nothing is left of
        it where that fails before it is noted.
        """
        file = self._new()
        part = beside(file)
        try:
            with part.open("w", encoding="utf-8", errors="surrogateescape", newline="") as rows:
                write(rows)
                rows.flush()
                os.fsync(rows.fileno())
            _to_disk(self.inbox)
            with written_whole(self._pending, durable=True, private=True) as path:
                path.write_text(json.dumps({"file": file.name, **after.told}), encoding="utf-8")
        except BaseException:
            with suppress(OSError):
                part.unlink(missing_ok=True)
            raise
        _to_disk(self.folder)
        self._name(file)
        self._pending.replace(self._kept)
        return file.name

    def keep(self, so_far: ReadSoFar) -> None:
        """Keep how far it was read where no file comes of it."""
        with written_whole(self._kept, durable=True, private=True) as path:
            path.write_text(json.dumps(so_far.told), encoding="utf-8")

    def _name(self, file: Path) -> None:
        beside(file).rename(file)
        _to_disk(self.inbox)

    def _new(self) -> Path:
        """A name that is new: the stamp and a running number, so that nothing is ever written over."""
        while True:
            self._count += 1
            file = self.inbox / f"{self.name}.read.{datetime.now(UTC):%Y%m%dT%H%M%S}Z-{self._count:04d}.csv"
            if not file.exists() and not beside(file).exists():
                return file

    def times(self) -> LastTimes:
        """When it was read and tried last; nothing where that is not known."""
        try:
            texts = unpacked(json.loads(self._times.read_text(encoding="utf-8")))
        except (OSError, ValueError):
            return LastTimes()
        if not isinstance(texts, dict) or not texts.keys() <= {each.name for each in fields(LastTimes)}:
            return LastTimes()
        moments = {key: parse_timestamp(value) for key, value in texts.items() if key.endswith(_MOMENTS) and value}
        return LastTimes(**{**texts, **moments})

    def read_well(self, at: datetime, rows: int) -> None:
        """Note a reading."""
        last = self.times()
        brought = (rows, at) if rows else (last.rows, last.rows_at)
        self._note(LastTimes(at, at, "", None, *brought))

    def not_read(self, at: datetime, trouble: str) -> None:
        """Note a trouble, and since when there is one."""
        last = self.times()
        self._note(LastTimes(last.read_at, at, trouble, last.trouble_since or at, last.rows, last.rows_at))

    def _note(self, times: LastTimes) -> None:
        self.folder.mkdir(mode=0o700, exist_ok=True)
        texts: dict[str, Any] = packed(vars(times))
        texts = {key: utc_text(value) if isinstance(value, datetime) else value for key, value in texts.items()}
        with written_whole(self._times, private=True) as path:
            path.write_text(json.dumps(texts), encoding="utf-8")


_MOMENTS = ("_at", "_since")


def _texts_of(path: Path) -> dict[str, Any]:
    """What is kept in a file. SourceTrouble where it was spoilt."""
    try:
        texts: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        _ = texts["since"], texts["watermark"], texts["given"]
        return texts
    except (ValueError, KeyError, TypeError):
        raise _spoilt(path) from None


def _spoilt(path: Path) -> SourceTrouble:
    name = path.name.split(".", 1)[0]
    file = f"{FOLDER}/{path.name}"
    return SourceTrouble(say("{file} is spoilt; coldledger sources read {name} --anew", file=file, name=name))


def _to_disk(folder: Path) -> None:
    """Names in a folder are on the disk, where the system can say so."""
    if os.name != "posix":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
