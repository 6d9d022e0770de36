"""Refused rows corrected in a page: written into the quarantine's own file, and offered to the intake again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipelines.errors import WrongUse
from pipelines.intake import IntakeReport
from pipelines.intake.filing import quarantine_entries, write_whole
from pipelines.intake.retry import retry_quarantine
from pipelines.intake.run import intake_lock
from pipelines.site.folder import OpenSite
from schemas.feeds import ALL_FEEDS

_OURS = ("refused_file", "refused_line", "refused_cells", "refused_why", "refused_text")
GIVE_UP = "give_up"


def refused_rows(opened: OpenSite, batch: int) -> tuple[str, pl.DataFrame] | None:
    """The file's name in quarantine/ and its rows as texts, as they can be mended; None where nothing of the batch
    waits, or it waits as a whole file.
    """
    path = quarantine_entries(opened.site).get(batch)
    if path is None or not path.name.endswith(".rows.csv"):
        return None
    return path.name, _read(path)


def _read(path: Path) -> pl.DataFrame:
    return pl.read_csv(path, infer_schema=False, empty_string_is_null=False)


def repair(opened: OpenSite, batch: int, rows: Mapping[int | str, Mapping[str, str]]) -> IntakeReport:
    """Write other values into refused rows (by their `refused_line`) and take them in again; a row told to be given up
    is dropped, and stays in the archive.

    WrongUse where the batch has nothing to mend, or a line or column is not there.
    """
    with intake_lock(opened.site, opened.settings):
        path = quarantine_entries(opened.site).get(batch)
        if path is None or not path.name.endswith(".rows.csv"):
            raise WrongUse(f"file {batch} has no refused rows that could be mended; it may have been retried meanwhile")
        frame = _read(path)
        for line, cells in rows.items():
            frame = _mended(frame, line, cells)
        write_whole(path, frame.write_csv().encode())
    return retry_quarantine(opened.site, opened.plant, opened.settings)


def _mended(frame: pl.DataFrame, line: int | str, cells: Mapping[str, str]) -> pl.DataFrame:
    mine = pl.col("refused_line") == str(line)
    if frame.filter(mine).is_empty():
        raise WrongUse(f"line {line} is not among the refused rows any more; look at the page again")
    if cells.get(GIVE_UP):
        return frame.filter(~mine)
    unknown = [name for name in cells if name not in frame.columns or name in _OURS]
    if unknown:
        raise WrongUse(f"the feed has no column {', '.join(unknown)[:100]}")
    return frame.with_columns(
        pl.when(mine).then(pl.lit(value)).otherwise(pl.col(name)).alias(name) for name, value in cells.items()
    )


LARGEST_TEXT = 400_000  # bytes of a file that can be mended in a page


def refused_file(opened: OpenSite, batch: int) -> tuple[str, str | None] | None:
    """The name of a file that was refused whole, and its text where it can be mended in a page; None where the batch
    does not wait as a whole file.
    """
    path = quarantine_entries(opened.site).get(batch)
    if path is None or path.name.endswith(".rows.csv"):
        return None
    name = path.name.split(".", 1)[1]
    data = path.read_bytes()
    if len(data) > LARGEST_TEXT or b"\0" in data or name.endswith((".gz", ".parquet", ".xlsx", ".xls", ".ods")):
        return name, None
    try:
        return name, data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return name, data.decode(
            "cp1252", "replace"
        )  # what most old programs write; whoever mends it sees what came of it


def mend_file(opened: OpenSite, batch: int, name: str, text: str | None) -> IntakeReport:
    """Give a file that was refused whole another name or another text, and take it in again. WrongUse for a name that
    cannot be a file's.
    """
    plain = name.strip()
    if not plain or len(plain) > 200 or plain.startswith(".") or any(c in "/\\:" or ord(c) < 32 for c in plain):
        raise WrongUse("a file's name is like station_counts.K1.csv: no slashes, and no point at its beginning")
    with intake_lock(opened.site, opened.settings):
        path = quarantine_entries(opened.site).get(batch)
        if path is None or path.name.endswith(".rows.csv"):
            raise WrongUse(f"file {batch} does not wait as a whole file; it may have been retried meanwhile")
        target = path.with_name(f"b{batch:06d}.{plain}")
        if text is not None:
            write_whole(target, text.replace("\r\n", "\n").encode())
            if target != path:
                path.unlink()
        elif target != path:
            path.rename(target)
    return retry_quarantine(opened.site, opened.plant, opened.settings)


def give_file_up(opened: OpenSite, batch: int) -> IntakeReport:
    """Ask for a file that was refused whole no longer: an empty file of a feed takes its place. The file as it came
    stays in the archive.
    """
    feed = ALL_FEEDS["station_counts"]
    return mend_file(opened, batch, f"{feed.name}.given-up-{batch}.csv", ",".join(feed.columns) + "\n")
