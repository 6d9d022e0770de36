"""What lies in the inbox, and which feed and format its name says."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from pipelines.errors import FileRefused
from pipelines.plant import Mapping, Plant
from schemas.feeds import ALL_FEEDS, Feed
from schemas.reasons import Reason

FORMATS = (".csv.gz", ".csv", ".parquet", ".jsonl")
UNKNOWN = "unknown"


@dataclass(frozen=True)
class Arrival:
    """A file in the inbox. `retry_of` is the batch whose refused rows it repairs."""

    path: Path
    name: str
    size: int
    mtime_ns: int
    retry_of: int | None = None

    @property
    def stamp(self) -> tuple[int, int]:
        return self.size, self.mtime_ns


@dataclass(frozen=True)
class Kind:
    """How a file is to be read."""

    feed: Feed
    format: str
    mapping: Mapping | None = None


def find_arrivals(inbox: Path) -> tuple[list[Arrival], list[str]]:
    """Whole files in the order of their making (then of name), and what else lies there, in words.

    Names that start with `.` or end in `.part` are still being written and are left alone.
    """
    arrivals, strays = [], []
    for path in sorted(inbox.iterdir()):
        if path.name.startswith(".") or path.name.endswith(".part"):
            continue
        if path.is_symlink() or not path.is_file():
            what = "a folder" if path.is_dir() else "not an ordinary file"
            strays.append(f"inbox/{path.name} is {what} and was left alone; put feed files into inbox/ itself")
            continue
        told = path.stat()
        arrivals.append(Arrival(path, path.name, told.st_size, told.st_mtime_ns))
    return sorted(arrivals, key=lambda a: (a.mtime_ns, a.name)), strays


def kind_of(name: str, plant: Plant) -> Kind:
    """Feed and format by name, or by the first mapping whose `files` fits; FileRefused when neither does."""
    for mapping in plant.mapping:
        if fnmatchcase(name, mapping.files):
            if mapping.feed not in ALL_FEEDS:
                raise FileRefused(Reason.UNKNOWN_FEED, expected=", ".join(ALL_FEEDS))
            return Kind(ALL_FEEDS[mapping.feed], ".csv.gz" if name.endswith(".gz") else ".csv", mapping)
    feed = ALL_FEEDS.get(name.split(".", 1)[0])
    if feed is None:
        raise FileRefused(Reason.UNKNOWN_FEED, expected=", ".join(ALL_FEEDS))
    for ending in FORMATS:
        if name.endswith(ending):
            return Kind(feed, ending)
    raise FileRefused(Reason.UNKNOWN_FORMAT)


def feed_named(name: str) -> str:
    """The feed that a name begins with, for the archive; `unknown` otherwise."""
    word = name.split(".", 1)[0]
    return word if word in ALL_FEEDS else UNKNOWN
