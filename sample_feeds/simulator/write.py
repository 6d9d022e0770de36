"""Feeds into an inbox, as the stations would write them: a file an hour and line, in every format, some of them
dirty.
"""

from __future__ import annotations

import gzip
import io
from collections.abc import Iterator
from pathlib import Path

import polars as pl

from sample_feeds.simulator.dirt import dirty_files
from sample_feeds.simulator.works import Simulated

HOURLY = ("station_counts", "reject_counts", "forming_counts")
_WHEN = {
    "weight_checks": "sampled_at",
    "challenge_checks": "checked_at",
    "counter_reads": "read_at",
    "pallets": "packed_to",
    "mould_log": "fitted_at",
    "job_log": "started_at",
    "stoppages": "stopped_at",
    "melt_log": "window_start",
    "capacity_checks": "sampled_at",
    "density_checks": "sampled_at",
    "temper_checks": "sampled_at",
    "visual_checks": "sampled_at",
    "verdicts": "looked_at",
    "breakages": "broke_at",
    "pallet_parts": "packed_to",
    "actions": "acted_at",
    "part_events": "happened_at",
    "process_reads": "read_at",
    "test_checks": "sampled_at",
    "pallet_links": "linked_at",
    "dispatches": "dispatched_at",
    "returns": "returned_at",
}
_SLICES = {"density_checks": "1mo"}  # one reading a day
_FORMATS = ("csv", "csv.gz", "parquet", "jsonl")


def write_feeds(
    simulated: Simulated,
    inbox: Path,
    *,
    dirty: bool = True,
    every: str = "1h",
    formats: tuple[str, ...] = _FORMATS,
) -> list[Path]:
    """Write all feeds; the paths in the order of writing. `dirty` adds files with faults on purpose.

    every: how much of the counts goes into one file (1h as stations send them, 1d for a small set of files).
    formats: taken in turn by line, so that every format occurs.
    """
    inbox.mkdir(parents=True, exist_ok=True)
    zone = simulated.plan.plant.works.timezone
    written = []
    for name, frame, suffix in feed_files(simulated, every, formats):
        path = inbox / f"{name}.{suffix}"
        path.write_bytes(encode(frame, suffix.rsplit("Z.", 1)[-1], zone))
        written.append(path)
    if dirty:
        written += dirty_files(simulated, inbox)
    return written


def feed_files(
    simulated: Simulated, every: str, formats: tuple[str, ...] = _FORMATS
) -> Iterator[tuple[str, pl.DataFrame, str]]:
    """Feed, its rows, and the rest of the file's name, for every file that the works sends."""
    lines = list(simulated.plan.lines)
    for feed in HOURLY:
        frame = simulated.feeds[feed].with_columns(slice=pl.col("window_start").dt.truncate(every))
        for (line, start), part in frame.group_by(["line", "slice"], maintain_order=True):
            ending = formats[lines.index(str(line)) % len(formats)]
            yield feed, part.drop("slice"), f"{line}.{start:%Y%m%dT%H%MZ}.{ending}"
    for feed, when in _WHEN.items():
        if feed not in simulated.feeds:  # some are told only where somebody asks for them
            continue
        frame = simulated.feeds[feed].with_columns(slice=pl.col(when).dt.truncate(_SLICES.get(feed, "1d")))
        for (start,), part in frame.group_by(["slice"], maintain_order=True):
            yield feed, part.drop("slice"), f"works.{start:%Y%m%dT%H%MZ}.csv"
    if simulated.feeds["complaints"].height:
        yield (
            "complaints",
            simulated.feeds["complaints"],
            f"quality.{simulated.plan.at(simulated.plan.minutes):%Y%m%dT%H%MZ}.csv",
        )


def encode(frame: pl.DataFrame, ending: str, zone: str) -> bytes:
    """A frame as a feed file: times with the works' offset in text formats, UTC timestamps in Parquet."""
    out = io.BytesIO()
    if ending == "parquet":
        frame.write_parquet(out)
        return out.getvalue()
    moments = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    answer = frame.with_columns(pl.col(moments).dt.convert_time_zone(zone).dt.strftime("%Y-%m-%dT%H:%M:%S%:z"))
    if ending == "jsonl":
        answer.write_ndjson(out)
        return out.getvalue()
    answer.write_csv(out)
    return gzip.compress(out.getvalue(), mtime=0) if ending == "csv.gz" else out.getvalue()
