"""Whether a site is whole: balances of the ledger, hashes of the archive, rows against the files they came in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.answers.counted_span import counted_span
from pipelines.errors import LedgerBroken
from pipelines.intake.filing import sha256_of
from pipelines.intake.reread import reread
from pipelines.ledger import Reader
from pipelines.ledger.blocks import look_at_blocks
from pipelines.ledger.keeping import ROLLED
from pipelines.ledger.past import tables
from pipelines.plant.works import Plant, read_plant
from pipelines.site.folder import OpenSite
from schemas.feeds import ALL_FEEDS

Progress = Callable[[str], None]
_WAY_BACK = "restore a copy of the site, or make the ledger again from the archive: `coldledger rebuild --from-archive`"


@dataclass(frozen=True)
class Finding:
    """One thing that is not whole. level: "fail" or "warn".  where: table, file or batch."""

    level: str
    where: str
    what: str


@dataclass
class Checked:
    """What was looked at, in words, and what was found."""

    looked: list[str]
    findings: list[Finding]

    @property
    def whole(self) -> bool:
        return not any(finding.level == "fail" for finding in self.findings)


def check_site(opened: OpenSite, rows: bool = False, progress: Progress | None = None) -> Checked:
    """Check a site. rows: also read every file of the archive again, with the works.toml of its time, and compare it
    with its rows cell by cell.
    """
    say, checked = progress or (lambda _: None), Checked([], [])
    named = False
    try:
        with opened.ledger.reading() as reader:
            say("the ledger's blocks")
            _blocks(opened, places_of_blocks(reader), checked)
            named = True
            checked.looked.append(
                f"{sum(reader.read_all(table) for table in tables()):,} rows of {len(tables())} tables, every column "
                "read"
            )
            say("the ledger's balances")
            batches = reader.ask("batches_all")
            _balances(reader, checked)
            _versions(reader, opened.known, checked)
            _rows_of_batches(reader, batches, checked)
            until = reader.ask("rolled_until").item()
            plants = [
                (row["first_used_at"], read_plant(row["content"])) for row in reader.ask("plants").iter_rows(named=True)
            ]
            if rows:
                say("rows against files")
                _against_files(opened, reader, batches, until, plants, checked, say)
    except LedgerBroken as error:
        checked.findings.append(Finding("fail", "ledger.duckdb", str(error)))
        if not named:
            _blocks(opened, {}, checked)
        return checked
    say("the archive's hashes")
    _archive(opened, batches, checked)
    return checked


def places_of_blocks(reader: Reader) -> dict[int, str]:
    """What lies in the blocks in which rows lie, as `table.column, table.column`."""
    found: dict[int, set[str]] = {}
    for table in tables():
        for column, block, more in reader.lies_in(table).iter_rows():
            for each in (block, *(more or ())):
                found.setdefault(each, set()).add(f"{table}.{column}")
    return {block: ", ".join(sorted(names)) for block, names in found.items()}


def _blocks(opened: OpenSite, places: Mapping[int, str], checked: Checked) -> None:
    """Every block of the ledger's file with its checksum, whatever lies in it; and those of which a checksum says too
    little.
    """
    try:
        blocks = look_at_blocks(opened.site.ledger)
    except OSError as error:
        checked.findings.append(Finding("fail", "ledger.duckdb", f"the file cannot be read whole ({error.strerror})"))
        return

    def note(level: str, where: str, what: str) -> None:
        checked.findings.append(Finding(level, f"ledger.duckdb, {where}", what))

    for name in blocks.headers:
        note("fail", f"{name} header", f"it is not as it was written; {_WAY_BACK}")
    for number in blocks.broken:
        holds = places.get(number, "no rows: an index, or what describes the tables")
        if number in blocks.in_use:
            note("fail", f"block {number} ({holds})", f"it is not as it was written; {_WAY_BACK}")
        else:
            note(
                "warn",
                f"block {number} (free)",
                "it is not as it was written; nothing is kept in it, nothing can be said of it",
            )
    gone = [number for number in blocks.in_use if number >= blocks.count]  # a free one need not be there
    if gone:
        note("fail", "its end", f"{len(gone)} of {blocks.due} blocks are cut off; {_WAY_BACK}")
    for alike in blocks.same:
        which = ", ".join(f"{each} ({places.get(each, 'no rows')})" for each in alike)
        note(
            "warn",
            f"blocks {which}",
            "they hold the same bytes; where one was written over another no checksum shows it, so they cannot be "
            "vouched for",
        )
    free = "which are free cannot be told" if blocks.free is None else f"{len(blocks.free):,} of them free"
    checked.looked.append(f"checksums of {blocks.count:,} blocks of the ledger's file, {free}")


def _balances(reader: Reader, checked: Checked) -> None:
    for row in reader.check("batches__rows_add_up").iter_rows(named=True):
        checked.findings.append(
            Finding(
                "fail",
                f"batch {row['batch']}, {row['file']}",
                f"{row['rows_read']} rows read, {row['rows_kept']} kept and {row['rows_refused']} refused",
            )
        )
    for row in reader.check("refused_rows__are_counted").iter_rows(named=True):
        checked.findings.append(
            Finding(
                "fail",
                f"batch {row['batch']}, {row['file']}",
                f"{row['rows_refused']} rows refused by its count, {row['held_rows']} there",
            )
        )
    checked.looked.append("rows read = rows kept + rows refused, file by file")


def _versions(reader: Reader, plant: Plant, checked: Checked) -> None:
    """One version in force a key; the great tables day by day, so that memory stays small."""
    span = counted_span(reader, list(plant.lines))
    days = plant.clock.days_between(span.start, span.end) if span is not None else []
    for feed in ALL_FEEDS:
        parts = (
            [(plant.clock.day(day).start, plant.clock.day(day).end) for day in days]
            if feed in ROLLED
            else [(None, None)]
        )
        twice = sum(reader.doubled(feed, ALL_FEEDS[feed].key, ALL_FEEDS[feed].when, *part) for part in parts)
        if twice:
            checked.findings.append(Finding("fail", feed, f"{twice} keys have more than one row in force"))
    checked.looked.append("one row in force for each key")


def _rows_of_batches(reader: Reader, batches: pl.DataFrame, checked: Checked) -> None:
    """A batch brought as many rows as it kept, less those that said what was known; where its minutes were rolled,
    fewer.
    """
    until = reader.ask("rolled_until").item()
    for feed in ALL_FEEDS:
        held = reader.grouped(feed, ("batch",)).with_columns(pl.col("batch").cast(pl.Int32))
        mine = batches.filter(pl.col("feed") == feed).join(held, on="batch", how="full", coalesce=True)
        for row in mine.iter_rows(named=True):
            if row["rows_kept"] is None:
                checked.findings.append(
                    Finding(
                        "fail",
                        f"{feed}, batch {row['batch']}",
                        f"{row['rows']} rows of a file that the ledger does not name",
                    )
                )
                continue
            due, there = row["rows_kept"] - row["rows_unchanged"], row["rows"] or 0
            rolled = (
                feed in ROLLED
                and until is not None
                and row["data_from"] is not None
                and row["data_from"] < until
                and row["bytes"]
            )
            if due != there and not (rolled and there < due):
                checked.findings.append(
                    Finding(
                        "fail",
                        f"{feed}, batch {row['batch']}, {row['file']}",
                        f"{due} rows kept by its count, {there} there",
                    )
                )
    checked.looked.append("rows of each file as many as it kept")


def _archive(opened: OpenSite, batches: pl.DataFrame, checked: Checked) -> None:
    """Every file that the ledger names is there with the bytes that were received; files that it does not name are
    told.
    """
    root = opened.site.archive
    named = [
        row for row in batches.select("batch", "archived_as", "sha256").iter_rows(named=True) if row["archived_as"]
    ]
    with ThreadPoolExecutor(2) as pool:
        for row, wrong in zip(named, pool.map(lambda row: file_fault(root, row), named), strict=True):
            if wrong:
                checked.findings.append(Finding("fail", f"archive/{row['archived_as']}, batch {row['batch']}", wrong))
    known = {row["archived_as"] for row in named}
    for path in sorted(root.rglob("*")) if root.is_dir() else ():
        name = path.relative_to(root).as_posix()
        if (
            path.is_file()
            and name not in known
            and not path.name.startswith(".")
            and name.split("/")[0] in (*ALL_FEEDS, "unknown")
        ):
            checked.findings.append(
                Finding(
                    "warn",
                    f"archive/{name}",
                    "the ledger does not name this file; `coldledger rebuild --from-archive` would take it in",
                )
            )
    checked.looked.append(f"hashes of {len(named):,} files of the archive")


def file_fault(root: Path, row: dict[str, Any]) -> str:
    """What is wrong with a file of the archive, in words; empty where it is as it was received. row: archived_as,
    sha256.
    """
    path = root / row["archived_as"]
    if not path.is_file():
        return "the file is gone; a copy of the site may have it"
    try:
        return (
            ""
            if sha256_of(path) == row["sha256"]
            else "the file is not what was received: its hash differs; a copy of the site may have it"
        )
    except OSError as error:
        return f"the file cannot be read ({error.strerror})"


def _against_files(
    opened: OpenSite,
    reader: Reader,
    batches: pl.DataFrame,
    until: datetime | None,
    plants: list[tuple[datetime, Plant]],
    checked: Checked,
    say: Progress,
) -> None:
    looked = 0
    for row in batches.iter_rows(named=True):
        feed, path = row["feed"], opened.site.archive / row["archived_as"]
        rolled = feed in ROLLED and until is not None and row["data_from"] is not None and row["data_from"] < until
        if feed not in ALL_FEEDS or not row["archived_as"] or not row["rows_kept"] or rolled or not path.is_file():
            continue
        there = reader.of_batch(feed, row["batch"])
        wrong = ""
        for plant in _readings(plants, row["received_at"], opened.plant):
            again = reread(path, row, plant, opened.settings)
            differs = _differs(again, there, ALL_FEEDS[feed].columns, row["rows_unchanged"])
            wrong = (wrong or differs) if differs else ""
            if not differs:
                break
        if wrong:
            checked.findings.append(
                Finding("fail", f"{feed}, batch {row['batch']}, archive/{row['archived_as']}", wrong)
            )
        looked += 1
        if looked % 200 == 0:
            say(f"{looked} files read again")
    checked.looked.append(f"rows of {looked:,} files as the files have them, cell by cell")


def _readings(plants: Sequence[tuple[datetime, Plant]], at: datetime, now: Plant) -> list[Plant]:
    """The works.toml by which a file was read when it came; then the later ones, by which a ledger made again from the
    archive has read it.

    Of those that were first read at the very moment of the file it may have been any, or the one before: a clock that
    was set back gives a moment twice.
    """
    then = [n for n, (first, _) in enumerate(plants) if first < at]
    return [*(plant for _, plant in plants[then[-1] if then else 0 :]), now]


def _differs(again: pl.DataFrame, there: pl.DataFrame, columns: tuple[str, ...], unchanged: int) -> str:
    """Rows of the ledger that the file does not have, or of the file that the ledger lacks beyond those that were known
    already.
    """
    names = [*columns, "file_line"]
    file, kept = again.select(names), there.select(names).cast(dict(again.select(names).schema))  # type: ignore[arg-type]
    strange = kept.join(file, on=names, how="anti", nulls_equal=True).height
    lacking = file.join(kept, on=names, how="anti", nulls_equal=True).height
    if strange:
        return f"{strange} rows of the ledger are not in the file as works.toml read it then"
    return (
        f"{lacking} rows of the file are not in the ledger, {unchanged} of them were known already"
        if lacking != unchanged
        else ""
    )
