"""Where files go: every original into the archive, refused rows into the quarantine. Runs after the commit."""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

import polars as pl

from pipelines.intake.find import Arrival
from pipelines.intake.net import OneFileFailed, net, short_name
from pipelines.ledger import Ledger
from pipelines.settings import Site
from pipelines.whole_files import written_whole
from schemas.feeds import ALL_FEEDS
from schemas.reasons import reason_of

_TEXT_AT_ONCE = 32 << 20  # characters of refused rows that are written together
_OURS = re.compile(r"b(\d{6,})\.(.+)\Z")


def archive_path(site: Site, feed: str, day: str, name: str, sha256: str, taken: set[str]) -> str:
    """Where a file will lie, relative to the archive; its hash joins the name where that name is taken."""
    name = short_name(name, sha256)
    plain = f"{feed}/{day}/{name}"
    if plain in taken or (site.archive / plain).exists():
        stem, dot, rest = name.partition(".")
        plain = f"{feed}/{day}/{stem}.{sha256[:12]}{dot}{rest}"
    taken.add(plain)
    return plain


def move_to_archive(
    site: Site, arrival: Arrival, archived_as: str, data: bytes | BinaryIO | None = None, keep: bool = False
) -> None:
    """Move the original; the bytes that were taken in, where the file has meanwhile become another.

    keep: leave the original where it is: it holds another feed too, which is still to be filed away.
    """
    target = site.archive / archived_as
    target.parent.mkdir(parents=True, exist_ok=True)
    if target.exists():
        if not keep:
            arrival.path.unlink(missing_ok=True)
        return
    found = arrival.path.stat() if arrival.path.exists() else None
    if found is None or (found.st_size, found.st_mtime_ns) != arrival.stamp:
        if data is not None and not isinstance(data, bytes):
            data.seek(0)
        if data is not None:
            write_whole(target, data)
        return
    if keep:
        write_whole(target, arrival.path.read_bytes())
        return
    try:
        arrival.path.rename(target)
    except OSError:  # another file system
        with written_whole(target, durable=True) as part:
            shutil.copy2(arrival.path, part)
        arrival.path.unlink()


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file, read in parts."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def write_whole(target: Path, data: bytes | BinaryIO) -> None:
    """Write a file under its name only when all of it is on the disk."""
    with written_whole(target, durable=True) as part, part.open("wb") as out:
        if isinstance(data, bytes):
            out.write(data)
        else:
            shutil.copyfileobj(data, out)


def quarantine_name(batch: int, name: str) -> str:
    """What a file that was refused whole is called in quarantine/."""
    return f"b{batch:06d}.{short_name(name)}"


def quarantine_entries(site: Site) -> dict[int, Path]:
    """The files of the quarantine by the batch whose refused rows they hold."""
    if not site.quarantine.is_dir():
        return {}
    found = ((_OURS.match(path.name), path) for path in sorted(site.quarantine.iterdir()))
    return {int(match[1]): path for match, path in found if match}


def renumber_quarantine(site: Site, ledger: Ledger, numbers: Mapping[int, int]) -> None:
    """Give the files of the quarantine the numbers that a ledger made again has for their batches, with what a person
    mended in them; those of which nothing is refused any
    more go: the rows are in force now, the files as they came in the archive. numbers: new by old; never greater, in
    the same order.
    """
    with ledger.reading() as reader:
        still = set(reader.ask("open_refused_batches")["batch"].to_list())
    for old, path in quarantine_entries(site).items():
        new = numbers.get(old)
        if new not in still:
            path.unlink()
        elif new != old:
            path.rename(path.with_name(f"b{new:06d}.{path.name.split('.', 1)[1]}"))


def settle_quarantine(site: Site, ledger: Ledger) -> None:
    """Make the folder show what the ledger says is still refused: write what is missing, archive what is done with."""
    there = quarantine_entries(site)
    with ledger.reading() as reader:
        open_batches = reader.ask("open_refused_batches")
        new = open_batches.filter(~pl.col("batch").is_in(list(there)))
        sizes = reader.ask("refused_text_sizes", batches=new.filter(~pl.col("whole"))["batch"].to_list())
    for batch in there.keys() - set(open_batches["batch"].to_list()):
        _retire(site, ledger, batch, there[batch])
    site.quarantine.mkdir(exist_ok=True)
    for row in new.filter("whole").iter_rows(named=True):
        _write_whole_file(site, row["batch"], row["file"], row["archived_as"])
    for batches in _by_size(sizes):
        _write_rows(site, ledger, new.filter(pl.col("batch").is_in(batches)))


def _by_size(sizes: pl.DataFrame) -> Iterator[list[int]]:
    """Batches together as long as their text is not much: it is in memory several times over."""
    numbers: list[int] = []
    size = 0
    for batch, characters in sizes.iter_rows():
        if numbers and size + characters > _TEXT_AT_ONCE:
            yield numbers
            numbers, size = [], 0
        numbers.append(batch)
        size += characters
    if numbers:
        yield numbers


def _write_rows(site: Site, ledger: Ledger, new: pl.DataFrame) -> None:
    """The refused rows of some batches, a file each."""
    with ledger.reading() as reader:
        rows = reader.ask("open_refused_rows", batches=new["batch"].to_list())
    for (feed,), part in rows.join(new, on="batch", maintain_order="left").partition_by("feed", as_dict=True).items():
        try:
            with net():
                texts = list(_texts(mendable(str(feed), part)))
        except OneFileFailed:
            texts = _one_by_one(site, str(feed), part, new)
        for batch, text in texts:
            _write_whole_text(site.quarantine / f"b{batch:06d}.{feed}.rows.csv", text)


def _one_by_one(site: Site, feed: str, rows: pl.DataFrame, batches: pl.DataFrame) -> list[tuple[int, str]]:
    """The rows of each batch on its own; where they cannot be shown as rows, the file lies there whole."""
    pairs: list[tuple[int, str]] = []
    for (batch,), part in rows.partition_by("batch", as_dict=True).items():
        try:
            with net():
                pairs += _texts(mendable(feed, part))
        except OneFileFailed:
            file, archived_as = batches.filter(batch=batch).select("file", "archived_as").row(0)
            _write_whole_file(site, int(batch), file, archived_as)
    return pairs


def _texts(table: pl.DataFrame) -> Iterator[tuple[int, str]]:
    """The rows of each batch as CSV; written at once and cut, where no cell has a line end of its own."""
    if table.select(pl.any_horizontal(pl.col(pl.String).str.contains("[\\r\\n]").any())).item():
        for (batch,), part in table.partition_by("batch", as_dict=True, include_key=False).items():
            yield int(batch), part.write_csv()
        return
    head, *lines = table.drop("batch").write_csv().split("\n")  # (splitlines would cut at more than line ends)
    end = 0
    for batch, count in table.select(pl.col("batch").rle()).unnest("batch").select("value", "len").iter_rows():
        begin, end = end, end + count
        yield batch, "\n".join((head, *lines[begin:end], ""))


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


def _write_whole_file(site: Site, batch: int, name: str, archived_as: str) -> None:
    original = site.archive / archived_as
    if original.exists():
        with written_whole(site.quarantine / quarantine_name(batch, name)) as part:
            shutil.copyfile(original, part)


def _write_whole_text(target: Path, text: str) -> None:
    """Like write_whole, but not forced to the disk: it can be made again from the ledger."""
    with written_whole(target) as part:
        part.write_text(text, encoding="utf-8")


def mendable(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    """Refused rows as they can be mended and retried: `batch`, the feed's columns, then what was wrong and where it
    stood. refused_line: `17-2` is the second wrong row of line 17.
    """
    columns = ALL_FEEDS[feed].columns
    cells = pl.Struct(dict.fromkeys((*columns, "refused_text", "refused_cells"), pl.String))
    frame = rows.select("batch", "file", "file_line", "part", pl.col("row_text").str.json_decode(cells).struct.unnest())
    line = pl.col("file_line").cast(pl.String)
    nth = pl.when(pl.col("part") > 0).then(pl.format("{}-{}", line, pl.col("part") + 1)).otherwise(line)
    return frame.select(
        "batch",
        *columns,
        pl.col("file").alias("refused_file"),
        nth.alias("refused_line"),
        *(["refused_cells"] if frame["refused_cells"].count() else []),  # of workbooks alone
        _whys(rows).alias("refused_why"),
        "refused_text",
    )


def _whys(rows: pl.DataFrame) -> pl.Series:
    """What was wrong with each row, in words; each sentence is made once, however many rows it is true of."""
    lists = {"columns": "column", "reasons": "reason", "values": "value", "expecteds": "expected", "places": "place"}
    each = rows.select(pl.int_range(pl.len()).alias("row"), *lists).explode(*lists).rename(lists)
    kinds = each.select(lists.values()).unique()
    words = [
        (f"{place}, " if place else "") + (f"{column}: " if column else "") + _sentence(*why)
        for column, *why, place in kinds.iter_rows()
    ]
    frame = each.join(
        kinds.with_columns(words=pl.Series(words, dtype=pl.String)), on=list(lists.values()), maintain_order="left"
    )
    return frame.group_by("row", maintain_order=True).agg(pl.col("words").str.join("; "))["words"]


def _sentence(reason: str, value: str, expected: str) -> str:
    return reason_of(reason).sentence(value, expected)
