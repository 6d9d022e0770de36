"""What lies in the inbox, and which feed and format its name says."""

from __future__ import annotations

import stat
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.errors import FileRefused
from pipelines.intake.foreign.fits import mapping_faults
from pipelines.intake.net import plain_name
from pipelines.plant.works import Mapping, Plant
from schemas.feeds import ALL_FEEDS, Feed
from schemas.reasons import Reason

FORMATS = (".csv.gz", ".csv", ".parquet", ".jsonl")
UNKNOWN = "unknown"

_SUCH_AS = "reject_counts, weight_checks and so on: `coldledger help feeds` lists them"


@dataclass(frozen=True)
class Arrival:
    """A file in the inbox; `name` is its own as it can be shown. `retry_of` is the batch whose refused rows it repairs,
    `feed` the feed of that batch.
    """

    path: Path
    name: str
    size: int
    mtime_ns: int
    retry_of: int | None = None
    feed: str | None = None

    @property
    def stamp(self) -> tuple[int, int]:
        return self.size, self.mtime_ns


@dataclass(frozen=True)
class Kind:
    """How a file is to be read. others: more mappings of the same export onto the same feed."""

    feed: Feed
    format: str
    mapping: Mapping | None = None
    others: tuple[Mapping, ...] = ()


def find_arrivals(inbox: Path) -> tuple[list[Arrival], list[str]]:
    """Whole files in the order of their making (then of name), and what else lies there, in words.

    Names that start with `.` or end in `.part` are still being written and are left alone.
    """
    arrivals, strays = [], []
    for path in sorted(inbox.iterdir()):
        if path.name.startswith(".") or path.name.endswith(".part"):
            continue
        name = plain_name(path.name)
        try:
            found = path.lstat()
        except FileNotFoundError:
            continue  # its writer took it back
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "not an ordinary file"
            strays.append(f"inbox/{name} is {what} and was left alone; put feed files into inbox/ itself")
            continue
        arrivals.append(Arrival(path, name, found.st_size, found.st_mtime_ns))
    return sorted(arrivals, key=lambda a: (a.mtime_ns, a.name)), strays


def kinds_of(name: str, plant: Plant, feed: str | None = None) -> list[Kind]:
    """How a file is to be read: as the source says that wrote it, else by every mapping whose `files` fit (one export
    can hold several feeds), else by what its name says.

    feed: only as this feed, where it is known already.  FileRefused when neither fits.
    """
    of_source = [mapping for source in plant.source if (mapping := source.mapping).takes(name)]
    mapped = [_mapped(name, mapping) for mapping in of_source or plant.mapping if mapping.takes(name)]
    if feed is not None:
        mapped = [kind for kind in mapped if kind.feed.name == feed]
    if mapped:
        return _by_feed(mapped)
    found = ALL_FEEDS.get(name.split(".", 1)[0])
    if found is None:
        raise FileRefused(Reason.UNKNOWN_FEED, expected=_SUCH_AS)
    for ending in FORMATS:
        if name.endswith(ending):
            return [Kind(found, ending)]
    raise FileRefused(Reason.UNKNOWN_FORMAT)


def _by_feed(kinds: list[Kind]) -> list[Kind]:
    """One kind a feed: what several mappings make of a file for one feed is taken in together."""
    found: dict[str, Kind] = {}
    for kind in kinds:
        first = found.get(kind.feed.name)
        more = (kind.mapping,) if kind.mapping is not None else ()
        found[kind.feed.name] = kind if first is None else replace(first, others=(*first.others, *more))
    return list(found.values())


def _mapped(name: str, mapping: Mapping) -> Kind:
    feed = ALL_FEEDS.get(mapping.feed)
    if feed is None:
        raise FileRefused(Reason.MAPPING_FEED, mapping.feed, ", ".join(ALL_FEEDS))
    faults = mapping_faults(feed, mapping)
    if faults:
        raise FileRefused(Reason.MAPPING_COLUMN, expected="; ".join(faults[:5]))
    ending = ".csv.gz" if name.endswith(".gz") else ".jsonl" if name.endswith(".jsonl") else ".csv"
    return Kind(feed, ending, mapping)


def feed_named(name: str) -> str:
    """The feed that a name begins with, for the archive; `unknown` otherwise."""
    word = name.split(".", 1)[0]
    return word if word in ALL_FEEDS else UNKNOWN
