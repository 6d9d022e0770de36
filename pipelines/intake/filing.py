"""Where files go: every original into the archive, refused rows into the quarantine. Runs after the commit."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
from pathlib import Path

import polars as pl

from pipelines.intake.find import Arrival
from pipelines.ledger import Ledger
from pipelines.settings import Site
from schemas.feeds import ALL_FEEDS
from schemas.reasons import reason_of

_OURS = re.compile(r"b(\d{6,})\.(.+)\Z")


def archive_path(site: Site, feed: str, day: str, name: str, sha256: str, taken: set[str]) -> str:
    """Where a file will lie, relative to the archive; its hash joins the name where that name is taken."""
    plain = f"{feed}/{day}/{name}"
    if plain in taken or (site.archive / plain).exists():
        stem, dot, rest = name.partition(".")
        plain = f"{feed}/{day}/{stem}.{sha256[:12]}{dot}{rest}"
    taken.add(plain)
    return plain


def move_to_archive(site: Site, arrival: Arrival, archived_as: str, data: bytes | None = None) -> None:
    """Move the original; the bytes that were taken in, where the file has meanwhile become another."""
    target = site.archive / archived_as
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.exists():
        arrival.path.unlink(missing_ok=True)
        return
    told = arrival.path.stat() if arrival.path.exists() else None
    if told is None or (told.st_size, told.st_mtime_ns) != arrival.stamp:
        if data is not None:
            write_whole(target, data)
        return
    try:
        arrival.path.rename(target)
    except OSError:  # another file system
        part = target.with_name(f".{target.name}.part")
        shutil.copy2(arrival.path, part)
        part.replace(target)
        arrival.path.unlink()


def write_whole(target: Path, data: bytes) -> None:
    """Write a file under its name only when all of it is on the disk."""
    part = target.with_name(f".{target.name}.part")
    with part.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())
    part.replace(target)


def quarantine_entries(site: Site) -> dict[int, Path]:
    """The files of the quarantine by the batch whose refused rows they hold."""
    if not site.quarantine.is_dir():
        return {}
    found = ((_OURS.match(path.name), path) for path in sorted(site.quarantine.iterdir()))
    return {int(match[1]): path for match, path in found if match}


def settle_quarantine(site: Site, ledger: Ledger) -> None:
    """Make the folder show what the ledger says is still refused: write what is missing, archive what is done with."""
    with ledger.reading() as reader:
        open_batches = reader.ask("open_refused_batches")
    wanted = {row["batch"]: row for row in open_batches.iter_rows(named=True)}
    there = quarantine_entries(site)
    for batch in there.keys() - wanted.keys():
        _retire(site, ledger, batch, there[batch])
    for batch in wanted.keys() - there.keys():
        _write_entry(site, ledger, wanted[batch])


def _retire(site: Site, ledger: Ledger, batch: int, path: Path) -> None:
    with ledger.reading() as reader:
        used = reader.ask("retries_of_batch", batch=batch)
    if used.is_empty():
        return
    target = site.archive / used["archived_as"][0]
    if target.exists():
        path.unlink()
    else:
        target.parent.mkdir(parents=True, exist_ok=True)
        path.rename(target)


def _write_entry(site: Site, ledger: Ledger, told: dict[str, object]) -> None:
    site.quarantine.mkdir(exist_ok=True)
    batch, name = int(str(told["batch"])), str(told["file"])
    if told["whole"]:
        original = site.archive / str(told["archived_as"])
        if original.exists():
            part = site.quarantine / f".b{batch:06d}.part"
            shutil.copyfile(original, part)
            part.replace(site.quarantine / f"b{batch:06d}.{name}")
        return
    with ledger.reading() as reader:
        rows = reader.ask("open_refused_rows", batch=batch)
    text = quarantine_csv(str(told["feed"]), rows, name)
    write_whole(site.quarantine / f"b{batch:06d}.{told['feed']}.rows.csv", text.encode())


def quarantine_csv(feed: str, rows: pl.DataFrame, file: str) -> str:
    """Refused rows as a CSV that can be mended and retried: the feed's columns, then what was wrong."""
    columns = ALL_FEEDS[feed].columns
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*columns, "refused_file", "refused_line", "refused_why", "refused_text"])
    for row in rows.iter_rows(named=True):
        cells = json.loads(row["row_text"])
        words = [cells.get(column, "") for column in columns]
        writer.writerow([*words, file, row["file_line"], _whys(row), cells.get("refused_text", "")])
    return out.getvalue()


def _whys(row: dict[str, list[str]]) -> str:
    parts = zip(row["columns"], row["reasons"], row["values"], row["expecteds"], strict=True)
    return "; ".join((f"{c}: " if c else "") + reason_of(r).sentence(v, e) for c, r, v, e in parts)
